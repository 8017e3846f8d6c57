"""Bores finished by hand as streams of their own: listed beside a machine's, never counted in one.

A bore is finished by its rounds (the last of them proves size and form), or by readings that name the
spindle `hand`; the later of the two counts, once. No limits, no detector and no index are made of them:
they come when somebody works, not in the order of a process.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from cellmon.bores.form import two_point_features
from cellmon.judged import SIZE_COLUMNS
from cellmon.monitor.answers import Answer, Tolerance
from cellmon.monitor.stones.counted import units_holding
from cellmon.monitor.view import View
from cellmon.records import HAND, Kind, SizingReadings, Stream, Verdict
from cellmon.sheet import Part
from cellmon.shifts import to_utc

SIZE = "diameter"
WINDOW = timedelta(days=7)
MOST_UNITS = 1_000
"""So many units are remembered beside those that are asked of."""


@dataclass(frozen=True, kw_only=True)
class HandBore:
    """One bore finished by hand; `um` is the figure a stream of sizes charts, all in µm from nominal."""

    part_number: str
    part: str
    bore: str
    at: datetime
    um: float
    least_um: float
    greatest_um: float
    verdict: Verdict
    by: str
    rounds: int | None
    """How many rounds it took; None where only its readings were taken."""


@dataclass(frozen=True, kw_only=True)
class HandStream:
    """The bores of one position that were finished by hand, and what holds for their size."""

    stream: Stream
    tolerance: Tolerance
    bores: int
    mean_um: float
    sd_um: float | None
    conforming: int
    last_part: str
    last_at: datetime


@dataclass(frozen=True, kw_only=True)
class HandStreams(Answer):
    """Every stream of bores finished by hand since a moment, and these bores, the newest last."""

    since: datetime
    streams: tuple[HandStream, ...]
    made: tuple[HandBore, ...]


def hand_streams(view: View, *, since: datetime | None = None, until: datetime | None = None) -> HandStreams:
    """Answer: the bores that were finished by hand; those of the last week unless said otherwise."""
    start = view.as_of - np.timedelta64(WINDOW) if since is None else to_utc(since)
    made = finished_by_hand(view, start)
    if until is not None:
        made = tuple(one for one in made if one.at < until)
    return HandStreams(**view.head(), since=view.local(start), streams=streams_by_hand(view, made), made=made)


def finished_by_hand(view: View, start: np.datetime64 | None = None) -> tuple[HandBore, ...]:
    """Return the bores finished by hand since a moment, oldest first; each once, as it counts last."""
    since = view.as_of - np.timedelta64(WINDOW) if start is None else start
    last: dict[tuple[str, str], HandBore] = {}
    for part in view.sheet.parts:
        for one in (*_by_rounds(view, part, since), *_by_readings(view, part, since)):
            before = last.get((one.part, one.bore))
            if before is None or before.at <= one.at:
                last[one.part, one.bore] = one
    return tuple(sorted(last.values(), key=lambda one: one.at))


def streams_by_hand(view: View, made: tuple[HandBore, ...]) -> tuple[HandStream, ...]:
    """Return the streams of some bores finished by hand, in the order of the sheet."""
    found = []
    for part in view.sheet.parts:
        for name in part.bores:
            mine = [one for one in made if (one.part_number, one.bore) == (part.number, name)]
            if mine:
                found.append(_stream(view, part, name, mine))
    return tuple(found)


def _stream(view: View, part: Part, name: str, made: list[HandBore]) -> HandStream:
    um = np.array([one.um for one in made])
    stream = Stream(part_number=part.number, spindle=HAND, bore=name, feature=SIZE)
    return HandStream(
        stream=stream,
        tolerance=view.tolerance(stream),
        bores=len(made),
        mean_um=float(um.mean()),
        sd_um=float(um.std(ddof=1)) if len(um) > 1 else None,
        conforming=sum(one.verdict is Verdict.CONFORMS for one in made),
        last_part=made[-1].part,
        last_at=made[-1].at,
    )


def _by_rounds(view: View, part: Part, start: np.datetime64) -> Iterator[HandBore]:
    rows: SizingReadings = view.session.rows(Kind.SIZING)
    rows = rows.select(rows.at <= view.by_hand_until)
    if not len(rows):
        return
    from cellmon.monitor.bore.form import verdict_of  # late: `state` asks, and most cells keep no rounds
    from cellmon.monitor.bore.rounds import rounds_in
    from cellmon.monitor.bore.terms import Terms

    terms = Terms.of(view.sheet, part)
    if terms is None:
        return
    for serial in dict.fromkeys(rows.part.tolist()):
        of_block = rows.select(rows.part == serial)
        for name in part.bores:
            rounds = rounds_in(of_block, view.sheet, name)
            if not rounds or rounds[0].part_number != part.number:
                continue
            verdict = verdict_of(terms, rounds[-1])
            if rounds[-1].at < start or verdict is not Verdict.CONFORMS:  # not finished yet
                continue
            um = terms.referred(rounds[-1])
            yield HandBore(
                part_number=part.number,
                part=str(serial),
                bore=name,
                at=view.local(rounds[-1].at),
                um=_size(view, part, um),
                least_um=float(np.nanmin(um)),
                greatest_um=float(np.nanmax(um)),
                verdict=verdict,
                by=rounds[-1].by,
                rounds=len(rounds) - 1,
            )


def _size(view: View, part: Part, um: np.ndarray) -> float:
    measuring = view.sheet.measuring
    column = SIZE_COLUMNS.get(part.diameter.size) or "average"
    features = two_point_features(
        um[None],
        depths_mm=list(measuring.planes.values()),
        angles_deg=list(measuring.directions.values()),
        length_mm=part.length_mm,
        only=(column,),
    )
    return float(getattr(features, column)[0])


def _by_readings(view: View, part: Part, start: np.datetime64) -> Iterator[HandBore]:
    if not _is_any_read(view, start):
        return
    bores = view.session.bores(spindle=HAND, start=start, end=view.as_of)
    bores = bores.select(bores.part_number == part.number)
    column = getattr(bores, SIZE_COLUMNS.get(part.diameter.size) or "average")
    for i in np.flatnonzero(np.isfinite(column)):
        yield HandBore(
            part_number=part.number,
            part=str(bores.part[i]),
            bore=str(bores.bore[i]),
            at=view.local(bores.measured_at[i]),
            um=float(column[i]),
            least_um=float(bores.least[i]),
            greatest_um=float(bores.greatest[i]),
            verdict=bores.verdict_of(int(i)),
            by=str(bores.operator[i] or ""),
            rounds=None,
        )


def _is_any_read(view: View, start: np.datetime64) -> bool:
    """Return whether readings name a bore finished by hand; a unit of judging is looked through once."""
    known: dict[str, bool] = view.carry("units with bores by hand", None, dict)
    units = units_holding(view, start, view.as_of)
    if len(known) > MOST_UNITS + len(units):
        known.clear()
    for unit in units:
        if unit.stored not in known:
            known[unit.stored] = HAND in view.session.bores_of_unit(unit.start).spindle
    return any(known[unit.stored] for unit in units)
