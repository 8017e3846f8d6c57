"""Capability of every stream: indices with intervals, and what forbids the claim."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np

from cellmon.capability.claims import Claim, judge_claim
from cellmon.capability.indices import Index, Indices, Side, indices
from cellmon.charts.shewhart import Spread, sigma_from_ranges
from cellmon.charts.subgroups import statistics
from cellmon.errors import NoSpread, NotEnoughData, NotFound
from cellmon.judged import Bores, Subgroups
from cellmon.monitor.answers import Answer, Estimate
from cellmon.monitor.signals import all_signals
from cellmon.monitor.stream import stream_bores, value_column
from cellmon.monitor.view import View
from cellmon.records import Numbers, Stream, Whole
from cellmon.shifts import to_utc
from cellmon.stats.summary import summarise


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
    why_not: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class CapabilityAnswer(Answer):
    """Every stream with limits; `lower_bound` of each is one-sided at `confidence`."""

    sentence: str
    required: float
    confidence: float
    capability: tuple[StreamCapability, ...]


ONE_LIMIT = "Cp and Pp need two limits"
NO_MOVEMENT = "comes with distribution-time models"


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
    with_limits = [s for s in chosen if _has_limits(view, s)]
    rows = tuple(_of_stream(view, s, start, end) for s in with_limits)
    return CapabilityAnswer(
        **view.head(),
        sentence=_sentence(rows, asked.required),
        required=asked.required,
        confidence=asked.confidence,
        capability=rows,
    )


def _has_limits(view: View, stream: Stream) -> bool:
    tolerance = view.tolerance(stream)
    return tolerance.lower_um is not None or tolerance.upper_um is not None


def _sentence(rows: tuple[StreamCapability, ...], required: float) -> str:
    if not rows:
        return "No stream with limits has bores in this time."
    supported = sum(r.claim == "supported" for r in rows)
    known = [r for r in rows if r.ppk is not None and r.ppk.value is not None]
    worst = min(known, key=lambda r: r.ppk.value if r.ppk and r.ppk.value else 0.0, default=None)
    tail = ""
    if worst is not None and worst.ppk is not None and worst.ppk.value is not None:
        tail = f" The worst is {worst.stream}, Ppk {worst.ppk.value:.2f}."
    return f"{supported} of {len(rows)} streams support the claim of at least {required:g}.{tail}"


def _of_stream(
    view: View, stream: Stream, start: np.datetime64 | None, end: np.datetime64
) -> StreamCapability:
    bores = stream_bores(view, stream, start, end)
    clean = bores.select((bores.flags == 0) & np.isfinite(getattr(bores, value_column(view, stream))))
    subgroups = view.session.subgroups(stream, start=start, end=end, clean=True)
    open_, real = _signals(view, stream, start, end)
    found, why_not = _indices(view, stream, clean)
    claim = _claim(view, stream, found, subgroups, clean, (open_, real), doubted=len(bores) - len(clean))
    values = getattr(clean, value_column(view, stream))
    why_not["movement"] = NO_MOVEMENT
    return StreamCapability(
        stream=stream,
        n=len(clean),
        model="normal" if found else None,
        mean_um=float(values.mean()) if len(values) else None,
        sd_within_um=_within(subgroups),
        sd_total_um=float(values.std(ddof=1)) if len(values) > 1 else None,
        cp=_estimate(found.cp) if found else None,
        cpk=_estimate(found.cpk) if found else None,
        pp=_estimate(found.pp) if found else None,
        ppk=_estimate(found.ppk) if found else None,
        ppm_expected=_estimate(found.ppm_expected) if found else None,
        ppm_observed=found.ppm_observed.value if found and found.ppm_observed else None,
        stable=claim.stable,
        movement=None,
        claim="supported" if claim.supported else "not supported",
        lower_bound=found.ppk_bound if found else None,
        reasons=claim.reasons,
        why_not=why_not,
    )


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
    low, high = _judged_columns(view, stream)
    why_not: dict[str, str] = {}
    try:
        found = indices(
            lower,
            upper,
            low_side=None if lower is None else _side(bores, low, view),
            high_side=None if upper is None else _side(bores, high, view),
            nonconforming=_outside(bores, low, high, lower, upper),
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


def _judged_columns(view: View, stream: Stream) -> tuple[str, str]:
    """Return the columns held against the lower and the upper limit."""
    part = next((p for p in view.sheet.parts if p.number == stream.part_number), view.sheet.part())
    if stream.feature == "diameter" and part.diameter.judge == "every-reading":
        return "least", "greatest"
    column = value_column(view, stream)
    return column, column


def _side(bores: Bores, column: str, view: View) -> Side:
    values = getattr(bores, column)
    summary = summarise(values)
    spread = _spread_within(values, _runs(bores, view.sheet.subgroups.size))
    return Side(
        mean=summary.mean,
        sd_within=spread.sigma if spread else None,
        df_within=spread.df if spread else None,
        sd_total=summary.sd,
        n=summary.n,
    )


def _runs(bores: Bores, size: int) -> Whole:
    """Number neighbouring bores of one shift and stone set as subgroups of `size`, the rest -1."""
    if not len(bores):
        return np.zeros(0, dtype=np.int64)
    shift = np.unique(bores.shift_start, return_inverse=True)[1]
    stones = np.unique(bores.stone_set.astype(str), return_inverse=True)[1]
    changed = np.concatenate(([True], (shift[1:] != shift[:-1]) | (stones[1:] != stones[:-1])))
    begins = np.flatnonzero(changed)
    place = np.arange(len(bores)) - np.repeat(begins, np.diff(np.append(begins, len(bores))))
    number = np.cumsum(place % size == 0) - 1
    whole = np.bincount(number)[number] == size
    return np.where(whole, number, -1)


def _spread_within(values: Numbers, labels: Whole) -> Spread | None:
    found = statistics(values[labels >= 0], _dense(labels[labels >= 0]))
    usable = found.n >= 2
    if not usable.any():
        return None
    return sigma_from_ranges(found.range[usable], found.n[usable])


def _dense(labels: Whole) -> Whole:
    return np.unique(labels, return_inverse=True)[1].astype(np.int64)


def _outside(bores: Bores, low: str, high: str, lower: float | None, upper: float | None) -> int:
    outside = np.zeros(len(bores), dtype=bool)
    if lower is not None:
        outside |= getattr(bores, low) < lower
    if upper is not None:
        outside |= getattr(bores, high) > upper
    return int(outside.sum())


def _within(subgroups: Subgroups) -> float | None:
    if not len(subgroups):
        return None
    return sigma_from_ranges(subgroups.range, subgroups.n).sigma


def _claim(
    view: View,
    stream: Stream,
    found: Indices | None,
    subgroups: Subgroups,
    bores: Bores,
    signals: tuple[int, int],
    *,
    doubted: int,
) -> Claim:
    baseline = view.baseline(stream)
    return judge_claim(
        required=view.sheet.capability.required,
        index_name="Ppk",
        index=found.ppk.value if found and found.ppk else None,
        bound=found.ppk_bound if found else None,
        confidence=view.sheet.capability.confidence,
        subgroups=len(subgroups),
        bores=len(bores),
        open_signals=signals[0],
        real_signals=signals[1],
        provisional=baseline is None or baseline.version == 0,
        doubted=doubted,
        outside=round(found.ppm_observed.value * len(bores) / 1e6) if found and found.ppm_observed else 0,
        expected_outside=found.ppm_expected.value * len(bores) / 1e6
        if found and found.ppm_expected
        else None,
    )


def _estimate(index: Index | None) -> Estimate | None:
    if index is None:
        return None
    return Estimate(value=index.value, low=index.low, high=index.high, confidence=index.confidence)
