"""All that is known of one block."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from cellmon.errors import NotFound
from cellmon.judged import Bores
from cellmon.monitor.answers import Answer
from cellmon.monitor.bores import known_features
from cellmon.monitor.hold import holds
from cellmon.monitor.view import View
from cellmon.records import Flag, Kind, Numbers, Verdict
from cellmon.shifts import to_utc


@dataclass(frozen=True, kw_only=True, eq=False)
class PartMeasurement:
    """One measurement of one bore; `um` of shape (planes, directions), nan = not measured."""

    bore: str
    spindle: str
    gauge: str
    at: datetime
    stage: str
    fixture: str | None
    stone_set: str | None
    um: Numbers
    features: Mapping[str, float | None]
    verdict: Verdict
    charted: bool
    flags: tuple[Flag, ...]


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


@dataclass(frozen=True, kw_only=True, eq=False)
class PartStory(Answer):
    """A block: its measurements in time order, signals it is part of, its dispositions, and what else
    was found in it."""

    part: str
    part_number: str
    sentence: str
    measurements: tuple[PartMeasurement, ...]
    signals: tuple[str, ...]
    dispositions: tuple[Mapping[str, str], ...]
    notes: tuple[PartNote, ...] = ()


def part_story(view: View, serial: str) -> PartStory:
    """Answer with everything known of one block.

    Raises
    ------
    NotFound
        When nothing was measured under that serial.
    """
    bores = view.session.bores(part=serial, end=view.as_of)
    if not len(bores):
        raise NotFound(f"no part {serial}")
    measurements = tuple(_measurement(view, bores, i) for i in range(len(bores)))
    released = tuple(
        {"signal": d.subject, "as": d.body["as"], "by": d.by, "why": d.why}
        for d in view.session.decisions("release")
        if serial in d.body["parts"]
    )
    return PartStory(
        **view.head(),
        part=serial,
        part_number=bores.part_number[0],
        sentence=_sentence(serial, measurements, view.local(bores.measured_at.max())),
        measurements=measurements,
        signals=_signals(view, bores),
        dispositions=released,
        notes=tuple(sorted(_notes(view, serial), key=lambda note: note.at)),
    )


def _measurement(view: View, bores: Bores, i: int) -> PartMeasurement:
    return PartMeasurement(
        bore=bores.bore[i],
        spindle=bores.spindle[i],
        gauge=bores.gauge[i],
        at=view.local(bores.measured_at[i]),
        stage=bores.stage[i],
        fixture=bores.fixture[i],
        stone_set=bores.stone_set[i],
        um=bores.um[i],
        features=known_features(bores, i),
        verdict=bores.verdict_of(i),
        charted=bool(bores.charted[i]),
        flags=bores.flags_of(i),
    )


def _signals(view: View, bores: Bores) -> tuple[str, ...]:
    """Return the signals whose change may reach one of these bores, newest first."""
    charted = bores.select(bores.charted == 1)
    found = []
    for signal in view.signals:
        if signal.state == "withdrawn" or signal.change is None:
            continue
        start, end = to_utc(signal.change.earliest_at), to_utc(signal.last_at)
        within = (charted.measured_at >= start) & (charted.measured_at <= end)
        mine = within & holds(signal.stream, charted, view.sheet)
        if mine.any():
            found.append(signal.id)
    return tuple(found)


def _notes(view: View, serial: str) -> Iterator[PartNote]:
    """Yield what characteristics and findings say of a block."""
    for kind, what, value in (
        (Kind.CHARACTERISTICS, "characteristic", "value"),
        (Kind.FINDINGS, "finding", "count"),
    ):
        rows = view.session.rows_of_part(kind, serial)
        for i in np.flatnonzero(rows.at <= view.as_of):
            yield PartNote(
                bore=rows.bore[i],
                at=view.local(rows.at[i]),
                what=getattr(rows, what)[i],
                value=float(getattr(rows, value)[i]),
                unit=rows.unit[i] if kind is Kind.CHARACTERISTICS else None,
                plane=rows.plane[i],
                by=rows.by[i],
            )


def _sentence(serial: str, measurements: tuple[PartMeasurement, ...], last: datetime) -> str:
    charted = [m for m in measurements if m.charted]
    bad = [m.bore for m in charted if m.verdict is not Verdict.CONFORMS]
    at = f"{last:%Y-%m-%d %H:%M}"
    if not charted:
        return f"{serial}: no complete measurement, last seen {at}."
    if not bad:
        return f"{serial}: all {len(charted)} bores conform, last seen {at}."
    return f"{serial}: bore {', '.join(bad)} not proven inside the limits, last seen {at}."
