"""Putting a changed sheet in force."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import numpy as np

from cellmon import local
from cellmon.errors import WrongUsage
from cellmon.intake.sheet_file import SheetFile, parse_sheet
from cellmon.monitor.force import keep_sheet
from cellmon.shifts import to_local
from cellmon.store import Session
from cellmon.words import say


def adopt(session: Session, on_disk: SheetFile, *, by: str, why: str, at: np.datetime64) -> None:
    """Put the sheet on disk in force for whatever is measured after the newest row.

    Bores made before stay judged by the version they were made under, so nothing is judged anew.

    Raises
    ------
    WrongUsage
        When nothing was taken yet, or the sheet on disk is the one in force.
    """
    adopted = [s for s in session.sheets() if s.in_force_from is not None]
    newest = session.newest_row()
    if not adopted or newest is None:
        raise WrongUsage(say("nothing has been taken yet, so the sheet on disk is in force as it stands"))
    if parse_sheet(adopted[-1].text).sheet.judging() == on_disk.sheet.judging():
        same = say("the sheet on disk judges as the one in force does; there is nothing to adopt")
        raise WrongUsage(f"{same}{_put_in_force(session, zone=on_disk.sheet.cell.timezone)}")
    since = newest + np.timedelta64(1, "us")
    version = keep_sheet(session, on_disk, at=at)
    body = {"version": version, "before": adopted[-1].version, "in_force_from": str(since)}
    session.decide(at=at, by=by, why=why, kind="adopt", subject="sheet", body=body)


def _put_in_force(session: Session, *, zone: str) -> str:
    """Return who put the sheet in force that is; nothing where it is the first."""
    decided = session.decisions("adopt")
    if not decided:
        return ""
    last = decided[-1]
    at = local.moment(to_local(last.at, ZoneInfo(zone)))
    return say(" ({by} put it in force, {at}: {why})", by=last.by, at=at, why=last.why.rstrip("."))
