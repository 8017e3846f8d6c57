"""Archives of bores: a folder of cells, each a folder of days, as `export bores --by-day` writes them.

    ARCHIVE/cell=NAME/cell.json                       what the cell is, its sheets, its days
    ARCHIVE/cell=NAME/events.parquet                  what was logged beside the bores; likewise stone-sets,
                                                      stone-measurements, gauge-checks, characteristics,
                                                      findings, traced (figures of traced bores) and
                                                      doubts (about single rows)
    ARCHIVE/cell=NAME/decided.json                    limits frozen, signals announced and answered
    ARCHIVE/cell=NAME/day=2026-10-19/bores.parquet    measurements of the units of judging that began that day

A unit of judging, and with it every subgroup, lies in one file.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from cellmon.errors import FileUnreadable
from cellmon.intake.sheet_file import parse_sheet
from cellmon.judged import FEATURE_COLUMNS, VERDICT_CODES, Bores, Doubts
from cellmon.records import (
    ROW_BATCHES,
    Batch,
    ColumnType,
    Flag,
    Kind,
    Numbers,
    Texts,
    Times,
    Verdict,
    number,
    text,
    time,
)
from cellmon.sheet import Sheet
from cellmon.shifts import to_utc
from cellmon.words import say

if TYPE_CHECKING:
    import pyarrow as pa

CARD, DECIDED, BORES_FILE = "cell.json", "decided.json", "bores.parquet"
DOUBTS, TRACED = "doubts", "traced"
DAY = "day="
ARCHIVED_KINDS = (
    Kind.EVENTS,
    Kind.STONE_SETS,
    Kind.STONE_MEASUREMENTS,
    Kind.GAUGE_CHECKS,
    Kind.CHARACTERISTICS,
    Kind.FINDINGS,
)
"""Rows beside the bores, a file each, named by its kind."""


@dataclass(frozen=True, kw_only=True)
class SheetOf:
    """One version of an archived cell's sheet, and from when it judges."""

    version: int
    since: np.datetime64
    sheet: Sheet


@dataclass(frozen=True, kw_only=True)
class CellArchive:
    """One cell of an archive; small, so that it can be sent to whoever reads its days."""

    name: str
    folder: Path
    as_of: np.datetime64
    """Up to when it was archived."""
    newest: np.datetime64
    """When its newest bore was measured."""
    days: Mapping[str, int]
    """Measurements by day, oldest day first."""
    texts: tuple[tuple[int, np.datetime64, str], ...]
    """Version, moment from which it judges, and text of each sheet."""

    @property
    def sheets(self) -> tuple[SheetOf, ...]:
        """Its sheets, checked."""
        return tuple(
            SheetOf(version=version, since=since, sheet=parse_sheet(text).sheet)
            for version, since, text in self.texts
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class TracedRows(Batch):
    """One feature of one traced bore a row, micrometres: what its points gave."""

    part: Texts = text(needed=True)
    bore: Texts = text(needed=True)
    gauge: Texts = text()
    at: Times = time(needed=True)
    spindle: Texts = text()
    feature: Texts = text(needed=True)
    value: Numbers = number()
    why_not: Texts = text()


@dataclass(frozen=True, kw_only=True)
class DecidedOnce:
    """One thing decided in an archived cell; by whom, the archive does not say."""

    at: np.datetime64
    kind: str
    subject: str
    body: Mapping[str, Any]


@dataclass(frozen=True, kw_only=True)
class AnnouncedOnce:
    """A signal as it was first shown in an archived cell."""

    id: str
    at: np.datetime64
    unit_start: np.datetime64
    stream: str
    body: Mapping[str, Any]


@dataclass(frozen=True, kw_only=True)
class Decided:
    """Limits frozen and signals answered in an archived cell, and the signals announced."""

    decisions: tuple[DecidedOnce, ...]
    announced: tuple[AnnouncedOnce, ...]


def cells_in(archive: Path) -> tuple[CellArchive, ...]:
    """Return the cells of an archive, in order of their folders.

    Raises
    ------
    FileUnreadable
        Where there is none, or one cannot be read.
    """
    cards = sorted(archive.glob(f"*/{CARD}"))
    if not cards:
        expected = "cellmon export bores --to parquet --by-day --out ARCHIVE"
        raise FileUnreadable(str(archive), say("no archived cell; {expected} writes one", expected=expected))
    return tuple(map(_cell, cards))


def _cell(card: Path) -> CellArchive:
    try:
        told = json.loads(card.read_text(encoding="utf-8"))
        sheets = [
            (int(s["version"]), np.datetime64(s["since"], "us"), str(s["text"])) for s in told["sheets"]
        ]
        return CellArchive(
            name=told["cell"],
            folder=card.parent,
            as_of=to_utc(datetime.fromisoformat(told["as_of"])),
            newest=np.datetime64(told["newest"], "us"),
            days={str(day): int(rows) for day, rows in told["days"].items()},
            texts=tuple(sheets),
        )
    except (ValueError, KeyError, TypeError, AttributeError) as wrong:
        raise FileUnreadable(str(card), say("is not the card of an archived cell")) from wrong


def read_day(cell: CellArchive, day: str) -> Bores:
    """Return the bores of one day of a cell, their features but not their single readings."""
    table = _read(cell.folder / f"{DAY}{day}" / BORES_FILE)
    columns = _columns(table, Bores, {name: f"{name}_um" for name in FEATURE_COLUMNS})
    columns["flags"] = _coded(table["flags"], _flag_bits)
    columns["verdict"] = _coded(table["verdict"], lambda word: VERDICT_CODES[Verdict(word)])
    return Bores(planes=(), directions=(), um=np.zeros((table.num_rows, 0, 0)), **columns)


def read_logged(cell: CellArchive, kind: Kind) -> Any:
    """Return rows of a plain kind that were logged of a cell beside its bores."""
    return _batch(cell.folder / f"{kind}.parquet", ROW_BATCHES[kind])


def read_doubts(cell: CellArchive) -> Doubts:
    """Return the doubts about single rows of a cell."""
    doubts: Doubts = _batch(cell.folder / f"{DOUBTS}.parquet", Doubts)
    return doubts


def read_traced(cell: CellArchive) -> TracedRows:
    """Return what the points of traced bores of a cell gave."""
    traced: TracedRows = _batch(cell.folder / f"{TRACED}.parquet", TracedRows)
    return traced


def read_decided(cell: CellArchive) -> Decided:
    """Return what was decided and announced in a cell."""
    path = cell.folder / DECIDED
    try:
        told = json.loads(path.read_text(encoding="utf-8"))
        return Decided(
            decisions=tuple(
                DecidedOnce(at=_moment(d["at"]), kind=d["kind"], subject=d["subject"], body=d["body"])
                for d in told["decisions"]
            ),
            announced=tuple(
                AnnouncedOnce(
                    id=a["id"],
                    at=_moment(a["at"]),
                    unit_start=_moment(a["from"]),
                    stream=a["stream"],
                    body=a["body"],
                )
                for a in told["announced"]
            ),
        )
    except FileNotFoundError as gone:
        raise _older(path) from gone
    except (ValueError, KeyError, TypeError) as wrong:
        raise FileUnreadable(str(path), say("is not what was decided in an archived cell")) from wrong


def _moment(text: str) -> np.datetime64:
    return np.datetime64(text, "us")


def _older(path: Path) -> FileUnreadable:
    return FileUnreadable(str(path), say("is missing: export the cell into the archive again"))


def _batch(path: Path, batch: type[Batch]) -> Any:
    table = _read(path)
    return batch(line=np.arange(table.num_rows), **_columns(table, batch, {}))


def _read(path: Path) -> pa.Table:
    import pyarrow as pa
    from pyarrow import parquet

    try:
        return parquet.ParquetFile(path).read()
    except FileNotFoundError as gone:
        raise _older(path) from gone
    except pa.ArrowInvalid as wrong:
        raise FileUnreadable(str(path), say("is no Parquet file")) from wrong


def _columns(table: pa.Table, batch: type[Batch], named: Mapping[str, str]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for column in batch.columns():
        name = named.get(column.name, column.name)
        if name not in table.column_names:
            raise FileUnreadable(name, say("no such column in the archive"))
        if column.type is ColumnType.WHOLE and not _is_whole(table[name]):
            continue
        found[column.name] = _values(table[name], column.type)
    return found


def _is_whole(column: pa.ChunkedArray) -> bool:
    import pyarrow as pa

    return bool(pa.types.is_integer(column.type))


def _values(column: pa.ChunkedArray, type_: ColumnType) -> Any:
    import pyarrow as pa

    whole = column.combine_chunks()
    if type_ is ColumnType.TEXT:
        told = whole.dictionary_encode()
        words = np.array([*told.dictionary.to_pylist(), None], dtype=object)
        return words[told.indices.fill_null(-1).to_numpy(zero_copy_only=False)]
    if type_ is ColumnType.TIME:
        moments = whole.cast(pa.timestamp("us")).cast(pa.int64())
        nothing = int(np.datetime64("NaT", "us").astype(np.int64))
        return moments.fill_null(nothing).to_numpy(zero_copy_only=False).view("datetime64[us]")
    if type_ is ColumnType.WHOLE:
        return whole.cast(pa.int64()).to_numpy(zero_copy_only=False)
    return whole.cast(pa.float64()).to_numpy(zero_copy_only=False)


def _coded(column: pa.ChunkedArray, code: Any) -> Any:
    """Return words as whole numbers, each different word looked up once."""
    told = column.combine_chunks().dictionary_encode()
    codes = np.array([code(word) for word in told.dictionary.to_pylist()], dtype=np.int64)
    return codes[told.indices.to_numpy(zero_copy_only=False)] if len(codes) else np.zeros(0, dtype=np.int64)


def _flag_bits(words: str) -> int:
    return sum(Flag(word).bit for word in words.split())
