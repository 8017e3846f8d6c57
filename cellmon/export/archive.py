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
from cellmon.monitor.archive import Archive


def write_archive(found: Archive, folder: Path, *, zone: ZoneInfo) -> Path:
    """Write a cell into an archive and return its folder there; files of the same days are replaced.

    The card is written last: it names the days that belong to it.
    """
    at = folder / f"cell={quote(found.cell, safe=' ')}"
    for day, table in found.days.items():
        rows = bores_table(table.columns(), as_of=found.as_of, sheet=found.sheet, zone=zone)
        write_table(rows, at / f"day={day}" / "bores.parquet", to=Format.PARQUET)
    events = {column.name: getattr(found.events, column.name) for column in found.events.columns()}
    logged = Table(kind="events", columns=events, as_of=found.as_of, sheet=found.sheet, zone=zone)
    write_table(logged, at / "events.parquet", to=Format.PARQUET)
    with replacing(at / "cell.json") as beside:
        beside.write_bytes(as_json(_card(found)))
    return at


def _card(found: Archive) -> Mapping[str, Any]:
    return {
        "cellmon": __version__,
        "cell": found.cell,
        "as_of": found.as_of.isoformat(),
        "newest": _utc(found.newest),
        "sheets": [{"version": s.version, "since": _utc(s.since), "text": s.text} for s in found.sheets],
        "days": {day: len(table.bores) for day, table in found.days.items()},
    }


def _utc(moment: np.datetime64) -> str:
    """Return a moment in UTC as text, to the microsecond."""
    return str(np.datetime_as_string(moment, unit="us"))
