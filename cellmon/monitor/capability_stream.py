"""One stream's row of the capability answer: its window, its figures, and the claim they carry."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np

from cellmon.capability.claim_reasons import BoresBehind
from cellmon.capability.claims import Claim, ClaimedIndex, judge_claim
from cellmon.capability.indices import Index, Indices
from cellmon.capability.needed import bores_needed_by_error
from cellmon.capability.noise import without_noise
from cellmon.errors import NoSpread
from cellmon.judged import Bores, Subgroups
from cellmon.monitor.answers import Estimate, Signature
from cellmon.monitor.audited_bores import is_audited
from cellmon.monitor.capability_figures import ZERO_BOUNDED, Figures, Held, figures
from cellmon.monitor.capability_pooling import Member
from cellmon.monitor.capability_range import BoresWithin, bores_within
from cellmon.monitor.capability_sides import (
    held_against,
    plain_indices,
    runs,
    spread_inside,
)
from cellmon.monitor.capability_span import Span, Spans
from cellmon.monitor.capability_window import gauge_noise_um, gauge_state, window_state
from cellmon.monitor.kept import kept
from cellmon.monitor.signal_register import tells_of
from cellmon.monitor.stream_bores import value_column
from cellmon.monitor.view import View
from cellmon.records import Numbers, Stream
from cellmon.shifts import to_utc
from cellmon.words import say, to_say


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
    tolerance_interval: BoresWithin | None = None
    """Between which limits nearly all bores lie; None where they move in time, or are too few."""
    since: datetime | None = None
    until: datetime | None = None
    """The time that was counted, where bores were left out that nobody asked for."""
    signature: Signature | None = None
    """Who signed these figures; None where nobody did and the sheet wants no second person."""
    why_not: Mapping[str, str] = field(default_factory=dict)


NO_MOVEMENT = to_say("at least 20 whole subgroups are needed to tell how location and spread move")
NOT_NORMAL = to_say("the feature cannot be negative and is not normal: Ppk by quantiles stands alone")
TWO_POPULATIONS = to_say("least and greatest are not both normal: Ppk by quantiles stands alone")
SUPPORTED, NOT_SUPPORTED = to_say("supported"), to_say("not supported")
"""What `claim` says, in English whatever the site speaks: it is compared."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Found:
    """A stream's row, and its share in a pool; None where it has no index."""

    row: StreamCapability
    member: Member | None


def of_stream(view: View, stream: Stream, watched: Stream, spans: Spans) -> Found:
    """Return what one part's bores are capable of; `watched` is the stream they are charted in."""
    window = _window(view, stream, watched, spans)
    return Found(row=_row(view, window, _claim(view, window)), member=_member(view, window))


@dataclass(frozen=True, kw_only=True, eq=False)
class _Window:
    """The bores of a stream in some time, doubted ones left out, and what is found in them."""

    stream: Stream
    watched: Stream
    span: Span
    bores: Bores
    values: Numbers
    doubted: int
    subgroups: Subgroups
    signals: tuple[int, int]
    """Open ones, and those answered as real."""
    held: tuple[Held, ...]
    plain: Indices | None
    figures: Figures | None
    needed: int | None
    why_not: Mapping[str, str]

    @property
    def within(self) -> bool:
        """Whether Cp and Cpk, which take the bores as normal, may be stated."""
        if self.plain is None:
            return False
        return self.figures is None or self.figures.normal or self.stream.feature not in ZERO_BOUNDED


def _window(view: View, stream: Stream, watched: Stream, spans: Spans) -> _Window:
    span, bores = spans.of(stream), spans.bores(stream)
    clean = bores.select((bores.flags == 0) & np.isfinite(getattr(bores, value_column(view, stream))))
    subgroups = spans.subgroups(watched)
    if watched != stream:
        subgroups = subgroups.select(np.isin(subgroups.last_part.astype(str), bores.part.astype(str)))
    plain, why_not = plain_indices(view, stream, clean)
    held = held_against(view, stream, clean)
    found = None if plain is None else stream_figures(view, stream, clean, held, plain)
    return _Window(
        stream=stream,
        span=span,
        watched=watched,
        bores=clean,
        values=getattr(clean, value_column(view, stream)),
        doubted=len(bores) - len(clean),
        subgroups=subgroups,
        signals=_signals(view, watched, span),
        held=held,
        plain=plain,
        figures=found,
        needed=_needed(view, found, len(clean)),
        why_not=why_not,
    )


def _row(view: View, window: _Window, claim: Claim) -> StreamCapability:
    values, plain, found = window.values, window.plain, window.figures
    time = None if found is None else found.time
    inside = plain if window.within else None
    process, no_process = _process(view, window)
    within, none_within = bores_within(values, view.tolerance(window.stream), found)
    missing = {"ppk_process": no_process, "tolerance_interval": none_within}
    return StreamCapability(
        stream=window.stream,
        since=view.local(window.span.start) if window.span.cut and window.span.start is not None else None,
        until=view.local(window.span.end) if window.span.cut else None,
        n=len(values),
        model=None if found is None else found.family,
        mean_um=float(values.mean()) if len(values) else None,
        sd_within_um=spread_inside(window.subgroups),
        sd_total_um=float(values.std(ddof=1)) if len(values) > 1 else None,
        cp=_estimate(inside.cp) if inside else None,
        cpk=_estimate(inside.cpk) if inside else None,
        pp=_estimate(found.pp) if found else None,
        ppk=_estimate(found.ppk) if found else None,
        ppm_expected=_estimate(found.ppm) if found else None,
        ppm_observed=plain.ppm_observed.value if plain and plain.ppm_observed else None,
        stable=claim.stable,
        movement=None if time is None else str(time.movement),
        claim=SUPPORTED if claim.supported else NOT_SUPPORTED,
        lower_bound=found.bound if found else None,
        reasons=claim.reasons,
        time_model=None if time is None else time.sentence,
        cautious_bound=found.cautious_bound if found else None,
        bores_needed=window.needed,
        correlation=None if found is None else found.effective.correlation,
        effective_n=round(found.effective.for_mean) if found is not None and found.effective.noted else None,
        ppk_process=_estimate(process),
        tolerance_interval=within,
        why_not=_why_not(window, {name: why for name, why in missing.items() if why}),
    )


def _why_not(window: _Window, missing: Mapping[str, str]) -> dict[str, str]:
    """Return why a figure of the row is missing, by its name."""
    found, said = window.figures, dict(window.why_not)
    if window.plain is not None and not window.within:
        said["cp"] = said["cpk"] = say(NOT_NORMAL)
    if found is not None and found.pp is None and "pp" not in said:
        said["pp"] = say(TWO_POPULATIONS)
    if found is None or found.time is None:
        said["movement"] = said["time_model"] = say(NO_MOVEMENT)
    return {**said, **missing}


def _member(view: View, window: _Window) -> Member | None:
    found, values = window.figures, window.values
    if found is None:
        return None
    worth = found.effective.for_mean / len(values) if found.effective.noted else 1.0
    name = view.name(window.stream)
    return Member(stream=window.stream, name=name, values=values, held=window.held, worth=worth)


def stream_figures(
    view: View, stream: Stream, bores: Bores, held: tuple[Held, ...], plain: Indices
) -> Figures | None:
    """Return the figures of a stream's clean bores; None where there are too few, or no spread."""
    return kept(
        figures,
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


def _process(view: View, window: _Window) -> tuple[Index | None, str]:
    """Return Ppk without the noise of the gauge, and why there is none."""
    found, noise = window.figures, gauge_noise_um(view, window.stream)
    if found is None or not found.normal:
        return None, say("given for normal bores only")
    if noise is None:
        return None, say("the sheet does not state the uncertainty of one reading")
    sd = max(float(one.values.std(ddof=1)) for one in window.held)
    n = max(found.effective.for_mean, 2.0)
    df = max(found.effective.for_spread - 1, 1.0)
    try:
        return without_noise(found.ppk.value, sd=sd, n=n, df=df, gauge_sd=noise).process, ""
    except NoSpread as refused:
        return None, str(refused)


def _signals(view: View, stream: Stream, span: Span) -> tuple[int, int]:
    """Count the open signals and those answered in some time; an answer with a cause makes them real.

    Where the running shift is left out unasked, its signals forbid a claim all the same.
    """
    start, end = span.start, view.as_of if span.cut else span.end
    raised = (s for s in view.signals_since(start) if to_utc(s.raised_at) <= end)
    mine = [s for s in raised if tells_of(s, stream)]
    answered = sum(
        s.state == "answered" and not _false(s.response.cause if s.response else None) for s in mine
    )
    return sum(s.state == "open" for s in mine), answered


def _false(cause: str | None) -> bool:
    return (cause or "").strip().lower() in ("false alarm", "chance")


def _claim(view: View, window: _Window) -> Claim:
    stream, n = window.watched, len(window.bores)
    baseline, found = view.baseline(stream), window.figures
    single = is_audited(view, stream)  # each value a subgroup of one; its limits learn and are never frozen
    seen = None if window.plain is None else window.plain.ppm_observed
    claimed = ClaimedIndex(
        name="Ppk",
        value=None if found is None else found.ppk.value,
        bound=None if found is None else found.bound,
        required=view.sheet.capability.required,
        confidence=view.sheet.capability.confidence,
        cautious=None if found is None else found.cautious_bound,
        more_bores=None if window.needed is None else max(window.needed - n, 1),
    )
    behind = BoresBehind(
        subgroups=n if single else len(window.subgroups),
        bores=n,
        open_signals=window.signals[0],
        real_signals=window.signals[1],
        provisional=not single and (baseline is None or baseline.version == 0),
        doubted=window.doubted,
        outside=0 if seen is None else round(seen.value * n / 1e6),
        expected_outside=None if found is None else found.ppm.value * n / 1e6,
    )
    return judge_claim(
        claimed,
        behind,
        gauge=gauge_state(view, stream, window.bores, window.values, view.tolerance(stream)),
        window=window_state(view, stream, window.bores, window.values, window.held, found),
    )


def _estimate(index: Index | None) -> Estimate | None:
    return None if index is None else Estimate.of(index, confidence=index.confidence)
