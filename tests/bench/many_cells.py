"""An archive of many simulated cells, written by what `export bores --to parquet --by-day` writes with.

    python -m tests.bench.many_cells ARCHIVE CELLS BORES

Each cell hones blocks of eight bores on two spindles, day and night. Stones wear and are dressed and
replaced; the machine gives offsets; now and then a bore's level is moved for some hundred blocks. Everything
is drawn from a generator seeded by the cell's number: the same archive every time.
"""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from cellmon.bores.form import two_point_features
from cellmon.export.archive import write_archive
from cellmon.intake.archive import ARCHIVED_KINDS, TracedRows
from cellmon.judged import FEATURE_COLUMNS, Bores, Doubts
from cellmon.monitor.archive import Archive, SheetText
from cellmon.monitor.bores import BoreTable
from cellmon.monitor.rules import BEGINNING
from cellmon.records import ROW_BATCHES, Events, Kind, StoneMeasurements, StoneSets, no_rows

PLACES, BLOCK_S = 8, 40
START = np.datetime64("2026-01-05T06:00:00", "us")
SET_BLOCKS, DRESSED_BLOCKS, OFFSET_BLOCKS = 2000, 400, 200
WEAR_UM, OFFSET_UM = 0.004, 0.8
"""Of diameter a block, and what the machine gives back every so many blocks."""
STONES, THICK_MM, WORN_MM = 4, 3.0, 0.0011
SHEET = """
[cell]
name = "{name}"
timezone = "UTC"
[part]
number = "V-8"
bores = ["1", "2", "3", "4", "5", "6", "7", "8"]
length_mm = 140.0
[features.diameter]
nominal = 87.300
lower = 87.300
upper = 87.324
target = 87.312
[features.taper]
lower = -8.0
upper = 8.0
[features.roundness]
upper = 4.0
[measuring]
planes = { top = 15.0, middle = 70.0, bottom = 125.0 }
directions = { x = 0, y = 90 }
gauge = "G1"
resolution_um = 0.1
uncertainty_common_um = 0.5
uncertainty_reading_um = 0.35
[subgroups]
size = 5
within = ["shift", "stone_set", "dressing"]
[[shifts]]
name = "early"
starts = "06:00"
[[shifts]]
name = "late"
starts = "14:00"
[[shifts]]
name = "night"
starts = "22:00"
[[spindles]]
id = "S1"
bores = ["1", "2", "3", "4"]
dress_every_bores = 1600
[[spindles]]
id = "S2"
bores = ["5", "6", "7", "8"]
dress_every_bores = 1600
[stones]
id = "D64"
new_thickness_mm = 3.0
least_thickness_mm = 0.6
stones_per_set = 4
stone_length_mm = 70.0
expected_life_bores = [6000, 12000]
"""


def cell(number: int, bores: int) -> Archive:
    """Return one simulated cell as it would be archived."""
    rng = np.random.default_rng(20261127 + number)
    blocks = bores // PLACES
    name = f"cell {number:02d}"
    made = _bores(rng, blocks, number)
    newest = made.measured_at.max()
    head: dict[str, Any] = {"as_of": datetime.fromisoformat(f"{newest}").replace(tzinfo=UTC), "sheet": 1}
    days = made.unit_start.astype("datetime64[D]")
    logged = {kind: no_rows(ROW_BATCHES[kind]) for kind in ARCHIVED_KINDS}
    logged |= _logged(rng, blocks, number)
    return Archive(
        **head,
        cell=name,
        newest=newest,
        days={str(d): BoreTable(**head, bores=made.select(days == d)) for d in np.unique(days)},
        logged=logged,
        doubts=no_rows(Doubts),
        traced=no_rows(TracedRows),
        decisions=(),
        announced=(),
        sheets=(SheetText(version=1, since=BEGINNING, text=SHEET.replace("{name}", name)),),
    )


def _bores(rng: np.random.Generator, blocks: int, number: int) -> Bores:
    block, place = np.repeat(np.arange(blocks), PLACES), np.tile(np.arange(PLACES), blocks)
    at = _at(block) + (place * 3).astype("timedelta64[s]")
    level = (
        12.0
        + _drift(block, place)
        + np.repeat(rng.normal(0, 0.4, blocks), PLACES)
        + _faults(rng, block, place)
    )
    um = simulated_readings(rng, level)
    form = two_point_features(um, depths_mm=[15, 70, 125], angles_deg=[0, 90], length_mm=140)
    worst = np.maximum(form.greatest - 24, -form.least)
    shift = at - (at - START) % np.timedelta64(8, "h")
    since = (_at(block) - _at(block - block % SET_BLOCKS)) / np.timedelta64(1, "s")
    return Bores(
        planes=("top", "middle", "bottom"),
        directions=("x", "y"),
        um=um,
        **{name: getattr(form, name) for name in FEATURE_COLUMNS},
        part_number=_words(["V-8"], np.zeros(len(block), dtype=int)),
        part=_words([f"V{number:02d}-{i:07d}" for i in range(blocks)], block),
        bore=_words([str(i + 1) for i in range(PLACES)], place),
        spindle=_words(["S1", "S2"], place // 4),
        gauge=_words(["G1"], np.zeros(len(block), dtype=int)),
        stage=_words(["finish"], np.zeros(len(block), dtype=int)),
        fixture=_words(["P1", "P2"], block % 2),
        stone_set=_words(_sets(blocks), place // 4 * _many(blocks) + block // SET_BLOCKS),
        measured_at=at,
        honed_at=at - np.timedelta64(180, "s"),
        unit_start=shift,
        shift_start=shift,
        charted=np.ones(len(block), dtype=np.int64),
        flags=np.zeros(len(block), dtype=np.int64),
        verdict=np.where(worst > 1, 1, np.where(worst < -1, 0, 2)),
        sheet=np.ones(len(block), dtype=np.int64),
        position=np.arange(len(block)),
        sequence=block.astype(float),
        cycle_s=np.round(rng.normal(38, 1, len(block)), 1),
        feed_um=np.round(since * 0.03 + rng.normal(0, 2, len(block)), 1),
        load_pct=np.round(rng.normal(60, 2, len(block)), 1),
        load_ripple_pct=np.round(rng.normal(3, 0.3, len(block)), 1),
    )


def _at(block: NDArray[np.int64]) -> NDArray[np.datetime64]:
    return START + (block * BLOCK_S).astype("timedelta64[s]")


def _drift(block: NDArray[np.int64], place: NDArray[np.int64]) -> NDArray[np.float64]:
    """Wear lets the size fall, an offset every so many blocks brings it back."""
    return OFFSET_UM / 2 - WEAR_UM * (block % OFFSET_BLOCKS) + 0.2 * (place % 4)


def _faults(
    rng: np.random.Generator, block: NDArray[np.int64], place: NDArray[np.int64]
) -> NDArray[np.float64]:
    """A bore's level moves by 1.5 to 4 µm for 200 to 600 blocks, once in some 8,000 blocks."""
    moved = np.zeros(len(block))
    for begin in np.sort(rng.integers(0, int(block[-1]) + 1, max(len(block) // PLACES // 8000, 1))):
        rows = slice(begin * PLACES, (begin + int(rng.integers(200, 600))) * PLACES)
        moved[rows] += (place[rows] == rng.integers(0, PLACES)) * rng.choice((-1, 1)) * rng.uniform(1.5, 4)
    return moved


def simulated_readings(rng: np.random.Generator, level: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return readings of bores about some levels, micrometres from nominal, shape (bores, 3, 2)."""
    n = len(level)
    level = level + rng.normal(0, 1.0, n)
    taper, barrel, oval = (rng.normal(0, s, n) for s in (1.0, 0.6, 0.9))
    um = np.empty((n, 3, 2))
    for plane, (along, belly) in enumerate(((0.5, -1 / 3), (0.0, 2 / 3), (-0.5, -1 / 3))):
        for direction, side in enumerate((0.5, -0.5)):
            um[:, plane, direction] = level + along * taper + belly * barrel + side * oval
    return np.round(um + rng.normal(0, 0.35, um.shape), 1)


def _many(blocks: int) -> int:
    return -(-blocks // SET_BLOCKS)


def _sets(blocks: int) -> list[str]:
    return [f"S{spindle}-{i:04d}" for spindle in (1, 2) for i in range(_many(blocks))]


def _logged(rng: np.random.Generator, blocks: int, number: int) -> dict[Kind, Any]:
    found: list[tuple[np.datetime64, str, str, float, str | None]] = []
    measured: list[tuple[np.datetime64, str, str, str, float, float]] = []
    for spindle in (1, 2):
        for i in range(_many(blocks)):
            name, first = f"S{spindle}-{i:04d}", i * SET_BLOCKS
            last = min(first + SET_BLOCKS, blocks)
            moment = _before(first)
            if i:
                gone = f"S{spindle}-{i - 1:04d}"
                found.append(
                    (moment - np.timedelta64(400, "ms"), "stones-removed", f"S{spindle}", np.nan, gone)
                )
            found.append((moment, "stones-fitted", f"S{spindle}", 0.0, name))
            rate = WORN_MM * float(rng.lognormal(0, 0.2))
            for round_, block in enumerate(range(first, last, DRESSED_BLOCKS)):
                if block > first:
                    found.append((_before(block), "stones-dressed", f"S{spindle}", np.nan, None))
                left = THICK_MM - rate * (block - first)
                measured += [
                    (
                        _before(block),
                        name,
                        str(stone),
                        position,
                        left + float(rng.normal(0, 0.002)),
                        float(round_),
                    )
                    for stone in range(1, STONES + 1)
                    for position in ("top", "middle", "bottom")
                ]
        found += [
            (_before(block), "feed-offset", f"S{spindle}", OFFSET_UM, None)
            for block in range(OFFSET_BLOCKS, blocks, OFFSET_BLOCKS)
        ]
    return {
        Kind.EVENTS: _events(found),
        Kind.STONE_MEASUREMENTS: _measured(measured),
        Kind.STONE_SETS: _received(blocks),
    }


def _before(block: int) -> np.datetime64:
    """Return a moment after the block before was honed and before this one is."""
    moment: np.datetime64 = START + np.timedelta64(block * BLOCK_S - 185, "s")
    return moment


def _events(rows: list[tuple[Any, ...]]) -> Events:
    at, event, spindle, value, name = zip(*sorted(rows, key=lambda row: (row[0], row[2])), strict=True)
    by = ["machine" if one == "feed-offset" else "setter" for one in event]
    return Events(
        at=np.array(at, dtype="datetime64[us]"),
        event=_texts(event),
        spindle=_texts(spindle),
        value=np.array(value, dtype=float),
        stone_set=_texts(name),
        by=_texts(by),
    )


def _measured(rows: list[tuple[Any, ...]]) -> StoneMeasurements:
    at, name, stone, position, thickness, round_ = zip(*rows, strict=True)
    return StoneMeasurements(
        at=np.array(at, dtype="datetime64[us]"),
        stone_set=_texts(name),
        stone=_texts(stone),
        position=_texts(position),
        thickness_mm=np.round(np.array(thickness), 3),
        round=np.array(round_),
    )


def _received(blocks: int) -> StoneSets:
    names = _sets(blocks)
    return StoneSets(stone_set=_texts(names), kind=_texts(["D64"] * len(names)))


def _texts(words: Any) -> NDArray[np.object_]:
    found = np.empty(len(words), dtype=object)
    found[:] = words
    return found


def _words(words: list[str], code: NDArray[np.int64]) -> NDArray[np.object_]:
    return _texts(words)[code]


def write(archive: Path, cells: int, bores: int) -> None:
    """Write an archive of so many cells of so many bores each."""
    for number in range(cells):
        write_archive(cell(number, bores), archive, zone=ZoneInfo("UTC"))


if __name__ == "__main__":
    write(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
