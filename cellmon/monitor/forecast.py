"""Where each stream's level stands and how it drifts, the bores left to a limit, and what correction pays."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from cellmon.drift.adjustment import advise
from cellmon.drift.columns import State
from cellmon.drift.forecast import bores_to_limit
from cellmon.drift.slope import Slope, common_slope
from cellmon.drift.wear import DRESSED_BORES
from cellmon.errors import NotEnoughData
from cellmon.judged import Limit
from cellmon.monitor.answers import Estimate
from cellmon.monitor.judge.inputs import BY_MACHINE, SIZE
from cellmon.monitor.judge.places import Place
from cellmon.monitor.judge.plans import InTime
from cellmon.monitor.judge.watching import Watcher
from cellmon.monitor.running import recent_bores
from cellmon.monitor.unmoved import unmoved
from cellmon.monitor.view import View
from cellmon.records import EventKind, Kind, Numbers, Stream
from cellmon.words import say, to_say

CONFIDENCE = 0.90
DEVIATES = 1.6449
LOOKED_AT = 40
"""Subgroups that tell of a drift where the baseline knew none."""
LEAST = 8
CLEAR = 2.5
"""Standard errors from which such a drift is believed."""
FEEDBACK_WITHIN = np.timedelta64(24, "h")


@dataclass(frozen=True, kw_only=True)
class Standing:
    """Level and slope of one stream after its last subgroup; micrometres, slope a bore."""

    level: float
    slope: float
    covariance: tuple[tuple[float, float], tuple[float, float]]
    walk: float
    """Standard deviation of what the level wanders from bore to bore."""
    bore_sd: float
    drifts: bool
    """Whether a slope is believed."""


@dataclass(frozen=True, kw_only=True)
class BoresLeft:
    """Bores until the first beyond a tolerance limit: quantiles, None beyond the horizon, and the side."""

    p05: float | None
    p50: float | None
    p95: float | None
    side: str


@dataclass(frozen=True, kw_only=True)
class StreamAdvice:
    """A correction that pays, or to leave it alone; `by_um` of diameter, positive is larger."""

    what: str
    by_um: float | None
    why: str
    too_much: float
    """What a correction now would cost instead, as a ratio of standard deviations."""
    caution: str


NO_STANDING = to_say("fewer than 25 subgroups, or no spread in them: nothing is watched yet")
NO_DRIFT = to_say("no drift is shown that would reach a limit")


def size_stream(view: View, spindle: str, bore: str) -> Stream:
    """Return the size stream of a bore on a spindle, of the part running there."""
    number = view.sheet.charted_as(view.running(spindle).number)
    return Stream(part_number=number, spindle=spindle, bore=bore, feature=SIZE)


def place_now(view: View) -> Place | None:
    """Return where every detector stands at the moment of a view."""
    starts = view.session.last_watched(view.as_of + np.timedelta64(1, "us"), 1)
    if not len(starts):
        return None
    unit = starts[-1]
    newest = view.session.newest_reading()
    if newest is None or newest <= view.as_of:
        block = view.session.watched_at(unit)
        return Place.read(block) if block else None
    subgroups = view.session.subgroups_of_unit(unit)
    subgroups = subgroups.select(subgroups.at <= view.as_of)
    watcher = Watcher.of(view.session, view.rules, unit, limits=view.limits)
    before = Place.of(view.session.watched_before(unit))
    return watcher.unit(unit, before, InTime.of(subgroups)).after


def standing(view: View, stream: Stream, limit: Limit | None) -> Standing | None:
    """Return where one stream stands; None where it is not watched."""
    place = view.place
    if place is None or limit is None or limit.learned is None or stream not in place.streams:
        return None
    state, c = place.state, place.streams.index(stream)
    slope, slope_var = float(state.slope[c]), float(state.p22[c])
    level, level_var, both = float(state.level[c]), float(state.p11[c]), float(state.p12[c])
    drifts = slope_var > 0
    if not drifts:
        found = _recent_slope(view, stream, state, c)
        if found is not None:
            slope, slope_var, drifts = found.um, found.error_um**2, True
    walk = float(limit.learned["walk"])
    return Standing(
        level=level,
        slope=slope,
        covariance=((level_var, both), (both, slope_var)),
        walk=float(np.sqrt(walk)),
        bore_sd=float(np.sqrt(state.bore_var[c])),
        drifts=drifts,
    )


def _recent_slope(view: View, stream: Stream, state: State, c: int) -> Slope | None:
    """Return the slope of the last subgroups since a change was called, if clear.

    It is that between dressings, offsets taken out: what they gave back is no part of the drift. The first
    bores after a dressing, which have a level of their own, are passed over.
    """
    recent = view.session.subgroups(stream, end=view.as_of, last=LOOKED_AT)
    called = view.register.level_until(stream)  # no drift reaches across a step
    recent = recent.select(recent.first_at > called)
    if len(recent) < LEAST:
        return None
    rows = unmoved(view, stream, recent)
    settled = ~(rows.since_fresh < DRESSED_BORES)
    least = float(np.sqrt(state.mean_var[c]))
    try:
        found = common_slope(
            rows.mean[settled], rows.bores[settled], rows.stretch[settled], least_sd_um=least
        )
    except NotEnoughData:
        return None
    return found if abs(found.um) > CLEAR * found.error_um else None


def drift_per_100(found: Standing | None) -> Estimate | None:
    """Return the drift over 100 bores with its 90 % interval; None where none is believed."""
    if found is None or not found.drifts:
        return None
    half = DEVIATES * np.sqrt(found.covariance[1][1]) * 100
    value = found.slope * 100
    return Estimate(
        value=round(value, 4),
        low=round(float(value - half), 4),
        high=round(float(value + half), 4),
        confidence=CONFIDENCE,
    )


def bores_left(view: View, stream: Stream, found: Standing | None) -> BoresLeft | None:
    """Return how many bores are left if nothing is changed and no feedback acts."""
    known = None if found is None else known_of(view, stream, found)
    told = None if known is None else bores_to_limit(**known)
    return None if told is None else BoresLeft(p05=told.p05, p50=told.p50, p95=told.p95, side=told.side)


def known_of(view: View, stream: Stream, found: Standing) -> dict[str, Any] | None:
    """Return what a forecast takes of one stream, by name; None where it has no tolerance."""
    tolerance = view.tolerance(stream)
    if tolerance.lower_um is None and tolerance.upper_um is None:
        return None
    reach = view.reach(stream)
    lower = None if tolerance.lower_um is None else tolerance.lower_um + reach.below
    upper = None if tolerance.upper_um is None else tolerance.upper_um - reach.above
    reading = view.sheet.measuring.reading_um or 0.0
    return {
        "level_um": found.level,
        "slope_um": found.slope,
        "covariance": found.covariance,
        "sigma_um": max(found.bore_sd, 1.01 * reading * reach.share),
        "lower_um": lower,
        "upper_um": upper,
        "walk_um": found.walk,
        "gauge_um": reading * reach.share,
    }


@dataclass(frozen=True, kw_only=True)
class Reach:
    """How far a bore's least and greatest reading lie from the figure charted; gauge noise left in it."""

    below: float
    above: float
    share: float


def reach_of(view: View, stream: Stream) -> Reach:
    """Return how far least and greatest readings of a stream's last bores lie from the figure charted."""
    part = view.part_of(stream)
    cells = max(len(view.sheet.measuring.planes) * len(view.sheet.measuring.directions), 1)
    share = float(1 / np.sqrt(cells)) if stream.feature == SIZE else 1.0
    if stream.feature != SIZE or part.diameter.judge != "every-reading":
        return Reach(below=0.0, above=0.0, share=share)
    bores = recent_bores(view, stream, part)
    below: Numbers = bores.average - bores.least
    above: Numbers = bores.greatest - bores.average
    usable = np.isfinite(below) & np.isfinite(above)
    if not usable.any():
        return Reach(below=0.0, above=0.0, share=share)
    return Reach(below=float(below[usable].mean()), above=float(above[usable].mean()), share=share)


def advice_for(view: View, stream: Stream, found: Standing | None) -> tuple[StreamAdvice, ...]:
    """Return the correction of a size that pays, or to leave it alone; other features have none."""
    tolerance = view.tolerance(stream)
    if found is None or stream.feature != SIZE or tolerance.target_um is None:
        return ()
    told = advise(
        level_um=found.level,
        slope_um=found.slope,
        covariance=found.covariance,
        target_um=tolerance.target_um,
        sigma_um=found.bore_sd,
        walk_um=found.walk,
        lower_um=tolerance.lower_um,
        upper_um=tolerance.upper_um,
        step_um=0.5,
    )
    why = told.why
    if told.what == "correct" and stream.spindle is not None and _feedback(view, stream.spindle):
        text = to_say("{why} The gauge's feedback is on: see first why it does not correct this itself.")
        why = say(text, why=why)
    return (
        StreamAdvice(
            what=told.what,
            by_um=told.by_um if told.what == "correct" else None,
            why=why,
            too_much=told.too_much,
            caution=told.caution,
        ),
    )


def _feedback(view: View, spindle: str) -> bool:
    """Return whether the machine itself gave an offset to a spindle in the last day."""
    events = view.session.rows(Kind.EVENTS, start=view.as_of - FEEDBACK_WITHIN, end=view.as_of)
    mine = (events.event == EventKind.FEED_OFFSET) & (events.spindle == spindle) & (events.by == BY_MACHINE)
    return bool(mine.any())
