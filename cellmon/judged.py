"""What judging derives from the facts: bores with their features, subgroups, doubts and signals.

All of it is a pure function of rows, decisions and sheet versions; it can be thrown away and rebuilt.
Numbers are micrometres from nominal unless the name says otherwise.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cellmon.records import (
    Batch,
    Flag,
    Numbers,
    Readings,
    Stream,
    Texts,
    Times,
    Verdict,
    Whole,
    cells,
    number,
    text,
    time,
    whole,
)
from cellmon.words import to_say

FEATURE_COLUMNS = (
    "average",
    "least",
    "greatest",
    "mid_range",
    "taper",
    "barrel",
    "twist",
    "ovality",
    "ovality_worst",
    "roundness",
    "size_range",
)
"""Columns of `Bores` that hold features."""

OF_SPINDLE = {"cycle_s": "s", "load_pct": "%", "load_ripple_pct": "%", "feed_um": "µm"}
"""What machines write beside a bore and is watched of each spindle, with its unit."""
OF_ALL = {"part_temp_c": "°C", "master_temp_c": "°C"}
"""What is watched of the whole cell."""
OFFSETS = "offsets_given"
"""What was entered for a spindle, over blocks of 100 of its bores."""
PROCESS = {**OF_SPINDLE, **OF_ALL, OFFSETS: to_say("µm per 100 bores")}
"""All that is watched beside the bores' features, with its unit."""

STREAM_COLUMNS = ("part_number", "spindle", "bore", "feature", "fixture", "part_of")
"""What tells one stream from another; no bore: a mean of several, no spindle either: of all."""

SIZE_COLUMNS = {"average": "average", "least": "least", "greatest": "greatest", "mid-range": "mid_range"}
"""The column of `Bores` that holds each size a sheet may name."""

VERDICT_CODES = {Verdict.DOES_NOT_CONFORM: -1, Verdict.UNDECIDED: 0, Verdict.CONFORMS: 1}
VERDICTS = {code: verdict for verdict, code in VERDICT_CODES.items()}


@dataclass(frozen=True, kw_only=True, eq=False)
class Bores(Batch):
    """One row a measurement of a bore, merged from its readings, corrected where a person said so.

    `um` has shape (rows, planes, directions). `charted` is 1 for the first complete measurement of a
    bore by a gauge that serves the streams. `flags` holds bits of `Flag`; `verdict` a code of
    `VERDICTS`; `segment` numbers what no subgroup may span. `trace_size` is the size from the bore's
    newest trace, by `trace_gauge`, where the sheet lets such a size decide.
    """

    planes: tuple[str, ...]
    directions: tuple[str, ...]
    part_number: Texts = text(needed=True)
    part: Texts = text(needed=True, key=True)
    bore: Texts = text(needed=True, key=True)
    spindle: Texts = text(needed=True)
    gauge: Texts = text(needed=True, key=True)
    measured_at: Times = time(needed=True, key=True)
    um: NDArray[np.float64] = cells()
    unit_start: Times = time(needed=True)
    shift_start: Times = time(needed=True)
    stage: Texts = text(needed=True)
    charted: Whole = whole(needed=True)
    flags: Whole = whole(needed=True)
    verdict: Whole = whole(needed=True)
    sheet: Whole = whole(needed=True)
    position: Whole = whole(needed=True)
    fixture: Texts = text()
    stone_set: Texts = text()
    operator: Texts = text()
    sequence: Numbers = number()
    honed_at: Times = time()
    average: Numbers = number()
    least: Numbers = number()
    greatest: Numbers = number()
    mid_range: Numbers = number()
    taper: Numbers = number()
    barrel: Numbers = number()
    twist: Numbers = number()
    ovality: Numbers = number()
    ovality_worst: Numbers = number()
    roundness: Numbers = number()
    size_range: Numbers = number()
    trace_size: Numbers = number()
    trace_gauge: Texts = text()
    part_temp_c: Numbers = number()
    master_temp_c: Numbers = number()
    thermal: Numbers = number()
    cycle_s: Numbers = number()
    feed_um: Numbers = number()
    load_pct: Numbers = number()
    load_ripple_pct: Numbers = number()

    def flags_of(self, row: int) -> tuple[Flag, ...]:
        """Return the flags of one row."""
        return tuple(flag for flag in Flag if int(self.flags[row]) & flag.bit)

    def verdict_of(self, row: int) -> Verdict:
        """Return the verdict of one row."""
        return VERDICTS[int(self.verdict[row])]


@dataclass(frozen=True, kw_only=True, eq=False)
class OfStreams(Batch):
    """Rows that each belong to one stream; `STREAM_COLUMNS` say to which."""

    part_number: Texts = text(needed=True)
    feature: Texts = text(needed=True)
    part_of: Texts = text(needed=True)
    spindle: Texts = text()
    bore: Texts = text()
    fixture: Texts = text()

    def stream_of(self, row: int) -> Stream:
        """Return the stream one row belongs to."""
        return Stream(
            part_number=self.part_number[row],
            spindle=self.spindle[row],
            bore=self.bore[row],
            feature=self.feature[row],
            fixture=self.fixture[row],
            part_of=self.part_of[row],
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class Subgroups(OfStreams):
    """One row a subgroup of one stream; `flagged` counts its doubted bores.

    `low` and `high` are its least and greatest bore; `thermal` what the temperatures of part and master
    made the gauge read too large, on average; nan where they are not known.
    """

    unit_start: Times = time(needed=True)
    shift_start: Times = time(needed=True)
    segment: Whole = whole(needed=True)
    first_part: Texts = text(needed=True)
    last_part: Texts = text(needed=True)
    first_at: Times = time(needed=True)
    at: Times = time(needed=True)
    n: Whole = whole(needed=True)
    mean: Numbers = number(needed=True)
    range: Numbers = number(needed=True)
    sd: Numbers = number(needed=True)
    low: Numbers = number(needed=True)
    high: Numbers = number(needed=True)
    flagged: Whole = whole(needed=True)
    stone_set: Texts = text()
    honed_first: Times = time()
    honed_last: Times = time()
    thermal: Numbers = number()


@dataclass(frozen=True, kw_only=True, eq=False)
class Doubts(Batch):
    """One row a doubt about one measurement; `amount` is what a correction would take off."""

    id: Texts = text(needed=True, key=True)
    flag: Texts = text(needed=True)
    gauge: Texts = text(needed=True)
    part: Texts = text(needed=True)
    bore: Texts = text(needed=True)
    spindle: Texts = text(needed=True)
    measured_at: Times = time(needed=True)
    unit_start: Times = time(needed=True)
    words: Texts = text(needed=True)
    proposal: Texts = text()
    cell: Numbers = number()
    amount: Numbers = number()


@dataclass(frozen=True, kw_only=True, eq=False)
class Alarms(OfStreams):
    """One row a detector of one stream that called, or went on calling in a later unit.

    `call` counts the calls of a stream, `size` is in micrometres (spread: the ratio of standard
    deviations), `change_at` the likeliest moment it began and `earliest_at`, `latest_at` its range.
    """

    call: Texts = text(needed=True)
    kind: Texts = text(needed=True)
    detector: Texts = text(needed=True)
    side: Whole = whole(needed=True)
    unit_start: Times = time(needed=True)
    at: Times = time(needed=True)
    last_at: Times = time(needed=True)
    part: Texts = text(needed=True)
    last_part: Texts = text(needed=True)
    over: Whole = whole(needed=True)
    size: Numbers = number()
    sigma: Numbers = number()
    change_at: Times = time()
    earliest_at: Times = time()
    latest_at: Times = time()
    change_part: Texts = text()
    earliest_part: Texts = text()
    latest_part: Texts = text()
    moved: Texts = text()
    """JSON: how far every stream moved with it (`cellmon.monitor.judge.evidence.Moved`)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class StoredReadings:
    """Rows of readings as the store holds them, with what their taking said of them."""

    readings: Readings
    late: NDArray[np.bool_]
    ahead: NDArray[np.bool_]
    """Dated after the moment they were taken, and far after all before them."""

    def select(self, rows: Any) -> StoredReadings:
        """Return some of the rows."""
        return StoredReadings(
            readings=self.readings.select(rows), late=self.late[rows], ahead=self.ahead[rows]
        )


@dataclass(frozen=True, kw_only=True)
class Limit:
    """A baseline of one stream: provisional, or one frozen version from `since` on."""

    stream: Stream
    centre: float
    sigma: float
    n: int
    subgroups: int
    size: int
    window_from: np.datetime64
    window_to: np.datetime64
    since: np.datetime64 | None = None
    by: str | None = None
    signed_by: str | None = None
    """The second person, where the sheet wanted one."""
    why: str | None = None
    frozen_at: np.datetime64 | None = None
    version: int = 0
    learned: Mapping[str, float] | None = None
    """What the window taught the watch (`cellmon.drift.wear.Learned`); None where it could not."""
    why_not: str | None = None
    """Why not."""
