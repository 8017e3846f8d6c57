"""Audits and findings: what other instruments and eyes found, as streams with limits of their own."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from cellmon.charts.individuals import Scale, SingleLimits, moving_ranges, single_limits
from cellmon.charts.level_watch import LevelWatch
from cellmon.monitor.answers import Answer
from cellmon.monitor.judge.allowed import Allowed
from cellmon.monitor.judge.audit_plan import FINDINGS_PLANNED
from cellmon.monitor.judge.audits import AuditSeries, JudgedSeries, audit_series, judged_series
from cellmon.monitor.judge.findings import FindingSeries, finding_series, usual_limit
from cellmon.monitor.judge.traced import Audited, audited_rows, refusal_words
from cellmon.monitor.view import View
from cellmon.records import Flags, Numbers, Stream, Texts, Times, Whole
from cellmon.sheet import TRACE_SIZE
from cellmon.store import TracedFigure
from cellmon.words import say, to_say

NO_TRACE = to_say(
    "no trace was taken, so the {size} size that the sheet names is not known of any bore; what is charted "
    "as diameter is the average of two-point sizes, which watches the process and is not that size"
)


@dataclass(frozen=True, kw_only=True, eq=False)
class AuditStream:
    """One audited feature of one bore: single values with their moving ranges, one entry a block.

    Limits are nan where nothing is called a limit. On the log scale a moving range is the ratio to the
    value before. `beyond` is -1 below, 0 inside, +1 above; `deviate` what the detector of the level was
    given: standard normal while nothing moved, nan for the first 20.
    """

    stream: Stream
    unit: str
    scale: Scale
    part: Texts
    at: Times
    value: Numbers
    lower: Numbers
    center: Numbers
    upper: Numbers
    moving_range: Numbers
    range_center: Numbers
    range_upper: Numbers
    beyond: Whole
    beyond_range: Whole
    deviate: Numbers
    baseline_n: int | None
    """Values that the newest limits rest on."""
    sheet_lower: float | None
    sheet_upper: float | None
    signals: tuple[str, ...]
    notes: tuple[str, ...]
    why_not: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True, eq=False)
class FindingStream:
    """The share of a spindle's bores with one finding, one entry a shift.

    `most` is the largest count that chance explains, nan where nothing is called a limit; `of` says what
    `bores` counts: those looked at, or all that were made.
    """

    stream: Stream
    of: str
    shift: Texts
    shift_start: Times
    bores: Whole
    found: Whole
    most: Numbers
    beyond: Flags
    baseline_found: int
    baseline_bores: int
    """What the newest limit rests on."""
    chance: float
    """Of the newest shift to be beyond by chance, at most."""
    signals: tuple[str, ...]
    notes: tuple[str, ...]
    why_not: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True, eq=False)
class Audits(Answer):
    """Every stream of audits and findings, in order of their names."""

    sentence: str
    audits: tuple[AuditStream, ...]
    findings: tuple[FindingStream, ...]


def audits(
    view: View, *, spindle: str | None = None, bore: str | None = None, feature: str | None = None
) -> Audits:
    """Answer with the streams of audits and findings of these names, all by default.

    A finding is of a spindle, so a bore leaves out all of them; its name is its feature.
    """
    audited = audited_rows(view.session, end=view.as_of + np.timedelta64(1, "us"))
    rows = audited.rows
    allowed = Allowed(rules=view.rules)
    wanted = {"spindle": spindle, "bore": bore, "feature": feature}
    series = [s for s in audit_series(rows, view.sheet) if _is_wanted(s.stream, wanted)]
    shown = tuple(_audit_stream(view, judged_series(s, allowed), audited.refused) for s in series)
    every = finding_series(view.session, view.rules, until=view.as_of)
    found = tuple(_finding_stream(view, s) for s in every if _is_wanted(s.stream, wanted))
    return Audits(
        **view.head(),
        sentence=_sentence(shown, found),
        audits=shown,
        findings=found,
        why_not={**dict(_unheard(view, rows.characteristic, every)), **_untraced(view, audited)},
    )


def _is_wanted(stream: Stream, wanted: Mapping[str, str | None]) -> bool:
    return all(value in (None, getattr(stream, name)) for name, value in wanted.items())


def _unheard(view: View, names: Texts, found: list[FindingSeries]) -> Iterator[tuple[str, str]]:
    """Yield what has no stream, or less of a promise than the others."""
    known = {name for part in view.sheet.parts for name in (*part.features, *part.audited)}
    strange = sorted(set(names.tolist()) - known)
    if strange:
        yield (
            "audits",
            say(
                "{names}: no feature of the sheet; kept, shown in a part's story only",
                names=", ".join(strange),
            ),
        )
    both = sorted(set(names.tolist()) & known - {n for p in view.sheet.parts for n in p.audited})
    if both:
        yield (
            "charted",
            say(
                "{names}: has streams of the gauge's readings; single values are judged only",
                names=", ".join(both),
            ),
        )
    kinds = len({s.stream.feature for s in found})
    if kinds > FINDINGS_PLANNED:
        yield (
            "false_alarms",
            say(
                "{kinds} kinds of finding share the false alarms planned for {planned}",
                kinds=kinds,
                planned=FINDINGS_PLANNED,
            ),
        )


def _untraced(view: View, audited: Audited) -> Mapping[str, str]:
    """Return why nothing, or less than was traced, is charted of what the sheet takes from traces."""
    found, named = {}, set(audited.rows.characteristic.tolist())
    for part in view.sheet.parts:
        if part.sized_by_trace and TRACE_SIZE not in named:
            found[TRACE_SIZE] = say(NO_TRACE, size=part.diameter.size)
    for f in audited.refused:
        if f.feature not in named:
            found[f.feature] = say(
                "{part} bore {bore}: {why}",
                part=f.of.part,
                bore=f.of.bore,
                why=refusal_words(f.why_not or ""),
            )
    return found


@dataclass(frozen=True, kw_only=True)
class NotGiven:
    """So many audits or traces of a stream gave no value, and why."""

    count: int
    why: str

    def __str__(self) -> str:
        return say("{count} left out, {why}", count=self.count, why=self.why)


def of_series(left_out: Sequence[str]) -> tuple[NotGiven, ...]:
    """Return what a series leaves out, which its own module says in English."""
    counted = [note.split(" left out, ", 1) for note in left_out]
    return tuple(NotGiven(count=int(many), why=say(why)) for many, why in counted)


def _not_given(stream: Stream, refused: Sequence[TracedFigure]) -> tuple[NotGiven, ...]:
    """Return how many traces of a stream gave no figure, and why the newest did not."""
    mine = [f for f in refused if f.feature == stream.feature and f.of.bore == stream.bore]
    mine = [f for f in mine if f.spindle in (None, stream.spindle)]
    if not mine:
        return ()
    newest = mine[-1]
    why = say("the newest of {part}: {why}", part=newest.of.part, why=refusal_words(newest.why_not or ""))
    return (NotGiven(count=len(mine), why=why),)


def untold(view: View, stream: Stream) -> tuple[NotGiven, ...]:
    """Return how many traces of a stream gave no figure, and why the newest did not."""
    after = view.as_of + np.timedelta64(1, "us")
    return _not_given(stream, audited_rows(view.session, end=after).refused)


def _audit_stream(view: View, judged: JudgedSeries, refused: Sequence[TracedFigure]) -> AuditStream:
    series = judged.series
    steps = list(_limits(series, judged.watch)) if judged.watch is not None else []
    columns = _columns(series, steps)
    value, ranges = series.value, moving_ranges(series.value, series.scale)
    over = ranges > columns["range_upper"]
    tolerance = view.tolerance(series.stream)
    nothing = np.full(len(value), np.nan)
    return AuditStream(
        stream=series.stream,
        unit=series.unit,
        scale=series.scale,
        part=series.part,
        at=series.at,
        value=value,
        moving_range=ranges,
        **columns,
        beyond=(value > columns["upper"]).astype(np.int64) - (value < columns["lower"]),
        beyond_range=over.astype(np.int64),
        deviate=nothing if judged.watch is None else judged.watch.deviate,
        baseline_n=steps[-1][1].n if steps else None,
        sheet_lower=tolerance.lower_um,
        sheet_upper=tolerance.upper_um,
        signals=_signals_of(view, series.stream),
        notes=tuple(map(str, (*of_series(series.left_out), *_not_given(series.stream, refused)))),
        why_not={} if judged.why_not is None else {"limits": say(judged.why_not)},
    )


def _limits(series: AuditSeries, watch: LevelWatch) -> Iterator[tuple[int, SingleLimits]]:
    """Yield from which place on which limits hold: the first, and those after a shift that lasted."""
    for since, rows in watch.baselines:
        yield since, single_limits(series.value[rows], scale=series.scale)


def _columns(series: AuditSeries, steps: list[tuple[int, SingleLimits]]) -> dict[str, Numbers]:
    names = {
        "lower": "lower",
        "center": "centre",
        "upper": "upper",
        "range_center": "range_centre",
        "range_upper": "range_upper",
    }
    found = {name: np.full(len(series.value), np.nan) for name in names}
    for since, limits in steps:
        for name, own in names.items():
            found[name][since:] = getattr(limits, own)
    return found


def _signals_of(view: View, stream: Stream) -> tuple[str, ...]:
    """Return the names of the standing signals in which a stream called."""
    return tuple(s.id for s in reversed(view.register.called_by(stream)) if stream in s.streams)


def _finding_stream(view: View, series: FindingSeries) -> FindingStream:
    watch, many = series.watch, len(series.bores)
    most = np.full(many, np.nan) if watch is None else watch.most.copy()
    newest = usual_limit(series)
    if newest is not None:
        most[-1] = newest
    names = np.full(many, None, dtype=object)
    names[:] = [str(view.rules.at(s).calendar.at(s)) for s in series.shift_start]
    return FindingStream(
        stream=series.stream,
        of=say(series.of),
        shift=names,
        shift_start=series.shift_start,
        bores=series.bores,
        found=series.found,
        most=most,
        beyond=series.found > most,
        baseline_found=0 if watch is None or not many else int(watch.seen[-1]),
        baseline_bores=0 if watch is None or not many else int(watch.of[-1]),
        chance=float(series.chance[-1]) if many else 0.0,
        signals=_signals_of(view, series.stream),
        notes=tuple(map(str, of_series(series.left_out))),
        why_not={} if series.why_not is None else {"most": say(series.why_not)},
    )


def _sentence(shown: tuple[AuditStream, ...], found: tuple[FindingStream, ...]) -> str:
    """Return how many streams there are and how many called, without its full stop."""
    if not shown and not found:
        return say("no audit of a feature of the sheet and no finding was taken yet")
    called = sum(bool(s.signals) for s in shown) + sum(bool(s.signals) for s in found)
    young = sum(bool(s.why_not) for s in shown) + sum(bool(s.why_not) for s in found)
    counts = {"audits": len(shown), "findings": len(found)}
    if called:
        text = say(
            "{audits} streams of audits and {findings} of findings: {called} called a signal",
            **counts,
            called=called,
        )
    else:
        text = say("{audits} streams of audits and {findings} of findings: none called a signal", **counts)
    if not young:
        return text
    return say("{text}; {young} have too little behind them for limits", text=text, young=young)
