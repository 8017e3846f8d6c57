"""Capability of every stream: indices with intervals, and what forbids the claim."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime

import numpy as np

from cellmon.capability.claims import Claim, judge_claim
from cellmon.capability.indices import Index, Indices, indices
from cellmon.capability.needed import bores_needed_by_error
from cellmon.capability.noise import without_noise
from cellmon.errors import NoSpread, NotEnoughData, NotFound
from cellmon.judged import Bores, Subgroups
from cellmon.monitor.answers import Answer, Estimate
from cellmon.monitor.capability_figures import ZERO_BOUNDED, Figures, Held, figures
from cellmon.monitor.capability_pooling import Member, PooledCapability, pooled
from cellmon.monitor.capability_sides import (
    count_outside,
    held_against,
    judged_columns,
    runs,
    side_of,
    spread_inside,
)
from cellmon.monitor.capability_window import gauge_noise_um, gauge_state, window_state
from cellmon.monitor.signals import all_signals
from cellmon.monitor.stream import stream_bores, value_column
from cellmon.monitor.view import View
from cellmon.records import Numbers, Stream
from cellmon.shifts import to_utc


@dataclass(frozen=True, kw_only=True)
class StreamCapability:
    """One stream; figures in micrometres from nominal, ppm in bores per million."""

    stream: Stream
    n: int
    model: str | None
    mean_um: float | None
    sd_within_um: float | None
    sd_total_um: float | None
    cp: Estimate | None
    cpk: Estimate | None
    pp: Estimate | None
    ppk: Estimate | None
    ppm_expected: Estimate | None
    ppm_observed: float | None
    stable: bool
    movement: str | None
    claim: str
    lower_bound: float | None
    reasons: tuple[str, ...]
    time_model: str | None = None
    """Distribution-time model of ISO 22514-2, in words."""
    cautious_bound: float | None = None
    """The lower bound where the tail may be longer than it looks; the claim must hold with it too."""
    bores_needed: int | None = None
    """Bores in all that would carry the claim if the index stays as it is."""
    correlation: float | None = None
    """Of neighbouring bores."""
    effective_n: int | None = None
    """Independent bores that they are worth; None where the correlation is at most 0.1."""
    ppk_process: Estimate | None = None
    """Ppk with the noise of the gauge taken out, for normal bores."""
    why_not: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class CapabilityAnswer(Answer):
    """Every stream with limits; `lower_bound` of each is one-sided at `confidence`."""

    sentence: str
    required: float
    confidence: float
    capability: tuple[StreamCapability, ...]
    pooled: tuple[PooledCapability, ...] = ()
    """Statements over several streams of a feature, where they may be pooled, and why not elsewhere."""


ONE_LIMIT = "Cp and Pp need two limits"
NO_MOVEMENT = "at least 20 whole subgroups are needed to tell how location and spread move"
NOT_NORMAL = "the feature cannot be negative and is not normal: Ppk by quantiles stands alone"
TWO_POPULATIONS = "least and greatest are not both normal: Ppk by quantiles stands alone"


def capability(
    view: View,
    *,
    spindle: str | None,
    bore: str | None,
    feature: str | None,
    since: datetime | None,
    until: datetime | None,
) -> CapabilityAnswer:
    """Answer with the indices of every stream that has limits, over some time (all of it by default).

    Doubted bores are left out. `stable` needs 25 subgroups and no signal that is open or answered as
    real in that time.

    Raises
    ------
    NotFound
        When no stream has these names.
    """
    wanted = {"spindle": spindle, "bore": bore, "feature": feature}
    chosen = [s for s in view.streams if all(v in (None, getattr(s, k)) for k, v in wanted.items())]
    if not chosen and any(wanted.values()):
        raise NotFound(f"no stream of {', '.join(f'{k} {v}' for k, v in wanted.items() if v)}")
    start = None if since is None else to_utc(since)
    end = view.as_of if until is None else to_utc(until)
    asked = view.sheet.capability
    of_parts = [(own, s) for s in chosen for own in part_streams(view, s)]
    with_limits = [(own, s) for own, s in of_parts if _has_limits(view, own)]
    found = [_of_stream(view, own, s, start, end) for own, s in with_limits]
    kept = [one for one, (_, s) in zip(found, with_limits, strict=True) if one.row.n or s.like is None]
    rows = tuple(one.row for one in kept)
    members = [one.member for one in kept if one.member is not None]
    return CapabilityAnswer(
        **view.head(),
        sentence=_sentence(view, rows, asked.required),
        required=asked.required,
        confidence=asked.confidence,
        capability=rows,
        pooled=pooled(members, claim_confidence=asked.confidence),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Found:
    """A stream's row, and its share in a pool; None where it has no index."""

    row: StreamCapability
    member: Member | None


def _has_limits(view: View, stream: Stream) -> bool:
    tolerance = view.tolerance(stream)
    return tolerance.lower_um is not None or tolerance.upper_um is not None


def _sentence(view: View, rows: tuple[StreamCapability, ...], required: float) -> str:
    if not rows:
        return "No stream with limits has bores in this time."
    supported = sum(r.claim == "supported" for r in rows)
    known = [r for r in rows if r.ppk is not None and r.ppk.value is not None]
    worst = min(known, key=lambda r: r.ppk.value if r.ppk and r.ppk.value else 0.0, default=None)
    tail = ""
    if worst is not None and worst.ppk is not None and worst.ppk.value is not None:
        tail = f" The worst is {view.name(worst.stream)}, Ppk {worst.ppk.value:.2f}."
    return f"{supported} of {len(rows)} streams support the claim of at least {required:g}.{tail}"


def part_streams(view: View, stream: Stream) -> tuple[Stream, ...]:
    """Return a stream of one part, or for like parts that of each: limits and claims are a part's own."""
    if stream.like is None:
        return (stream,)
    numbers = view.sheet.charted_numbers(stream.part_number)
    return tuple(replace(stream, part_number=number) for number in numbers)


def _of_stream(
    view: View, stream: Stream, watched: Stream, start: np.datetime64 | None, end: np.datetime64
) -> _Found:
    """Return what one part's bores are capable of; `watched` is the stream they are charted in."""
    bores = stream_bores(view, stream, start, end)
    clean = bores.select((bores.flags == 0) & np.isfinite(getattr(bores, value_column(view, stream))))
    subgroups = view.session.subgroups(watched, start=start, end=end, clean=True)
    if watched != stream:
        subgroups = subgroups.select(np.isin(subgroups.last_part.astype(str), bores.part.astype(str)))
    open_, real = _signals(view, watched, start, end)
    found, why_not = _indices(view, stream, clean)
    values = getattr(clean, value_column(view, stream))
    held = held_against(view, stream, clean)
    more = None if found is None else _figures(view, stream, clean, held, found)
    needed = _needed(view, more, len(clean))
    claim = _claim(
        view,
        watched,
        _Window(
            plain=found,
            figures=more,
            held=held,
            values=values,
            bores=clean,
            subgroups=subgroups,
            signals=(open_, real),
            doubted=len(bores) - len(clean),
            needed=needed,
        ),
    )
    within = found is not None and (more is None or more.normal or stream.feature not in ZERO_BOUNDED)
    if found is not None and not within:
        why_not["cp"] = why_not["cpk"] = NOT_NORMAL
    if more is not None and more.pp is None and "pp" not in why_not:
        why_not["pp"] = TWO_POPULATIONS
    time = None if more is None else more.time
    if time is None:
        why_not["movement"] = why_not["time_model"] = NO_MOVEMENT
    process, no_process = _process(view, stream, held, more)
    if process is None:
        why_not["ppk_process"] = no_process
    row = StreamCapability(
        stream=stream,
        n=len(clean),
        model=None if more is None else more.family,
        mean_um=float(values.mean()) if len(values) else None,
        sd_within_um=spread_inside(subgroups),
        sd_total_um=float(values.std(ddof=1)) if len(values) > 1 else None,
        cp=_estimate(found.cp) if found and within else None,
        cpk=_estimate(found.cpk) if found and within else None,
        pp=_estimate(more.pp) if more else None,
        ppk=_estimate(more.ppk) if more else None,
        ppm_expected=_estimate(more.ppm) if more else None,
        ppm_observed=found.ppm_observed.value if found and found.ppm_observed else None,
        stable=claim.stable,
        movement=None if time is None else str(time.movement),
        claim="supported" if claim.supported else "not supported",
        lower_bound=more.bound if more else None,
        reasons=claim.reasons,
        time_model=None if time is None else time.sentence,
        cautious_bound=more.cautious_bound if more else None,
        bores_needed=needed,
        correlation=None if more is None else more.effective.correlation,
        effective_n=round(more.effective.for_mean) if more is not None and more.effective.noted else None,
        ppk_process=_estimate(process),
        why_not=why_not,
    )
    return _Found(row=row, member=None if more is None else _member(view, stream, values, held, more))


def _member(view: View, stream: Stream, values: Numbers, held: tuple[Held, ...], found: Figures) -> Member:
    worth = found.effective.for_mean / len(values) if found.effective.noted else 1.0
    return Member(stream=stream, name=view.name(stream), values=values, held=held, worth=worth)


def _figures(
    view: View, stream: Stream, bores: Bores, held: tuple[Held, ...], plain: Indices
) -> Figures | None:
    return figures(
        held,
        getattr(bores, value_column(view, stream)),
        runs(bores, view.sheet.subgroups.size),
        plain,
        zero_bounded=stream.feature in ZERO_BOUNDED,
        claim_confidence=view.sheet.capability.confidence,
    )


def _needed(view: View, found: Figures | None, n: int) -> int | None:
    """Return the bores in all that would carry the claim; None where none would, or where they are there."""
    required = view.sheet.capability.required
    if found is None or found.cautious_bound >= required:
        return None
    return bores_needed_by_error(found.ppk.value, found.cautious_bound, n=n, required=required)


def _process(
    view: View, stream: Stream, held: tuple[Held, ...], found: Figures | None
) -> tuple[Index | None, str]:
    """Return Ppk without the noise of the gauge, and why there is none."""
    noise = gauge_noise_um(view, stream)
    if found is None or not found.normal:
        return None, "given for normal bores only"
    if noise is None:
        return None, "the sheet does not state the uncertainty of one reading"
    sd = max(float(one.values.std(ddof=1)) for one in held)
    n = max(found.effective.for_mean, 2.0)
    df = max(found.effective.for_spread - 1, 1.0)
    try:
        return without_noise(found.ppk.value, sd=sd, n=n, df=df, gauge_sd=noise).process, ""
    except NoSpread as refused:
        return None, str(refused)


def _signals(view: View, stream: Stream, start: np.datetime64 | None, end: np.datetime64) -> tuple[int, int]:
    """Count the open signals and those answered in some time; an answer with a cause makes them real."""
    mine = [
        s
        for s in all_signals(view, stream)
        if s.state != "withdrawn"
        and to_utc(s.raised_at) <= end
        and (start is None or to_utc(s.raised_at) >= start)
    ]
    answered = sum(
        s.state == "answered" and not _false(s.response.cause if s.response else None) for s in mine
    )
    return sum(s.state == "open" for s in mine), answered


def _false(cause: str | None) -> bool:
    return (cause or "").strip().lower() in ("false alarm", "chance")


def _indices(view: View, stream: Stream, bores: Bores) -> tuple[Indices | None, dict[str, str]]:
    tolerance = view.tolerance(stream)
    lower, upper = tolerance.lower_um, tolerance.upper_um
    low, high = judged_columns(view, stream)
    why_not: dict[str, str] = {}
    try:
        found = indices(
            lower,
            upper,
            low_side=None if lower is None else side_of(bores, low, view),
            high_side=None if upper is None else side_of(bores, high, view),
            nonconforming=count_outside(bores, low, high, lower, upper),
            claim_confidence=view.sheet.capability.confidence,
        )
    except (NotEnoughData, NoSpread) as refused:
        missing = ("model", "cp", "cpk", "pp", "ppk", "ppm_expected", "ppm_observed", "lower_bound")
        return None, dict.fromkeys(missing, str(refused))
    if found.cp is None:
        why_not.update(cp=ONE_LIMIT if lower is None or upper is None else "no whole subgroup")
    if found.pp is None:
        why_not.update(pp=ONE_LIMIT)
    if found.cpk is None:
        why_not.update(cpk="no whole subgroup, so nothing is known of the spread inside them")
    return found, why_not


@dataclass(frozen=True, kw_only=True, eq=False)
class _Window:
    """What a claim is judged on."""

    plain: Indices | None
    figures: Figures | None
    held: tuple[Held, ...]
    values: Numbers
    bores: Bores
    subgroups: Subgroups
    signals: tuple[int, int]
    doubted: int
    needed: int | None


def _claim(view: View, stream: Stream, window: _Window) -> Claim:
    baseline, found, n = view.baseline(stream), window.figures, len(window.bores)
    seen = None if window.plain is None else window.plain.ppm_observed
    return judge_claim(
        required=view.sheet.capability.required,
        index_name="Ppk",
        index=None if found is None else found.ppk.value,
        bound=None if found is None else found.bound,
        confidence=view.sheet.capability.confidence,
        cautious=None if found is None else found.cautious_bound,
        subgroups=len(window.subgroups),
        bores=n,
        open_signals=window.signals[0],
        real_signals=window.signals[1],
        provisional=baseline is None or baseline.version == 0,
        doubted=window.doubted,
        outside=0 if seen is None else round(seen.value * n / 1e6),
        expected_outside=None if found is None else found.ppm.value * n / 1e6,
        gauge=gauge_state(view, stream, window.bores, window.values, view.tolerance(stream)),
        window=window_state(view, stream, window.bores, window.values, window.held, found),
        more_bores=None if window.needed is None else max(window.needed - n, 1),
    )


def _estimate(index: Index | None) -> Estimate | None:
    if index is None:
        return None
    return Estimate(value=index.value, low=index.low, high=index.high, confidence=index.confidence)
