"""The last bores of every spindle, in their shape and against their limits."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from cellmon.judged import Bores
from cellmon.monitor.alarms import AlarmBudget, alarm_budget
from cellmon.monitor.answers import Answer, Due, Tolerance
from cellmon.monitor.bores import known_features
from cellmon.monitor.forecast import BoresLeft, StreamAdvice, advice_for
from cellmon.monitor.running import of_running, routed_bores
from cellmon.monitor.state import spindle_state, spindles_known
from cellmon.monitor.status import Status, streams_run
from cellmon.monitor.view import View
from cellmon.records import EventKind, Flag, Flags, Numbers, Stream, Verdict


@dataclass(frozen=True, kw_only=True, eq=False)
class BoreNow:
    """The last bore at one position, and the recent ones before it (oldest first).

    `um` has shape (planes, directions): deviation from nominal in micrometres, nan = not measured.
    """

    bore: str
    part: str
    at: datetime
    stone_set: str | None
    um: Numbers
    features: Mapping[str, float | None]
    verdict: Verdict
    flags: tuple[Flag, ...]
    parts: tuple[str, ...]
    ats: tuple[datetime, ...]
    stone_sets: tuple[str | None, ...]
    least_um: Numbers
    greatest_um: Numbers
    average_um: Numbers
    verdicts: tuple[Verdict, ...]


@dataclass(frozen=True, kw_only=True)
class Ahead:
    """The bores left of one stream, None where no drift shows, and what correction pays."""

    stream: Stream
    bores_to_limit: BoresLeft | None
    advice: tuple[StreamAdvice, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class SpindleNow:
    """One spindle, its sentence and its last bores; `ahead` of the streams it is running."""

    spindle: str
    status: Status
    sentence: str
    due: tuple[Due, ...]
    part_number: str
    """Of the part it is running; its limits are `tolerance`, and `bores` are of it."""
    nominal_mm: float
    tolerance: Tolerance
    stone_set: str | None
    bores_since_dress: int | None
    bores: tuple[BoreNow, ...]
    ahead: tuple[Ahead, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class Now(Answer):
    """What the machinist sees; part number, nominal, length and limits are of the part made last."""

    cell: str
    part_number: str
    nominal_mm: float
    length_mm: float | None
    tolerance: Tolerance
    planes: tuple[str, ...]
    depths_mm: tuple[float, ...]
    directions: tuple[str, ...]
    angles_deg: tuple[float, ...]
    spindles: tuple[SpindleNow, ...]
    alarms: AlarmBudget
    notes: tuple[str, ...]


RECENT = 40
"""So many of a position's last bores are shown against the limits."""


def now(view: View) -> Now:
    """Answer with each spindle's sentence and the last bores of each of its positions."""
    part, measuring = view.running(None), view.sheet.measuring
    spindles = []
    for name in spindles_known(view):
        state = spindle_state(view, name)
        own = view.running(name)
        bores = tuple(b for p in routed_bores(view, name) if (b := _bore_now(view, name, p)) is not None)
        last = view.session.bores(spindle=name, charted=True, last=1, end=view.as_of)
        spindles.append(
            SpindleNow(
                spindle=name,
                status=state.status,
                sentence=state.sentence,
                due=state.due,
                part_number=own.number,
                nominal_mm=own.diameter.nominal,
                tolerance=view.tolerance(_size(own.number)),
                stone_set=last.stone_set[0] if len(last) else None,
                bores_since_dress=since_dress(view, name),
                bores=bores,
                ahead=tuple(_ahead(view, stream) for stream in streams_run(view, name)),
            )
        )
    return Now(
        **view.head(),
        cell=view.sheet.cell.name,
        part_number=part.number,
        nominal_mm=part.diameter.nominal,
        length_mm=part.length_mm,
        tolerance=view.tolerance(_size(part.number)),
        planes=tuple(measuring.planes),
        depths_mm=tuple(measuring.planes.values()),
        directions=tuple(measuring.directions),
        angles_deg=tuple(measuring.directions.values()),
        spindles=tuple(spindles),
        alarms=alarm_budget(view),
        notes=view.notes,
    )


def _ahead(view: View, stream: Stream) -> Ahead:
    advice = advice_for(view, stream, view.standing(stream))
    return Ahead(stream=stream, bores_to_limit=view.bores_left(stream), advice=advice)


def _size(part_number: str) -> Stream:
    return Stream(part_number=part_number, spindle=None, bore=None, feature="diameter")


def _bore_now(view: View, spindle: str, bore: str) -> BoreNow | None:
    recent = view.newest_bores(spindle, bore)
    recent = recent.select(slice(max(len(recent) - RECENT, 0), None))
    recent = of_running(view, spindle, recent)
    if not len(recent):
        return None
    last = len(recent) - 1
    return BoreNow(
        bore=bore,
        part=recent.part[last],
        at=view.local(recent.measured_at[last]),
        stone_set=recent.stone_set[last],
        um=recent.um[last],
        features=known_features(recent, last),
        verdict=recent.verdict_of(last),
        flags=recent.flags_of(last),
        parts=tuple(recent.part.tolist()),
        ats=tuple(view.local(at) for at in recent.measured_at),
        stone_sets=tuple(recent.stone_set.tolist()),
        least_um=recent.least,
        greatest_um=recent.greatest,
        average_um=recent.average,
        verdicts=_verdicts(recent),
    )


def _verdicts(bores: Bores) -> tuple[Verdict, ...]:
    return tuple(bores.verdict_of(i) for i in range(len(bores)))


def since_dress(view: View, spindle: str) -> int | None:
    """Return how many bores a spindle honed since its stones were dressed or fitted; None if never logged."""
    latest = view.latest_events
    resets = [EventKind.STONES_FITTED, EventKind.STONES_DRESSED]
    mine = latest.at[(latest.spindle == spindle) & np.isin(latest.event.astype(str), resets)]
    if not len(mine):
        return None
    at = mine.max()

    def since(bores: Bores) -> Flags:
        honed = np.where(np.isnat(bores.honed_at), bores.measured_at, bores.honed_at)
        found: Flags = honed > at
        return found

    return view.session.count_charted(spindle, start=at, end=view.as_of, of=since)
