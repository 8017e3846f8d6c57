"""The readers under coverage-guided fuzzing (atheris, which drives libFuzzer), in a process of its own.

    python -m tests.fuzz.readers TARGET CORPUS -runs=25000 -seed=97

libFuzzer's own options follow the corpus; it writes what reached new code into the corpus folder.
"""

from __future__ import annotations

import logging
import string
import sys
import warnings
from collections.abc import Callable

import atheris

with atheris.instrument_imports(include=["cellmon"]):
    import cellmon.intake.mating
    import cellmon.intake.readings
    import cellmon.intake.rows
    import cellmon.intake.tables
    import cellmon.intake.typed
    import cellmon.intake.workbook  # noqa: F401
    from cellmon.errors import CellmonError, FileUnreadable, SheetRefused
    from cellmon.intake import parse_sheet, read_bytes
    from cellmon.intake.catalogue import read_catalogue_text
    from cellmon.intake.store_line import with_store

from tests.intake.conftest import SHEET, is_accounted_for

CELL = parse_sheet(SHEET).sheet


def table(data: bytes) -> None:
    """Read a table of any format: every row is taken, refused or a repeat, or a sentence says why not."""
    try:
        found = read_bytes(data, CELL, name="fuzzed")
    except FileUnreadable as refused:
        assert "\n" not in str(refused)
        return
    is_accounted_for(found)


def sheet(data: bytes) -> None:
    """Read a cell sheet, and change the one line that a program may change."""
    text = data.decode("utf-8", "replace")
    try:
        parse_sheet(text)
        changed = with_store(text, "sqlite:///other.db")
    except (SheetRefused, CellmonError):
        return
    assert parse_sheet(changed).sheet.judging() == parse_sheet(text).sheet.judging()


def catalogue(data: bytes) -> None:
    """Read a site's words: what was read can be said with the values it was written for."""
    try:
        found = read_catalogue_text(data, name="fuzzed.po")
    except FileUnreadable:
        return
    for said in found.values():
        for text in (said,) if isinstance(said, str) else said:
            names = {name: "1" for _, name, _, _ in string.Formatter().parse(text) if name}
            text.format(**names)


TARGETS: dict[str, Callable[[bytes], None]] = {"table": table, "sheet": sheet, "catalogue": catalogue}


def main() -> None:
    """Fuzz one target with libFuzzer's options."""
    logging.disable(logging.CRITICAL)
    warnings.simplefilter("ignore")
    target = TARGETS[sys.argv[1]]
    atheris.Setup([sys.argv[0], *sys.argv[2:]], target)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
