"""Doubts about measurements, and what a person's correction makes of them."""

from __future__ import annotations

import hashlib
import itertools
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cellmon.bores.doubts import (
    MAD_TO_SIGMA,
    dial_turn,
    single_reading,
    swapped_directions,
    swapped_planes,
)
from cellmon.judged import Doubts, StoredReadings
from cellmon.monitor.judge.context import Context, Suspect
from cellmon.monitor.judge.together import row_means
from cellmon.records import Flag, Flags, Numbers, Readings, Texts, Times, Whole, absent
from cellmon.records.alike import Numbered, numbered
from cellmon.sheet import Sheet
from cellmon.words import to_say

WORDS = {
    Flag.ROUTING: to_say("bore {bore} is not routed to this spindle"),
    Flag.SET_DIFFERS: to_say("the row names another stone set than the events"),
    Flag.DIAL_TURN: to_say("one reading is a whole turn of a dial from the others"),
    Flag.SWAPPED_PLANES: to_say(
        "top and bottom seem exchanged: the taper has its usual size and the other sign"
    ),
    Flag.SWAPPED_DIRECTIONS: to_say(
        "the two directions seem exchanged: the oval has its usual size and lies across"
    ),
    Flag.SINGLE_READING: to_say(
        "one reading stands far from its companions: dirt, a burr, or the gauge off the diameter"
    ),
    Flag.CLOCK: to_say("measured much longer after honing than is usual: a station clock may be off"),
    Flag.REPEATED_HOUR: to_say("measured in the hour the clock went through twice"),
    Flag.ZERO_SUSPECT: to_say("the gauge was found {by} µm off at the next check"),
    Flag.LATE: to_say("came after limits were frozen over its time"),
}
AHEAD = to_say("dated in the future when it was taken: a station clock may be ahead")
PROPOSALS = {
    Flag.DIAL_TURN: to_say("take the turn off"),
    Flag.SWAPPED_PLANES: to_say("exchange the planes"),
    Flag.SWAPPED_DIRECTIONS: to_say("exchange the directions"),
    Flag.SINGLE_READING: to_say("leave that reading out"),
    Flag.ZERO_SUSPECT: to_say("take {by} µm off"),
}
"""Kept in English, with their values in them; `cellmon.monitor.flags` says them."""

CONTEXT_FLAGS = (
    Flag.ROUTING.bit
    | Flag.SET_DIFFERS.bit
    | Flag.CLOCK.bit
    | Flag.REPEATED_HOUR.bit
    | Flag.ZERO_SUSPECT.bit
    | Flag.LATE.bit
)
"""Flags that doubt where a bore belongs or all gauge readings alike, not the figures of one bore."""

TURNS_UM = (200.0, 500.0, 1000.0)
CLOCK_STEP = np.timedelta64(60, "s")
RUN = 5
"""So many bores in a row must show a clock's step before it is called one."""


@dataclass(frozen=True, kw_only=True, eq=False)
class _Found:
    """Rows that share one kind of doubt."""

    flag: Flag
    rows: Whole
    bore: str = ""
    by: str = ""
    to_spindle: str | None = None
    cell: Whole | None = None
    amount: Numbers | None = None
    said: str | None = None
    """Words of its own, where a flag has several reasons."""

    @property
    def words(self) -> str:
        """What is doubted, in English."""
        return (self.said or WORDS[self.flag]).format(bore=self.bore, by=self.by)

    @property
    def proposal(self) -> str | None:
        """What would correct it: the spindle, where the routing is doubted, or words in English."""
        text = PROPOSALS.get(self.flag)
        return self.to_spindle if text is None else text.format(by=self.by)


def doubts_of(
    stored: StoredReadings,
    um: NDArray[np.float64],
    sheet: Sheet,
    context: Context,
    *,
    unit_start: NDArray[np.datetime64],
) -> Doubts:
    """Return every doubt about some measurements; um of shape (bores, planes, directions)."""
    readings = stored.readings
    found = [
        *_where_made(readings, sheet, context),
        *_when_made(stored, unit_start),
        *_as_read(um, readings, sheet),
        *_exchanged(um, readings, unit_start),
        *_gauge_off(readings, context.suspect),
        _Found(flag=Flag.LATE, rows=np.flatnonzero(stored.late)),
    ]
    found = [f for f in found if len(f.rows)]
    rows = np.concatenate([f.rows for f in found]) if found else np.zeros(0, dtype=np.int64)
    flags = _spread([f.flag.value for f in found], found)
    return Doubts(
        id=_ids(flags, readings, rows),
        flag=flags,
        gauge=readings.gauge[rows],
        part=readings.part[rows],
        bore=readings.bore[rows],
        spindle=readings.spindle[rows],
        measured_at=readings.measured_at[rows],
        unit_start=unit_start[rows],
        words=_spread([f.words for f in found], found),
        proposal=_spread([f.proposal for f in found], found),
        cell=_numbers([f.cell for f in found], found),
        amount=_numbers([f.amount for f in found], found),
        line=rows,
    )


def correct(
    readings: Readings, um: NDArray[np.float64], doubts: Doubts, context: Context
) -> tuple[NDArray[np.float64], Texts, Whole]:
    """Apply what people decided; return readings, spindles, and the flags that still stand."""
    um, spindle = um.copy(), readings.spindle.copy()
    flags = np.zeros(len(readings), dtype=np.int64)
    for i in range(len(doubts)):
        row = int(doubts.line[i])
        decision = context.corrections.get(doubts.id[i])
        if decision is None:
            flags[row] |= Flag(doubts.flag[i]).bit
        elif decision.body.get("accept"):
            _apply(doubts, i, row, um, spindle)
    return um, spindle, flags


def _apply(doubts: Doubts, i: int, row: int, um: NDArray[np.float64], spindle: Texts) -> None:
    flag = Flag(doubts.flag[i])
    cells = um[row].reshape(-1)
    if flag is Flag.ROUTING:
        spindle[row] = doubts.proposal[i]
    elif flag is Flag.SINGLE_READING:
        cells[int(doubts.cell[i])] = np.nan
    elif flag is Flag.DIAL_TURN:
        cells[int(doubts.cell[i])] -= doubts.amount[i]
    elif flag is Flag.ZERO_SUSPECT:
        cells -= doubts.amount[i]
    elif flag is Flag.SWAPPED_PLANES:
        um[row] = um[row][::-1]
    elif flag is Flag.SWAPPED_DIRECTIONS:
        um[row] = um[row][:, ::-1]


def _where_made(readings: Readings, sheet: Sheet, context: Context) -> Iterator[_Found]:
    when = np.where(np.isnat(readings.honed_at), readings.measured_at, readings.honed_at)
    wrong = ~context.allowed(sheet, readings.spindle, readings.bore, when)
    for bore in sorted(set(readings.bore[wrong].tolist())):
        rows = np.flatnonzero(wrong & (readings.bore == bore))
        yield _Found(flag=Flag.ROUTING, rows=rows, bore=bore, to_spindle=sheet.usual_spindle(bore))
    fitted = context.set_fitted(readings.spindle, when)
    said = ~absent(readings.stone_set) & ~absent(fitted)
    differs = np.flatnonzero(said & (readings.stone_set != fitted))
    yield _Found(flag=Flag.SET_DIFFERS, rows=differs)


def _when_made(stored: StoredReadings, unit_start: NDArray[np.datetime64]) -> Iterator[_Found]:
    readings = stored.readings
    yield _Found(flag=Flag.CLOCK, rows=np.flatnonzero(stored.ahead), said=AHEAD)
    yield _Found(flag=Flag.REPEATED_HOUR, rows=np.flatnonzero(readings.repeated_hour))
    behind, bores = readings.measured_at - readings.honed_at, numbered(readings.bore, sort=True)[0]
    for here in _by_gauge(readings):
        mine = here[~np.isnat(behind[here])]
        mine = mine[np.argsort(unit_start[mine], kind="stable")]
        for rows in np.split(mine, np.flatnonzero(np.diff(unit_start[mine].astype(np.int64))) + 1):
            if len(rows) >= RUN:
                made = _in_order(readings, bores, rows, readings.honed_at)  # measuring's may be mixed up
                stepped = made[_in_runs(_stepped(behind[made]))]
                yield _Found(flag=Flag.CLOCK, rows=stepped[~stored.ahead[stepped]])


def _by_gauge(readings: Readings) -> Iterator[Whole]:
    """Yield the rows of each gauge."""
    number, gauges = numbered(readings.gauge, sort=True)
    for i in range(number.min(initial=0), len(gauges)):
        yield np.flatnonzero(number == i)


def _in_order(readings: Readings, bores: Whole, rows: Whole, at: Times) -> Whole:
    """Put rows in order of moments, those of one moment by bore, as `bores` numbers them, and part."""
    when = at.view(np.int64)
    found: Whole = rows[np.lexsort((bores[rows], when[rows]))]
    alike = (when[found[1:]] == when[found[:-1]]) & (bores[found[1:]] == bores[found[:-1]])
    if alike.any():  # words are slow to sort
        found = rows[np.lexsort((readings.part[rows], bores[rows], when[rows]))]
    return found


def _stepped(behind: NDArray[np.timedelta64]) -> Flags:
    before: Flags = behind < np.timedelta64(0, "s")
    if before.all():
        return before
    usual = np.quantile(behind[~before].astype(np.int64), 0.05)
    over: Flags = (behind.astype(np.int64) - usual) > CLOCK_STEP.astype("timedelta64[us]").astype(np.int64)
    return over | before


def _in_runs(marked: Flags) -> Flags:
    """Keep only marks that stand in an unbroken run of at least `RUN`."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], marked.astype(np.int8), [0]))))
    kept = np.zeros(len(marked), dtype=bool)
    for begin, end in zip(edges[::2], edges[1::2], strict=True):
        kept[begin:end] = end - begin >= RUN
    return kept


def _as_read(um: NDArray[np.float64], readings: Readings, sheet: Sheet) -> Iterator[_Found]:
    if um.shape[1] * um.shape[2] < 4:
        return
    places = np.ascontiguousarray(um.reshape(len(um), -1).T)  # few long rows are looked through sooner
    widest = places.max(axis=0) - places.min(axis=0)
    turns = np.flatnonzero(widest > min(TURNS_UM) / 2)  # no other can hold a turn
    turned = dial_turn(um[turns], turns_um=TURNS_UM)
    found = turned.cell >= 0
    yield _Found(
        flag=Flag.DIAL_TURN,
        rows=turns[found],
        cell=turned.cell[found],
        amount=turned.turn_um[found],
    )
    drawing = Numbered.of(readings.part_number)
    for part in sheet.parts:
        lower, upper = part.diameter.lower_um, part.diameter.upper_um
        width = upper - lower if lower is not None and upper is not None else 0.0
        rows = np.flatnonzero(drawing.says(part.number) & (widest > width / 2))
        rows = np.setdiff1d(rows, turns[found], assume_unique=True)
        lone = single_reading(um[rows], tolerance_um=width)
        yield _Found(
            flag=Flag.SINGLE_READING,
            rows=rows[lone >= 0],
            cell=lone[lone >= 0],
        )


def _exchanged(
    um: NDArray[np.float64], readings: Readings, unit_start: NDArray[np.datetime64]
) -> Iterator[_Found]:
    """Doubt runs of bores whose planes or directions look exchanged, by what their unit usually shows."""
    bores = numbered(readings.bore, sort=True)[0]
    for here in _by_gauge(readings):
        rows = _in_order(readings, bores, here, readings.measured_at)
        if um.shape[1] >= 2:
            ends = row_means(um[rows, 0]) - row_means(um[rows, -1])
            swapped = _swapped(swapped_planes, ends, readings.bore[rows], unit_start[rows])
            yield _Found(flag=Flag.SWAPPED_PLANES, rows=rows[swapped])
        if um.shape[2] == 2:
            sides = row_means(um[rows, :, 0] - um[rows, :, 1])
            swapped = _swapped(swapped_directions, sides, readings.bore[rows], unit_start[rows])
            yield _Found(flag=Flag.SWAPPED_DIRECTIONS, rows=rows[swapped])


def _swapped(
    find: Callable[..., Flags], values: Numbers, bore: Texts, unit_start: NDArray[np.datetime64]
) -> Flags:
    """Look for exchanged readings unit by unit, so that a doubt never hangs on the unit beside it."""
    import pandas as pd

    bores, names = numbered(bore)
    units, _ = pd.factorize(unit_start)
    group = units * len(names) + bores
    mean = pd.Series(values).groupby(group).transform("median").to_numpy()
    off = pd.Series(np.abs(values - mean)).groupby(group)
    sd = MAD_TO_SIGMA * off.transform("median").to_numpy()
    found = np.zeros(len(values), dtype=bool)
    edges = [0, *(np.flatnonzero(units[1:] != units[:-1]) + 1).tolist(), len(values)]
    for begin, end in itertools.pairwise(edges):
        here = slice(begin, end)
        found[here] = find(values[here], template_mean=mean[here], template_sd=sd[here], stream=bores[here])
    return found


def _gauge_off(readings: Readings, suspect: tuple[Suspect, ...]) -> Iterator[_Found]:
    told = np.zeros(len(readings), dtype=bool)
    for time in suspect:
        within = (readings.measured_at > time.after) & (readings.measured_at <= time.until)
        rows = np.flatnonzero(within & (readings.gauge == time.gauge) & ~told)
        told[rows] = True
        yield _Found(
            flag=Flag.ZERO_SUSPECT,
            rows=rows,
            by=f"{time.by_um:+.1f}",
            amount=np.full(len(rows), time.by_um),
        )


def _ids(flags: Texts, readings: Readings, rows: Whole) -> Texts:
    """Return for each doubt a short name that depends on nothing but what is doubted and why."""
    keys = [
        f"{flag}|{readings.gauge[row]}|{readings.part[row]}|{readings.bore[row]}|{readings.measured_at[row]}"
        for flag, row in zip(flags, rows, strict=True)
    ]
    return _texts(["D-" + hashlib.sha256(key.encode()).hexdigest()[:10] for key in keys])


def _spread(words: list[str | None] | list[str], found: list[_Found]) -> Texts:
    return _texts([word for word, f in zip(words, found, strict=True) for _ in range(len(f.rows))])


def _texts(values: list[str | None] | list[str]) -> Texts:
    texts = np.empty(len(values), dtype=object)
    texts[:] = values
    return texts


def _numbers(columns: list[Whole | None] | list[Numbers | None], found: list[_Found]) -> Numbers:
    parts = [
        np.full(len(f.rows), np.nan) if column is None else column.astype(np.float64)
        for column, f in zip(columns, found, strict=True)
    ]
    return np.concatenate(parts) if parts else np.zeros(0)
