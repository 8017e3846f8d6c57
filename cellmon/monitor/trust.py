"""How far each stream's three-sigma limits keep their promise, and limits that would.

On the classic charts of means and ranges only: the detectors behind signals have limits of their own
(`cellmon.monitor.alarms`). Wear and offsets are no part of this; they come on top where limits are plain.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from cellmon import lengths, local
from cellmon.charts.inside import step_of
from cellmon.charts.run_length.shewhart import range_chance
from cellmon.charts.shewhart import mean_limits, range_limits
from cellmon.errors import GapInReadings, NoSpread, NotEnoughData, NotFound
from cellmon.judged import Bores, Limit, Subgroups
from cellmon.monitor.answers import Answer, Limits
from cellmon.monitor.departures import (
    LEAST_STEPS,
    PROMISED,
    Basis,
    Departure,
    few_subgroups,
    gauge_steps,
    neighbours,
    skew,
)
from cellmon.monitor.grouped import grouped, windows_of
from cellmon.monitor.judge.limits import LEAST_SUBGROUPS
from cellmon.monitor.stones.counted import units_holding
from cellmon.monitor.stream_bores import value_column
from cellmon.monitor.view import View
from cellmon.records import Numbers, Stream
from cellmon.sheet.features import TWO_POINT_FEATURES
from cellmon.stats.constants import chart_factors
from cellmon.words import say, to_say, voice

FROM_ZERO = ("size_range", "roundness", "roundness_trace", "cylindricity")
"""Features that cannot fall below nought."""
TOO_FEW = to_say("fewer than {count} subgroups: nothing is called a limit")
CAUTION = to_say(
    "Each correction is for its own departure alone, the others left aside; limits stay as they are until "
    "a named person freezes new ones. A chart that is quiet does not make a machine safe."
)
DEPARTURES = {
    "few subgroups": to_say("few subgroups"),
    "gauge steps": to_say("gauge steps"),
    "neighbours": to_say("neighbours"),
    "skew": to_say("skew"),
}
"""What may take limits off their promise, by its name in an answer."""


@dataclass(frozen=True, kw_only=True)
class StreamTrust:
    """One stream's X-bar and R limits, what they promise, and what takes them off it.

    `promised` and `range_promised` are points to a false alarm; `step_um` is the gauge's step.
    """

    stream: Stream
    sentence: str
    subgroups: int
    n: int
    mean_limits: Limits | None
    range_limits: Limits | None
    promised: float
    range_promised: float | None
    step_um: float | None
    departures: tuple[Departure, ...]
    why_not: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Trust(Answer):
    """Every stream's limits against their promise."""

    sentence: str
    streams: tuple[StreamTrust, ...]
    caution: str


def trust(
    view: View, *, spindle: str | None = None, bore: str | None = None, feature: str | None = None
) -> Trust:
    """Answer with what each stream's limits of means and ranges do when nothing moves.

    Raises
    ------
    NotFound
        When no stream has these names.
    """
    wanted = {"spindle": spindle, "bore": bore, "feature": feature}
    chosen = [s for s in view.streams if all(v in (None, getattr(s, k)) for k, v in wanted.items())]
    if not chosen and any(wanted.values()):
        names = ", ".join(f"{k} {v}" for k, v in wanted.items() if v)
        raise NotFound(say("no stream of {names}", names=names))
    limits = {stream: view.baseline(stream) for stream in chosen}
    known = {stream: limit for stream, limit in limits.items() if limit is not None}
    span = _Span.of(view, known)

    def told() -> tuple[StreamTrust, ...]:
        windows = windows_of(view, known)
        bores = view.session.bores(start=span.start, end=span.end, charted=True)
        return tuple(
            _of_stream(view, known[stream], windows[stream], bores)
            if stream in known
            else _nothing(view, stream, say(TOO_FEW, count=LEAST_SUBGROUPS))
            for stream in chosen
        )

    asked = f"trust {spindle} {bore} {feature} {voice()} {lengths.shown()}"
    found = view.carry(asked, (limits, *span.rests_on(view, known)), told)
    return Trust(**view.head(), sentence=_sentence(found), streams=found, caution=say(CAUTION))


@dataclass(frozen=True, kw_only=True)
class _Span:
    """The time of all windows: their bores are read once, since streams share them."""

    start: np.datetime64
    end: np.datetime64

    @classmethod
    def of(cls, view: View, limits: Mapping[Stream, Limit]) -> _Span:
        start = min((x.window_from for x in limits.values()), default=view.as_of)
        return cls(start=start, end=max((x.window_to for x in limits.values()), default=view.as_of))

    def rests_on(self, view: View, limits: Mapping[Stream, Limit]) -> tuple[Any, ...]:
        """Return how the bores are stored, and the signals that limits that are frozen leave out."""
        stored = tuple(one.stored for one in units_holding(view, self.start, self.end))
        frozen = [stream for stream, limit in limits.items() if limit.version]
        return stored, *(tuple(view.register.called_by(stream)) for stream in frozen)


def _nothing(view: View, stream: Stream, why: str) -> StreamTrust:
    return StreamTrust(
        stream=stream,
        sentence=say("{stream}: {why}.", stream=view.name(stream), why=why),
        subgroups=0,
        n=0,
        mean_limits=None,
        range_limits=None,
        promised=PROMISED,
        range_promised=None,
        step_um=None,
        departures=(),
        why_not={"departures": why},
    )


def _of_stream(view: View, limit: Limit, window: Subgroups, bores: Bores) -> StreamTrust:
    stream, n = limit.stream, limit.size
    if n < 2:
        return _nothing(view, stream, say("single bores have no chart of means and ranges"))
    basis = Basis(centre=limit.centre, sigma=limit.sigma, subgroups=limit.subgroups, n=n)
    x = _values(view, stream, window.select(window.n == n), bores)
    step = _step(view, stream, x)
    departures, why_not = _departures(stream, basis, x, step)
    return StreamTrust(
        stream=stream,
        sentence=_stream_sentence(view.name(stream), departures, why_not),
        subgroups=limit.subgroups,
        n=n,
        mean_limits=_limits(mean_limits(limit.centre, limit.sigma, n)),
        range_limits=_limits(range_limits(limit.sigma, n)),
        promised=PROMISED,
        range_promised=1 / range_chance(n),
        step_um=step,
        departures=departures,
        why_not=why_not,
    )


def _departures(
    stream: Stream, basis: Basis, x: Numbers, step: float | None
) -> tuple[tuple[Departure, ...], dict[str, str]]:
    """Return what can be told of each departure, and why not of the others."""
    asked: dict[str, Callable[[], Departure]] = {"few subgroups": lambda: few_subgroups(basis)}
    why_not: dict[str, str] = {}
    coarse = None
    if step is None:
        why_not["gauge steps"] = say("the bores of the window do not differ")
    else:
        asked["gauge steps"] = lambda: gauge_steps(basis, step)
        coarse = _coarse(basis, step)
    if coarse:
        why_not |= {"neighbours": coarse, "skew": coarse}
    else:
        asked["neighbours"] = lambda: neighbours(basis, x)
        asked["skew"] = lambda: skew(basis, x, from_zero=stream.feature in FROM_ZERO)
    found = []
    for name, ask in asked.items():
        try:
            found.append(ask())
        except (NotEnoughData, NoSpread, GapInReadings) as refused:
            why_not[name] = str(refused)
    return tuple(found), why_not


def _values(view: View, stream: Stream, whole: Subgroups, bores: Bores) -> Numbers:
    """Return the bores of subgroups of one size, shape (k, n)."""
    mine = (bores.spindle == stream.spindle) & (bores.bore == stream.bore)
    mine &= np.isin(bores.part_number, view.sheet.charted_numbers(stream.part_number))
    if stream.fixture is not None:
        mine &= bores.fixture == stream.fixture
    own = bores.select(mine)
    values = getattr(own, value_column(view, stream))
    found = grouped(own, values, whole)
    k = len(np.unique(found.subgroup))
    return np.asarray(values[found.row].reshape(k, -1 if k else 0), dtype=np.float64)


def _step(view: View, stream: Stream, x: Numbers) -> float | None:
    """Return the gauge's step by the sheet, else the smallest that the bores show; None where none differ."""
    resolution = view.sheet.measuring.resolution_um
    try:
        seen = step_of(x)
    except NoSpread:
        return None
    return resolution if resolution is not None and stream.feature in TWO_POINT_FEATURES else seen


def _coarse(basis: Basis, step: float) -> str | None:
    factors = chart_factors(basis.n)
    steps = (factors.D2 - factors.D1) * basis.sigma / step
    if steps >= LEAST_STEPS:
        return None
    return say(
        "steps of {step} leave {steps} within the limits of ranges; {least} are needed",
        step=lengths.said(step, None),
        steps=local.number(steps, 1),
        least=local.number(LEAST_STEPS),
    )


def _limits(found: object) -> Limits:
    lower, centre, upper = (float(np.asarray(getattr(found, k))) for k in ("lower", "centre", "upper"))
    return Limits(lower=lower, center=centre, upper=upper)


def _stream_sentence(name: str, departures: tuple[Departure, ...], why_not: Mapping[str, str]) -> str:
    told = [d.words for d in departures if d.matters]
    promised = local.number(PROMISED)
    if told:
        text = to_say("{stream}: one in {promised} is promised; {told}.")
        return say(text, stream=name, promised=promised, told="; ".join(told))
    seen = [d.words for d in departures if d.name == "few subgroups"][:1]
    if why_not:
        seen.append(say("not known: {names}", names=", ".join(say(DEPARTURES[name]) for name in why_not)))
    if not seen:
        return say("{stream}: one in {promised} is promised and about kept.", stream=name, promised=promised)
    text = to_say("{stream}: one in {promised} is promised and about kept; {more}.")
    return say(text, stream=name, promised=promised, more="; ".join(seen))


def _sentence(streams: tuple[StreamTrust, ...]) -> str:
    known = [s for s in streams if s.departures]
    off = [s for s in known if any(d.matters for d in s.departures)]
    if not known:
        return say("No stream has limits of means and ranges yet.")
    return say(
        "{count} of {all} streams have limits of means and ranges that, with nothing moving, call "
        "falsely in less than four fifths of the points promised.",
        count=len(off),
        all=len(known),
    )
