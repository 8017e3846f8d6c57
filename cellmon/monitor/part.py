"""All that is known of one block."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from cellmon.errors import NotFound
from cellmon.judged import Bores
from cellmon.local import dated, significant
from cellmon.monitor.answers import Answer
from cellmon.monitor.part_bores import PartMeasurement, measurements_of
from cellmon.monitor.part_events import Noted, PartEvent, happened
from cellmon.monitor.part_lists import part_lists
from cellmon.monitor.part_signals import Audited, Disposition, PartSignal, dispositions_of, part_signals
from cellmon.monitor.traced_bore import BoreTraces
from cellmon.monitor.traces import traces
from cellmon.monitor.view import View
from cellmon.records import Kind, Verdict
from cellmon.sheet import Part
from cellmon.shifts import to_utc
from cellmon.words import say, say_many, to_say

MEANT = to_say(
    "A record of what was measured and decided. It does not say that the part is fit for use: that is for "
    "a qualified person, by the drawing and the site's procedures."
)


@dataclass(frozen=True, kw_only=True)
class PartNote:
    """What another instrument or an eye found in a bore: a characteristic's value, a finding's count."""

    bore: str
    at: datetime
    what: str
    value: float
    unit: str | None
    plane: str | None
    by: str | None
    kind: str = "characteristic"
    """`characteristic` or `finding`."""
    gauge: str | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class PartStory(Answer):
    """A block: its measurements in time order, signals it is part of, its dispositions, and what else
    was found in it.

    `signals` names the signals, newest first; `held_for` tells of each. `traces` are its roundness
    traces, with curves. `nominal_mm`, `length_mm`, and the planes' depths are the drawing's and the sheet's.
    """

    part: str
    part_number: str
    sentence: str
    measurements: tuple[PartMeasurement, ...]
    signals: tuple[str, ...]
    dispositions: tuple[Disposition, ...]
    notes: tuple[PartNote, ...] = ()
    held_for: tuple[PartSignal, ...] = ()
    on_lists: tuple[PartSignal, ...] = ()
    """Signals over before the block was made, or begun after, on whose hold list it stands all the same; the
    newest of them, of `on_lists_count` in all."""
    on_lists_count: int = 0
    traces: tuple[BoreTraces, ...] = ()
    happened: tuple[PartEvent, ...] = ()
    revision: str | None = None
    nominal_mm: float | None = None
    length_mm: float | None = None
    depths_mm: Mapping[str, float] | None = None
    meant: str = MEANT


def part_story(view: View, serial: str) -> PartStory:
    """Answer with everything known of one block.

    Raises
    ------
    NotFound
        When nothing was measured under that serial.
    """
    bores = view.session.bores(part=serial, end=view.as_of)
    if not len(bores):
        raise NotFound(say("no part {part}", part=serial))
    bores = bores.select(np.argsort(bores.measured_at, kind="stable"))
    measurements = measurements_of(view, bores, serial)
    given = dispositions_of(view, serial)
    notes = tuple(sorted(_notes(view, serial), key=lambda note: note.at))
    audits = [Audited(what=n.what, bore=n.bore, at=to_utc(n.at)) for n in notes]
    held = part_signals(view, bores, given, audits)
    last = {one.signal: one for one in given}
    lists = part_lists(view, bores, last, named={one.id for one in held})
    drawing = _drawing(view, bores)
    traced = _traces(view, serial)
    return PartStory(
        **view.head(),
        part=serial,
        part_number=bores.part_number[0],
        sentence=_sentence(serial, measurements, traced, held, view.local(bores.measured_at.max())),
        measurements=measurements,
        signals=tuple(signal.id for signal in held),
        dispositions=given,
        notes=notes,
        held_for=held,
        on_lists=lists.newest,
        on_lists_count=lists.count,
        traces=traced,
        happened=happened(measurements, _noted(notes), traced, held, given),
        revision=drawing.revision if drawing else None,
        nominal_mm=drawing.diameter.nominal if drawing else None,
        length_mm=drawing.length_mm if drawing else None,
        depths_mm=dict(view.sheet.measuring.planes),
        meant=say(MEANT),
    )


def _drawing(view: View, bores: Bores) -> Part | None:
    return next((p for p in view.sheet.parts if p.number == bores.part_number[0]), None)


def _traces(view: View, serial: str) -> tuple[BoreTraces, ...]:
    try:
        return traces(view, part=serial).bores
    except NotFound:
        return ()


def _notes(view: View, serial: str) -> Iterator[PartNote]:
    """Yield what characteristics and findings say of a block."""
    for kind, what, value in (
        (Kind.CHARACTERISTICS, "characteristic", "value"),
        (Kind.FINDINGS, "finding", "count"),
    ):
        rows = view.session.rows_of_part(kind, serial)
        audited = kind is Kind.CHARACTERISTICS
        for i in np.flatnonzero(rows.at <= view.as_of):
            yield PartNote(
                bore=rows.bore[i],
                at=view.local(rows.at[i]),
                what=getattr(rows, what)[i],
                value=float(getattr(rows, value)[i]),
                unit=rows.unit[i] if audited else None,
                plane=rows.plane[i],
                by=rows.by[i],
                kind=what,
                gauge=rows.gauge[i] if audited else None,
            )


def _noted(notes: Sequence[PartNote]) -> list[Noted]:
    """Return what was noted of one bore at one moment as one thing."""
    found: dict[tuple[datetime, str, str], list[str]] = {}
    for note in notes:
        where = f" ({note.plane})" if note.plane else ""
        unit = f" {note.unit}" if note.unit else ""
        words = f"{note.what.replace('_', ' ')} {significant(note.value)}{unit}{where}"
        if note.by and note.kind == "finding":
            words = say("{words}, by {who}", words=words, who=note.by)
        found.setdefault((note.at, note.bore, note.kind), []).append(words)
    return [
        Noted(at=at, bore=bore, what=kind, words=", ".join(words))
        for (at, bore, kind), words in found.items()
    ]


@dataclass(frozen=True, kw_only=True)
class NewestParts(Answer):
    """The blocks measured last, newest first."""

    parts: tuple[str, ...]


LOOKED_AT = 400
"""So many of the newest measurements are looked through for serials."""


def newest_parts(view: View, *, count: int = 12) -> NewestParts:
    """Answer with the blocks measured last, newest first; none where nothing was measured."""
    bores = view.session.bores(end=view.as_of, last=LOOKED_AT)
    newest = bores.part[np.argsort(bores.measured_at, kind="stable")[::-1]]
    return NewestParts(**view.head(), parts=tuple(dict.fromkeys(newest.tolist()))[:count])


def _sentence(
    serial: str,
    measurements: tuple[PartMeasurement, ...],
    traced: tuple[BoreTraces, ...],
    held: tuple[PartSignal, ...],
    last: datetime,
) -> str:
    """Return what the charted measurements and the traces say, and whether the block is on hold."""
    charted = [m for m in measurements if m.charted]
    unread = sorted({m.bore for m in measurements} - {m.bore for m in charted})
    outside = [m.bore for m in charted if m.verdict is Verdict.DOES_NOT_CONFORM]
    undecided = [m.bore for m in charted if m.verdict is Verdict.UNDECIDED]
    said = []
    if outside:
        said.append(_found(BY_GAUGE, Verdict.DOES_NOT_CONFORM, outside))
    if undecided:
        said.append(_found(BY_GAUGE, Verdict.UNDECIDED, undecided))
    if charted and not said:
        said.append(_conform(charted, unread))
    if unread and charted:
        said.append(say("no complete measurement of {bores}", bores=_bores(unread)))
    elif unread:
        said.append(say("no complete measurement"))
    said += _trace_words(traced)
    at = dated(last)
    seen = say("{part}: {said}, last seen {at}.", part=serial, said="; ".join(said), at=at)
    return " ".join([seen, *_held_words(held)])


def _conform(charted: Sequence[PartMeasurement], unread: Sequence[str]) -> str:
    if len(charted) == 1:
        return say("bore {bore} conforms", bore=charted[0].bore)
    if unread:
        return say("all {count} bores measured whole conform", count=len(charted))
    return say("all {count} bores conform", count=len(charted))


BY_GAUGE = {
    Verdict.DOES_NOT_CONFORM: (to_say("{bores} does not conform"), to_say("{bores} do not conform")),
    Verdict.UNDECIDED: (to_say("{bores} is undecided"), to_say("{bores} are undecided")),
}
BY_TRACES = {
    Verdict.DOES_NOT_CONFORM: (
        to_say("by its trace {bores} does not conform"),
        to_say("by their traces {bores} do not conform"),
    ),
    Verdict.UNDECIDED: (
        to_say("by its trace {bores} is undecided"),
        to_say("by their traces {bores} are undecided"),
    ),
}
"""For one bore and for several."""


def _found(words: Mapping[Verdict, tuple[str, str]], verdict: Verdict, bores: list[str]) -> str:
    one, many = words[verdict]
    return say(one if len(bores) == 1 else many, bores=_bores(bores))


def _trace_words(traced: tuple[BoreTraces, ...]) -> list[str]:
    """Return which bores their traces find not to conform, or undecided, when two points may not have."""
    said = []
    for verdict in BY_TRACES:
        bad = sorted({t.bore for t in traced if any(f.verdict is verdict for f in t.figures)})
        if bad:
            said.append(_found(BY_TRACES, verdict, bad))
    return said


def _bores(names: list[str]) -> str:
    if len(names) == 1:
        return say("bore {bore}", bore=names[0])
    return say("bores {bores} and {last}", bores=", ".join(names[:-1]), last=names[-1])


def _held_words(held: tuple[PartSignal, ...]) -> list[str]:
    """Return whether the block is on hold, or was; nothing where no signal holds it."""
    waiting = [s for s in held if s.disposition is None]
    if not held:
        return []
    if waiting:
        return [
            say_many(
                "On hold for {count} signal, nothing decided yet.",
                "On hold for {count} signals, nothing decided yet.",
                len(waiting),
            )
        ]
    words = dict.fromkeys(say(s.disposition.as_) for s in held if s.disposition is not None)
    return [say("Was held; decided: {words}.", words=", ".join(words))]
