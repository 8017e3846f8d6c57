"""What the drawing allows, as a pale band, with the guard band hatched inside each limit."""

from __future__ import annotations

from typing import Any

from cellmon.monitor.answers import Tolerance
from dashboards import theme


def allowed(tolerance: Tolerance, ends: list[Any], low: float, high: float) -> list[theme.Trace]:
    """Draw a tolerance over an axis, from `low` or to `high` where it has no limit there."""
    bottom = low if tolerance.lower_um is None else tolerance.lower_um
    top = high if tolerance.upper_um is None else tolerance.upper_um
    drawn = [theme.band(ends, [bottom] * 2, [top] * 2, colour=theme.ALLOWED)]
    guard = tolerance.guard_um or 0.0
    if guard and tolerance.lower_um is not None:
        drawn.append(theme.hatched(*ends, bottom, bottom + guard))
    if guard and tolerance.upper_um is not None:
        drawn.append(theme.hatched(*ends, top - guard, top))
    return drawn
