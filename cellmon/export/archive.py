"""A cell's bores as an archive for studies: Parquet, a folder a cell and in it a folder a day."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any
from urllib.parse import quote
from zoneinfo import ZoneInfo

import numpy as np

from cellmon import __version__
from cellmon.export.documents import as_json
from cellmon.export.files import Format, replacing, write_table
from cellmon.export.tables import Table, bores_table
from cellmon.monitor.archive import CARD, DECIDED, DOUBTS, TRACED, Archive
from cellmon.records import Batch


def write_archive(found: Archive, folder: Path, *, zone: ZoneInfo) -> Path:
    """Write a cell into an archive and return its folder there; files of the same days are replaced.

    The card is written last: it names the days that belong to it.
    """
    at = folder / f"cell={quote(found.cell, safe=' ')}"
    for day, table in found.days.items():
        rows = bores_table(table.columns(), as_of=found.as_of, sheet=found.sheet, zone=zone)
        write_table(rows, at / f"day={day}" / "bores.parquet", to=Format.PARQUET)
    beside_bores: list[tuple[str, Batch]] = [
        *found.logged.items(),
        (DOUBTS, found.doubts),
        (TRACED, found.traced),
    ]
    for name, batch in beside_bores:
        columns = {column.name: getattr(batch, column.name) for column in batch.columns()}
        logged = Table(kind=name, columns=columns, as_of=found.as_of, sheet=found.sheet, zone=zone)
        write_table(logged, at / f"{name}.parquet", to=Format.PARQUET)
    for name, content in ((DECIDED, _decided(found)), (CARD, _card(found))):
        with replacing(at / name) as beside:
            beside.write_bytes(as_json(content))
    return at


def _decided(found: Archive) -> Mapping[str, Any]:
    """Return limits frozen, signals answered and announced; not by whom, since a study asks for no person."""
    return {
        "decisions": [
            {"at": _utc(d.at), "kind": d.kind, "subject": d.subject, "body": _unnamed(d.body)}
            for d in found.decisions
        ],
        "announced": [
            {"id": a.id, "at": _utc(a.at), "from": _utc(a.unit_start), "stream": a.stream, "body": a.body}
            for a in found.announced
        ],
    }


def _unnamed(body: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in body.items() if not name.startswith("proposed_")}


def _card(found: Archive) -> Mapping[str, Any]:
    return {
        "cellmon": __version__,
        "cell": found.cell,
        "as_of": found.as_of.isoformat(timespec="microseconds"),
        "newest": _utc(found.newest),
        "sheets": [{"version": s.version, "since": _utc(s.since), "text": s.text} for s in found.sheets],
        "days": {day: len(table.bores) for day, table in found.days.items()},
    }


def _utc(moment: np.datetime64) -> str:
    """Return a moment in UTC as text, to the microsecond."""
    return str(np.datetime_as_string(moment, unit="us"))
