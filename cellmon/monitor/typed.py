"""Rows typed by hand: looked at first, then kept as a file of as many lines would be."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from cellmon.errors import FileUnreadable
from cellmon.intake import TakenFile, read_text
from cellmon.intake.sheet_file import SheetFile
from cellmon.monitor.known import row_keys, sort_rows
from cellmon.monitor.rules import Rules
from cellmon.monitor.stones.asked import asked_of_events
from cellmon.monitor.stones.asked_sizes import asked_of_sizes
from cellmon.monitor.take import FileTaken, keep, not_read
from cellmon.monitor.view import View
from cellmon.records import (
    ROW_BATCHES,
    Batch,
    ColumnType,
    Events,
    Kind,
    Readings,
    Reason,
    Refused,
    StoneMeasurements,
)
from cellmon.store import Session
from cellmon.words import say

Row = Mapping[str, str]
NAME = "typed by hand"
COMMA = re.compile(r"\s*[+-]?\d+,\d+\s*")
"""One comma among the digits of a length stands before decimals: nothing here is a metre long."""


@dataclass(frozen=True, kw_only=True)
class Looked:
    """Typed rows before they are kept."""

    refused: tuple[str, ...]
    """Why they cannot be taken."""
    asked: tuple[str, ...]
    """What is odd about them, to be answered by a person."""
    known: bool
    """Whether every one of them is in the store already."""


def look_at(view: View, kind: Kind, rows: Sequence[Row], *, at: np.datetime64) -> Looked:
    """Say what is wrong or odd about rows of one kind, typed at a moment; nothing is kept."""
    try:
        found = _read(view.rules, kind, rows)
    except FileUnreadable as refusal:
        return Looked(refused=(str(refusal),), asked=(), known=False)
    refused = [*found.refused]
    batch, new = found.batch, None
    if batch is not None and not isinstance(batch, Readings):
        keys = row_keys(batch)
        sorted_, _ = sort_rows(batch, keys, view.session.known_rows(batch, keys))
        refused += sorted_.refused
        new = sorted_.new
    told = (*(why_words(one, rows) for one in refused), *_impossible(batch))
    asked = () if new is None or told else _asked(view, new, at=at)
    return Looked(refused=told, asked=asked, known=not told and new is None)


def log_rows(
    session: Session, view: View, on_disk: SheetFile, kind: Kind, rows: Sequence[Row], *, at: np.datetime64
) -> FileTaken:
    """Keep typed rows, which the caller commits; what was odd about them stands in `asked`."""
    looked = look_at(view, kind, rows, at=at)
    found = _read(view.rules, kind, rows)
    impossible = _impossible(found.batch)
    if impossible:
        return not_read(NAME, " ".join(impossible), 0.0)
    taken = keep(session, view.rules, on_disk, found, at=at)
    return replace(taken, asked=looked.asked)


def _read(rules: Rules, kind: Kind, rows: Sequence[Row]) -> TakenFile:
    names = list(dict.fromkeys(name for row in rows for name in row))
    declared = ROW_BATCHES[kind].columns() if kind in ROW_BATCHES else ()
    lengths = {c.name for c in declared if c.type is ColumnType.LENGTH}
    lines = [[_cell(row.get(name, ""), length=name in lengths) for name in names] for row in rows]
    text = "\n".join(",".join(map(_quoted, line)) for line in [names, *lines]) + "\n"
    return read_text(text, rules.now.sheet, name=NAME, kind=kind)


def _cell(value: str, *, length: bool) -> str:
    return value.replace(",", ".") if length and COMMA.fullmatch(value) else value


def _quoted(value: str) -> str:
    return '"' + value.replace('"', '""') + '"'


def _impossible(batch: Batch | Readings | None) -> tuple[str, ...]:
    """Return why sizes cannot be: a stone has some thickness."""
    if not isinstance(batch, StoneMeasurements):
        return ()
    return tuple(
        say(
            "Stone {stone}, {place}: {mm} mm is no thickness.",
            stone=batch.stone[i],
            place=batch.position[i],
            mm=f"{batch.thickness_mm[i]:g}",
        )
        for i in np.flatnonzero(~(batch.thickness_mm > 0))
    )


def _asked(view: View, new: Batch, *, at: np.datetime64) -> tuple[str, ...]:
    if isinstance(new, Events):
        return asked_of_events(view, new, at=at)
    return asked_of_sizes(view, new, at=at) if isinstance(new, StoneMeasurements) else ()


def why_words(refused: Refused, rows: Sequence[Row]) -> str:
    """Return why one typed row cannot be taken, as a sentence."""
    told = {
        Reason.MISSING_FIELD: say("Something that is needed is missing"),
        Reason.NOT_MEASURED: say("No figure that can be a measurement stands where one is needed"),
        Reason.NOT_A_NUMBER: say("A figure cannot be read as a number"),
        Reason.NOT_A_TIME: say("The time cannot be read; write it as 2026-11-27 14:05"),
        Reason.NO_SUCH_HOUR: say("The clock skipped that hour"),
        Reason.UNKNOWN_WORD: say("A word is none of those that can stand there"),
        Reason.UNKNOWN_SPINDLE: say("The sheet has no such spindle"),
        Reason.CONTRADICTS: say("It contradicts what is logged already for the same moment"),
    }
    words = told.get(refused.reason, refused.reason.replace("-", " ").capitalize())
    row = rows[refused.line - 2] if 0 <= refused.line - 2 < len(rows) else {}
    said = ", ".join(value for name, value in row.items() if name not in ("event", "by") and value)
    return f"{words}: {said}." if said else f"{words}."
