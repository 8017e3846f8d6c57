"""The sheet on disk as it stands at this moment, against the one in force."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

from cellmon.errors import CellmonError
from cellmon.intake.sheet_file import SheetFile, read_sheet
from cellmon.monitor.answers import Answer
from cellmon.monitor.check import differences
from cellmon.monitor.view import View


@dataclass(frozen=True, kw_only=True)
class DiskSheet(Answer):
    """Whether the sheet on disk is in force; `differs` lists keys that it would change.

    `mistakes` says why it cannot be used, None where it can. `seen` names its text, so that a person
    adopts what was looked at and nothing that was written since.
    """

    differs: tuple[str, ...]
    mistakes: str | None
    seen: str

    @property
    def waits(self) -> bool:
        """Whether somebody should look at it."""
        return bool(self.differs) or self.mistakes is not None


@dataclass(frozen=True, kw_only=True)
class Found:
    """What stands on disk: the sheet, or the last good one and what is wrong with the file now."""

    sheet: SheetFile
    mistakes: str | None


def found_on_disk(path: Path, known: SheetFile) -> Found:
    """Read the sheet's file again; one that cannot be used leaves the last good one as it was."""
    try:
        return Found(sheet=read_sheet(path), mistakes=None)
    except CellmonError as refused:
        return Found(sheet=known, mistakes=str(refused))


def disk_sheet(view: View, found: Found) -> DiskSheet:
    """Answer with what the sheet on disk would change; before anything is taken it is in force itself."""
    text = found.sheet.text + (found.mistakes or "")
    return DiskSheet(
        **view.head(),
        differs=tuple(differences(view.sheet, found.sheet.sheet)),
        mistakes=found.mistakes,
        seen=hashlib.sha256(text.encode()).hexdigest(),
    )
