"""One measurement of one bore of a block: what was read, by what it was judged, and where it came from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np

from cellmon.judged import Bores, Doubts
from cellmon.monitor.answers import Tolerance
from cellmon.monitor.bores import known_features
from cellmon.monitor.flags import FlagRow, flag_rows
from cellmon.monitor.judge.doubts import CONTEXT_FLAGS
from cellmon.monitor.part_judged import JudgedAgainst, judged_against
from cellmon.monitor.part_place import PlaceInStream, places
from cellmon.monitor.part_stones import Stones, stones_then
from cellmon.monitor.view import View
from cellmon.records import Flag, Numbers, Verdict
from cellmon.sheet import Sheet
from cellmon.store import RowRead
from cellmon.words import say


@dataclass(frozen=True, kw_only=True)
class Origin:
    """A row of a file that readings came from."""

    file: str
    line: int
    taken_at: datetime


@dataclass(frozen=True, kw_only=True)
class ProcessThen:
    """What the machine and the thermometers wrote beside a bore."""

    cycle_s: float | None
    feed_um: float | None
    load_pct: float | None
    load_ripple_pct: float | None
    part_temp_c: float | None
    master_temp_c: float | None
    read_off_um: float | None
    """What the temperatures made the gauge read too large; None where none is known."""


@dataclass(frozen=True, kw_only=True, eq=False)
class PartMeasurement:
    """One measurement of one bore; `um` of shape (planes, directions), nan = not measured.

    `sheet_version` is the version of the sheet that judges it, `rule` and `conformance` how; `judged`
    holds every figure the verdict rests on. `doubts` are its flags with what was decided of them.
    """

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
    tolerance: Tolerance | None = None
    """Of the size, with its guard band."""
    planes: tuple[str, ...] = ()
    directions: tuple[str, ...] = ()
    charted_why: str = ""
    sheet_version: int | None = None
    rule: str | None = None
    conformance: float | None = None
    judged: tuple[JudgedAgainst, ...] = ()
    doubts: tuple[FlagRow, ...] = ()
    honed_at: datetime | None = None
    operator: str | None = None
    sequence: float | None = None
    stones: Stones | None = None
    process: ProcessThen | None = None
    places: tuple[PlaceInStream, ...] = ()
    origins: tuple[Origin, ...] = ()
    why_not: Mapping[str, str] = field(default_factory=dict)


def drawn(measurements: Sequence[PartMeasurement]) -> tuple[PartMeasurement, ...]:
    """Return one measurement a bore, in the order of the bores: the charted one, else the last."""
    found: dict[str, PartMeasurement] = {}
    for m in measurements:
        if m.bore not in found or not found[m.bore].charted:
            found[m.bore] = m
    return tuple(found[bore] for bore in sorted(found))


def measurements_of(view: View, bores: Bores, part: str) -> tuple[PartMeasurement, ...]:
    """Return every measurement of one block; `bores` holds them in order of time."""
    read = view.session.read_of_part(part)
    doubts = view.session.doubts_of_part(part, list(np.unique(bores.unit_start)))
    flags = flag_rows(view, doubts)
    stones = stones_then(view, bores)
    place = places(view, bores)
    origins = _origins(view, bores, read)
    return tuple(
        _measurement(
            view,
            bores,
            i,
            doubts=_about(doubts, flags, bores, i),
            stones=stones[i],
            places=place.get(i, ()),
            origins=origins[i],
        )
        for i in range(len(bores))
    )


def _measurement(
    view: View,
    bores: Bores,
    i: int,
    *,
    doubts: tuple[FlagRow, ...],
    stones: Stones,
    places: tuple[PlaceInStream, ...],
    origins: tuple[Origin, ...],
) -> PartMeasurement:
    sheet = _sheet_of(view, int(bores.sheet[i]))
    judged = tuple(judged_against(bores, i, sheet))
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
        tolerance=_tolerance(judged, sheet, bores.part_number[i]),
        planes=bores.planes,
        directions=bores.directions,
        charted_why=_charted_why(bores, i, sheet),
        sheet_version=int(bores.sheet[i]),
        rule=sheet.decision.rule,
        conformance=sheet.decision.conformance,
        judged=judged,
        doubts=doubts,
        honed_at=None if np.isnat(bores.honed_at[i]) else view.local(bores.honed_at[i]),
        operator=bores.operator[i],
        sequence=_known(bores.sequence[i]),
        stones=stones,
        process=_process(bores, i),
        places=places,
        origins=origins,
        why_not=_why_not(bores, i),
    )


def _why_not(bores: Bores, i: int) -> dict[str, str]:
    """Return why no verdict stands, where that is not because a figure lies near a limit."""
    if int(bores.flags[i]) & ~CONTEXT_FLAGS:
        return {"verdict": say("a reading is doubted in its value: a person decides")}
    if bores.verdict_of(i) is Verdict.UNDECIDED and not np.isfinite(bores.um[i]).all():
        return {"verdict": say("a reading is missing")}
    return {}


def _sheet_of(view: View, version: int) -> Sheet:
    found = [v.sheet for v in view.rules.versions if v.version == version]
    return found[0] if found else view.sheet


def _tolerance(judged: Sequence[JudgedAgainst], sheet: Sheet, number: str) -> Tolerance | None:
    part = next((p for p in sheet.parts if p.number == number), None)
    if part is None:
        return None
    size = part.diameter
    guard = next((j.guard_um for j in judged if j.feature == "diameter"), None)
    return Tolerance(lower_um=size.lower_um, upper_um=size.upper_um, target_um=size.target_um, guard_um=guard)


def _charted_why(bores: Bores, i: int, sheet: Sheet) -> str:
    """Return in words why a measurement is the one charted, or is not."""
    if bores.charted[i]:
        return say("the first whole measurement by a gauge whose readings are charted")
    if bores.stage[i] != "finish":
        return say("not charted: stage {stage}", stage=bores.stage[i])
    if bores.gauge[i] not in sheet.stream_gauges:
        return say("not charted: {gauge} is a gauge of audits", gauge=bores.gauge[i])
    if not np.isfinite(bores.um[i]).all():
        return say("not charted: a reading is missing")
    return say("not charted: another measurement of this bore came first")


def _process(bores: Bores, i: int) -> ProcessThen | None:
    names = ("cycle_s", "feed_um", "load_pct", "load_ripple_pct", "part_temp_c", "master_temp_c")
    found = {name: _known(getattr(bores, name)[i]) for name in names}
    if all(value is None for value in found.values()):
        return None
    return ProcessThen(**found, read_off_um=_known(bores.thermal[i]))


def _about(doubts: Doubts, flags: Sequence[FlagRow], bores: Bores, i: int) -> tuple[FlagRow, ...]:
    same = (doubts.bore == bores.bore[i]) & (doubts.gauge == bores.gauge[i])
    same &= doubts.measured_at == bores.measured_at[i]
    return tuple(flags[int(row)] for row in np.flatnonzero(same))


def _origins(view: View, bores: Bores, read: Sequence[RowRead]) -> list[tuple[Origin, ...]]:
    """Return for each measurement the rows that make it: of its gauge and bore, up to the next one."""
    found = []
    for i in range(len(bores)):
        mine = (bores.bore == bores.bore[i]) & (bores.gauge == bores.gauge[i])
        later = bores.measured_at[mine & (bores.measured_at > bores.measured_at[i])]
        end = later.min() if len(later) else view.as_of + np.timedelta64(1, "us")
        usual = view.sheet.measuring.gauge
        rows = [
            r
            for r in read
            if (r.gauge or usual, r.bore) == (bores.gauge[i], bores.bore[i])
            and bores.measured_at[i] <= r.at < end
        ]
        found.append(tuple(Origin(file=r.file, line=r.line, taken_at=view.local(r.taken_at)) for r in rows))
    return found


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
