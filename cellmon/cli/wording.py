"""Figures and times in words, with no more digits than they carry."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from cellmon.monitor.answers import Estimate
from cellmon.records import Stream


def number(value: float | None, *, decimals: int) -> str | None:
    """Return a figure with so many decimals, None where there is none."""
    if value is None or not math.isfinite(value):
        return None
    shown = f"{value:.{decimals}f}"
    return shown.removeprefix("-") if float(shown) == 0 else shown


def at_least(value: float | None, *, decimals: int) -> str | None:
    """Return a lower bound rounded down, so that one just short of a figure never prints as reaching it."""
    if value is None or not math.isfinite(value):
        return None
    return number(math.floor(value * 10**decimals + 1e-9) / 10**decimals, decimals=decimals)


def signed(value: float | None, *, decimals: int) -> str | None:
    """Return a deviation with its sign."""
    shown = number(value, decimals=decimals)
    return shown if shown is None or shown.startswith("-") or float(shown) == 0 else f"+{shown}"


def count(value: float | None) -> str | None:
    """Return a count with its thousands parted."""
    return None if value is None or not math.isfinite(value) else f"{value:,.0f}"


def interval(estimate: Estimate | None, *, decimals: int) -> str | None:
    """Return a figure with its interval beside it."""
    if estimate is None:
        return None
    value = number(estimate.value, decimals=decimals)
    low, high = (number(v, decimals=decimals) for v in (estimate.low, estimate.high))
    if value is None:
        return None if low is None and high is None else f"{low or '?'} to {high or '?'}"
    return value if low is None and high is None else f"{value} ({low or '?'} to {high or '?'})"


def ppm(value: float | None) -> str | None:
    """Return parts per million with two figures that count; tiny ones as 'under 0.01'."""
    if value is None or not math.isfinite(value):
        return None
    if value == 0:
        return "0"
    return "under 0.01" if value < 0.01 else two_figures(value)


def two_figures(value: float) -> str:
    """Return a positive figure rounded to two figures that count, without an exponent."""
    rounded = float(f"{value:.1e}")
    if rounded <= 0:
        return "0"
    return f"{rounded:,.{max(0, 1 - math.floor(math.log10(rounded)))}f}"


def decimals_of(resolution_um: float | None) -> int:
    """Return the decimals of a micrometre figure that a gauge of this resolution supports."""
    if resolution_um is None:
        return 1
    return max(0, min(3, math.ceil(-math.log10(resolution_um) - 1e-9)))


def when(at: datetime | None, zone: ZoneInfo) -> str | None:
    """Return a moment as people of the cell read it, to the minute, with its offset."""
    return None if at is None else at.astimezone(zone).isoformat(sep=" ", timespec="minutes")


def stream_name(stream: Stream) -> str:
    """Return a stream's name, saying so where it is a distance from the mean of all."""
    return str(stream) if stream.part_of == "itself" else f"{stream} ({stream.part_of} from all)"


def age(seconds: float) -> str:
    """Return an age in its largest useful unit."""
    minutes = seconds / 60
    if minutes < 90:
        return f"{minutes:.0f} min"
    if minutes < 48 * 60:
        return f"{minutes / 60:.0f} h"
    return f"{minutes / 1440:.0f} d"


def plural(n: int, singular: str, plural_: str | None = None) -> str:
    """Return a count with its noun."""
    return f"{n:,} {singular if n == 1 else plural_ or singular + 's'}"


def listed(names: Iterable[str], *, most: int = 8) -> str:
    """Return names with commas; beyond `most` only how many more."""
    all_ = list(names)
    shown = ", ".join(all_[:most])
    return shown if len(all_) <= most else f"{shown} and {len(all_) - most} more"


def reasons(streams: Sequence[Stream], why_not: Sequence[Mapping[str, str]]) -> list[str]:
    """Return each reason of a missing figure once, with the fields it concerns."""
    fields: dict[str, dict[str, None]] = {}
    where: dict[str, dict[str, None]] = {}
    for stream, mapping in zip(streams, why_not, strict=True):
        for field, why in mapping.items():
            fields.setdefault(why, {})[field] = None
            where.setdefault(why, {})[stream_name(stream)] = None
    everywhere = len(set(map(stream_name, streams)))
    return [
        f"not known: {', '.join(names)}: {why}"
        + ("" if len(where[why]) == everywhere else f" ({listed(where[why], most=4)})")
        for why, names in fields.items()
    ]
