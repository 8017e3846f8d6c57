"""All of the stones as files: a workbook with a sheet a table, and a calendar of stops and orders."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from cellmon import lengths
from cellmon.errors import NotFound
from cellmon.export.calendar import calendar, plan_events
from cellmon.export.stone_book import write_stone_book
from cellmon.lengths import Shown
from cellmon.monitor.stone_picture import StonePicture
from cellmon.words import say
from dashboards.pages import parts
from dashboards.pages.saving import Made

if TYPE_CHECKING:
    from cellmon.monitor import Monitor


@lengths.shown_in(Shown.MM)
def made(monitor: Monitor, kind: str) -> Made:
    """Return all of it as a file: xlsx with a sheet a table, or ics with the stops and orders.

    Raises
    ------
    NotFound
        When there is no plan to make a calendar of. Other refusals are those of the monitor.
    """
    picture = monitor.stone_picture()
    name = f"stones-{picture.as_of:%Y-%m-%d-%H%M}.{kind}"
    if kind == "ics":
        return _calendar(monitor, picture), name
    with tempfile.TemporaryDirectory() as folder:
        path = write_stone_book(picture.stones, Path(folder) / name, zone=parts.zone_of(monitor))
        return path.read_bytes(), name


def _calendar(monitor: Monitor, picture: StonePicture) -> bytes:
    plan = picture.stones.plan
    if plan is None:
        raise NotFound(say("Nothing is planned, so there is no calendar."))
    cell = monitor.sheet.cell.name
    return calendar(plan_events(plan, cell=cell), name=say("Stones {cell}", cell=cell), made_at=plan.as_of)
