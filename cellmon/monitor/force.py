"""Which sheet is in force: the one on disk until something is taken, then the one that was adopted."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

import numpy as np

from cellmon.intake.sheet_file import SheetFile, parse_sheet
from cellmon.monitor.rules import BEGINNING, Rules
from cellmon.store import Session, SheetVersion
from cellmon.words import say, to_say

FIRST = 1
"""The version under which the first sheet will be kept, as soon as something is taken."""
NOT_ADOPTED = to_say(
    "The sheet on disk differs from the one in force (version {version}); `cellmon adopt` puts it in force."
)


def rules_of(sheets: Sequence[SheetVersion], on_disk: SheetFile) -> Rules:
    """Return every version that was in force; before anything is taken, the sheet on disk alone.

    The last version gives way to the sheet on disk where both judge alike, so that names and columns
    changed there hold at once.
    """
    adopted = [
        (s.version, s.in_force_from, parse_sheet(s.text).sheet) for s in sheets if s.in_force_from is not None
    ]
    if not adopted:
        return Rules.of([(FIRST, BEGINNING, on_disk.sheet)])
    version, since, sheet = adopted[-1]
    if sheet.judging() == on_disk.sheet.judging():
        adopted[-1] = (version, since, on_disk.sheet)
    return Rules.of(adopted)


def keep_sheet(session: Session, on_disk: SheetFile, *, at: np.datetime64) -> int:
    """Keep the sheet on disk as a version where it is new; the first one is in force at once.

    Returns the version's number.
    """
    sheets = session.sheets()
    if sheets and sheets[-1].text == on_disk.text:
        return sheets[-1].version
    return session.add_sheet(
        on_disk.text,
        at=at,
        in_force_from=None if sheets else BEGINNING,
        sha256=hashlib.sha256(on_disk.text.encode()).hexdigest(),
    )


def notes_on(session: Session, on_disk: SheetFile) -> tuple[str, ...]:
    """Return a sentence where the sheet on disk would judge otherwise than the one in force."""
    adopted = [s for s in session.sheets() if s.in_force_from is not None]
    if not adopted or adopted[-1].text == on_disk.text:
        return ()
    in_force = parse_sheet(adopted[-1].text).sheet
    if in_force.judging() == on_disk.sheet.judging():
        return ()
    return (say(NOT_ADOPTED, version=adopted[-1].version),)
