"""What the window and the gauge of one stream say against a claim."""

from __future__ import annotations

import numpy as np

from cellmon.capability.claim_reasons import GaugeState, WindowState
from cellmon.capability.models import Movement
from cellmon.capability.window import count_repeats, distinct_steps, find_cliff, find_trend
from cellmon.errors import NoSpread, NotEnoughData
from cellmon.gauge.decision import feature_uncertainty
from cellmon.judged import Bores
from cellmon.monitor.answers import Tolerance
from cellmon.monitor.audited_bores import AuditedBores
from cellmon.monitor.capability_figures import Figures, Held
from cellmon.monitor.view import View
from cellmon.records import EventKind, Events, Numbers, Stream
from cellmon.words import say, to_say

SIX = 6.0
LATE = 0.01
"""Share of the bores that may be measured later after a check than the sheet allows."""
CLIFF_AT = {
    ("lower", False): to_say("the lower limit"),
    ("lower", True): to_say("the lower limit less its guard band"),
    ("upper", False): to_say("the upper limit"),
    ("upper", True): to_say("the upper limit less its guard band"),
}


def gauge_noise_um(view: View, stream: Stream) -> float | None:
    """Return the standard deviation that repeated measurement gives a figure; None where not stated."""
    measuring = view.sheet.measuring
    if measuring.reading_um is None:
        return None
    try:
        return feature_uncertainty(
            stream.feature,
            common_um=0.0,
            reading_um=measuring.reading_um,
            planes=len(measuring.planes),
            directions=len(measuring.directions),
        )
    except ValueError:  # a feature that two-point readings do not give
        return None


def gauge_state(
    view: View, stream: Stream, bores: Bores, values: Numbers, tolerance: Tolerance
) -> GaugeState:
    """Return what is known of the gauge behind a window of bores."""
    width = _width(tolerance)
    if isinstance(bores, AuditedBores):
        return _of_instrument(view, bores, values, width)
    noise, step = gauge_noise_um(view, stream), view.sheet.measuring.resolution_um
    return GaugeState(
        noise_pct=None if noise is None or not width else 100 * SIX * noise / width,
        step_pct=None if step is None or not width else 100 * step / width,
        steps=distinct_steps(values) if len(values) >= 2 else None,
        past_calibration=_past_check(view, bores),
    )


def _of_instrument(view: View, bores: AuditedBores, values: Numbers, width: float | None) -> GaugeState:
    """Return what the sheet says of the instrument that audits; its figures need no master check of ours."""
    known = bores.gauge[0] if len(bores) and bores.gauge[0] in view.sheet.gauge_ids else None
    gauge = None if known is None else view.sheet.gauge(known)
    noise = None if gauge is None else gauge.uncertainty_reading_um
    step = None if gauge is None else gauge.resolution_um
    return GaugeState(
        noise_pct=None if noise is None or not width else 100 * SIX * noise / width,
        step_pct=None if step is None or not width else 100 * step / width,
        steps=distinct_steps(values) if len(values) >= 2 else None,
    )


def window_state(
    view: View, stream: Stream, bores: Bores, values: Numbers, held: tuple[Held, ...], found: Figures | None
) -> WindowState:
    """Return what the window says against speaking for the bores to come."""
    if not len(bores):
        return WindowState()
    first, last = bores.measured_at.min(), bores.measured_at.max()
    events = view.logged(first, last)
    mine = events.select(events.spindle == stream.spindle)
    time = None if found is None else found.time
    return WindowState(
        stone_lives=_stone_lives(bores, mine),
        trend_um=_trend(values),
        feedback_changes=int((mine.event == EventKind.SETUP_CHANGED).sum()),
        cliffs=_cliffs(view, stream, held),
        several_levels=found is not None and found.levels,
        repeats=count_repeats(bores.part),
        family_fits=found is None or found.fits,
        predictable=time is None or time.movement is not Movement.NOT_PREDICTABLE,
    )


def _width(tolerance: Tolerance) -> float | None:
    """Return the tolerance; of an upper limit alone its distance from nought."""
    if tolerance.lower_um is not None and tolerance.upper_um is not None:
        return tolerance.upper_um - tolerance.lower_um
    return None if tolerance.upper_um is None else abs(tolerance.upper_um)


def _past_check(view: View, bores: Bores) -> bool:
    """Return whether bores were measured later after a master check than the sheet allows."""
    checks = view.sheet.checks
    if checks is None or checks.master_every_h is None or not len(bores):
        return False
    every = np.timedelta64(int(checks.master_every_h * 3600), "s")
    first, last = bores.measured_at.min(), bores.measured_at.max()
    known = view.checked(first - every, last + np.timedelta64(1, "us"))
    made = np.sort(known.at[np.isin(known.gauge.astype(str), list(view.sheet.stream_gauges))])
    if not len(made):
        return True
    before = np.searchsorted(made, bores.measured_at, side="right") - 1
    late = (before < 0) | (bores.measured_at - made[np.maximum(before, 0)] > every)
    return bool(late.mean() > LATE)


def _stone_lives(bores: Bores, events: Events) -> int | None:
    """Return how many stretches between fitting or dressing stones the window touches."""
    sets = {name for name in map(str, set(bores.stone_set.tolist())) if name not in ("", "None", "nan")}
    begun = np.isin(events.event.astype(str), [EventKind.STONES_DRESSED, EventKind.STONES_FITTED])
    if not sets and not begun.any():
        return None
    return max(len(sets), 1 + int(begun.sum()))


def _trend(values: Numbers) -> float | None:
    try:
        found = find_trend(values)
    except (NotEnoughData, NoSpread):
        return None
    return found.way if found.matters else None


def _cliffs(view: View, stream: Stream, held: tuple[Held, ...]) -> tuple[str, ...]:
    """Return the limits at which the bores end as if sorted, the drawing's or the guarded one inside it."""
    guard = view.tolerance(stream).guard_um or 0.0
    found = []
    for one in held:
        for side, limit, sign in (("lower", one.lower, 1.0), ("upper", one.upper, -1.0)):
            if limit is None:
                continue
            for inwards in {0.0, guard}:
                try:
                    if find_cliff(one.values, limit=limit + sign * inwards, side=side).found:
                        found.append(say(CLIFF_AT[side, inwards > 0]))
                except (NotEnoughData, NoSpread):
                    continue
    return tuple(dict.fromkeys(found))
