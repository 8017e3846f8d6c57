"""All of the stones as files: a workbook with a sheet a table, and a calendar of stops and orders."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dash import dcc, no_update

from cellmon import lengths
from cellmon.errors import CellmonError
from cellmon.export.calendar import calendar, plan_events
from cellmon.export.stone_book import write_stone_book
from cellmon.lengths import Shown
from cellmon.monitor.stone_picture import StonePicture
from cellmon.words import say
from dashboards.pages import parts

if TYPE_CHECKING:
    from cellmon.monitor import Monitor


@lengths.shown_in(Shown.MM)
def saved(monitor: Monitor, kind: str) -> Any:
    """Return all of it as a file: xlsx with a sheet a table, or ics with the stops and orders."""
    try:
        picture = monitor.stone_picture()
        name = f"stones-{picture.as_of:%Y-%m-%d-%H%M}.{kind}"
        if kind == "ics":
            return _calendar_file(monitor, picture, name)
        with tempfile.TemporaryDirectory() as folder:
            path = write_stone_book(picture.stones, Path(folder) / name, zone=parts.zone_of(monitor))
            return dcc.send_bytes(path.read_bytes(), name)
    except CellmonError:
        return no_update


def _calendar_file(monitor: Monitor, picture: StonePicture, name: str) -> Any:
    plan = picture.stones.plan
    if plan is None:
        return no_update
    cell = monitor.sheet.cell.name
    content = calendar(plan_events(plan, cell=cell), name=say("Stones {cell}", cell=cell), made_at=plan.as_of)
    return dcc.send_bytes(content, name)
