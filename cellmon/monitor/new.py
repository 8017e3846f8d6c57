"""A new cell folder: a commented sheet, blank or proposed from readings."""

from __future__ import annotations

from pathlib import Path

from cellmon.errors import WrongUsage
from cellmon.intake.propose import blank_sheet, propose_sheet
from cellmon.words import say


def new_cell(folder: Path, *, from_file: Path | None = None) -> Path:
    """Make a cell folder with a commented sheet; return the sheet's path.

    Raises
    ------
    WrongUsage
        When the folder already holds a sheet: nothing a person wrote is ever replaced.
    """
    sheet = folder / "cell.toml"
    if sheet.exists():
        raise WrongUsage(say("{file} is already there; it was left as it is", file=sheet))
    text = blank_sheet() if from_file is None else propose_sheet(from_file)
    folder.mkdir(parents=True, exist_ok=True)
    for name in ("inbox", "taken", "set-aside", "reports"):
        (folder / name).mkdir(exist_ok=True)
    sheet.write_text(text, encoding="utf-8")
    return sheet
