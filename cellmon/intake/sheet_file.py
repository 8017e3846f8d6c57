"""The cell sheet's file: TOML to a checked sheet, or a refusal that says where."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from cellmon.errors import FileUnreadable, Mistake, SheetRefused
from cellmon.sheet import Sheet
from cellmon.sheet_checks import checked_sheet
from cellmon.words import say


@dataclass(frozen=True, kw_only=True)
class SheetFile:
    """A sheet and its text, letter by letter as it stands in the file."""

    text: str
    sheet: Sheet


def read_sheet(path: str | Path) -> SheetFile:
    """Read and check a cell sheet.

    Raises
    ------
    FileUnreadable
        When there is no such file, or it is not text.
    SheetRefused
        When it is not TOML (with the line), or with everything that is wrong in it.
    """
    path = Path(path)
    return parse_sheet(_text(path), where=path.name)


def read_toml(path: Path) -> dict[str, Any]:
    """Read any other TOML file of the cell folder, such as its own table of causes.

    Raises
    ------
    FileUnreadable, SheetRefused
        As `read_sheet`.
    """
    return _parsed(_text(path), where=path.name)


def parse_sheet(text: str, *, where: str | None = None) -> SheetFile:
    """Check the text of a cell sheet; see `read_sheet`."""
    return SheetFile(text=text, sheet=checked_sheet(_parsed(text, where=where), where=where))


def _text(path: Path) -> str:
    try:
        return path.read_bytes().decode("utf-8-sig")
    except OSError as refused:
        raise FileUnreadable(path.name, (refused.strerror or say("cannot be read")).lower()) from refused
    except UnicodeDecodeError as refused:
        raise FileUnreadable(path.name, say("is not UTF-8 text; save it as UTF-8")) from refused


def _parsed(text: str, *, where: str | None) -> dict[str, Any]:
    try:
        return tomllib.loads(text.replace("\r\n", "\n"))
    except tomllib.TOMLDecodeError as refused:
        raise SheetRefused([_where(text, str(refused))], where=where) from refused
    except RecursionError as refused:
        found = say("brackets inside brackets without end")
        deep = Mistake(key=say("the file"), found=found, expected="TOML")
        raise SheetRefused([deep], where=where) from refused


def _where(text: str, message: str) -> Mistake:
    """Return the parser's complaint as a mistake that names the line and shows it."""
    import re

    found = re.search(r"\(at line (\d+), column \d+\)", message)
    lines = text.splitlines() or [""]
    line = min(int(found.group(1)), len(lines)) if found else len(lines)
    said = re.sub(r"\s*\(at .*\)$", "", message)
    shown = repr(lines[line - 1].strip()[:80])
    return Mistake(key=say("line {line}", line=line), found=shown, expected=f"TOML ({said})")
