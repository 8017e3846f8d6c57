"""Remake cellmon/words.pot, the catalogue of all words people see: python -m tests.make_catalogue."""

from __future__ import annotations

import ast
import io
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.pofile import write_po

ROOT = Path(__file__).resolve().parent.parent
SHIPPED = ROOT / "cellmon" / "words.pot"
SAYERS = {"say": 1, "to_say": 1, "say_many": 2}
"""Of each function that says something, how many of its first values are texts."""
REFUSALS = {"NotEnoughData": 1, "GapInReadings": 1, "NoSpread": 1}
"""They say what is handed to them."""
KEYWORDS = {**SAYERS, **REFUSALS}
HEADINGS = {**KEYWORDS, "text": 1, "figure": 1}
"""On the terminal: columns of its tables, whose headings are said as they are printed."""
TABLE = ROOT / "cellmon" / "diagnosis" / "causes.toml"


def catalogue_text() -> str:
    """Return the catalogue as the code has it now."""
    found = Catalog(charset="utf-8", fuzzy=False)
    for top in ("cellmon", "dashboards"):
        for file in sorted((ROOT / top).rglob("*.py")):
            place = str(file.relative_to(ROOT))
            keywords = HEADINGS if place.startswith("cellmon/cli/") else KEYWORDS
            for message in texts_of(file.read_text(encoding="utf-8"), keywords):
                found.add(message, locations=[(place, 0)])
    for text in texts_of_causes():
        found.add(text, locations=[(str(TABLE.relative_to(ROOT)), 0)])
    written = io.BytesIO()
    write_po(written, found, width=110, sort_by_file=True, include_lineno=False, omit_header=True)
    return written.getvalue().decode()


def texts_of(source: str, keywords: Mapping[str, int] = KEYWORDS) -> Iterator[str | tuple[str, ...]]:
    """Yield the texts that a module says, also those inside f-strings, which Babel does not look into."""
    calls = [n for n in ast.walk(ast.parse(source)) if isinstance(n, ast.Call)]
    for call in sorted(calls, key=lambda c: (c.lineno, c.col_offset)):
        count = keywords.get(getattr(call.func, "id", getattr(call.func, "attr", "")), 0)
        texts = [
            a.value for a in call.args[:count] if isinstance(a, ast.Constant) and isinstance(a.value, str)
        ]
        if texts and len(texts) == count:
            yield tuple(texts) if count > 1 else texts[0]


def texts_of_causes() -> list[str]:
    """Return what the table of causes says to people."""
    causes = tomllib.loads(TABLE.read_text(encoding="utf-8"))
    said = ("title", "check_first", "correction", "caution")
    of_causes = [text for row in causes["causes"] for key in said if (text := row.get(key))]
    return [*of_causes, *causes["cautions"].values()]


if __name__ == "__main__":
    SHIPPED.write_text(catalogue_text(), encoding="utf-8")
