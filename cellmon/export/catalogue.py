"""The words people see as a file that a translator fills in."""

from __future__ import annotations

import io
import os
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path


@dataclass(frozen=True, kw_only=True)
class WordsFile:
    """A file of words as it was written: how many texts there are, how many are said in its language."""

    path: Path
    texts: int
    translated: int


def write_words(path: Path, language: str) -> WordsFile:
    """Write all words people see to a PO file; what is said there stays, changed texts become fuzzy."""
    from babel.messages.catalog import Catalog
    from babel.messages.pofile import read_po, write_po

    shipped = files("cellmon").joinpath("words.pot").read_bytes()
    template = read_po(io.BytesIO(shipped))
    tag = language.replace("-", "_")
    if path.exists():
        filled = read_po(io.BytesIO(path.read_bytes()), locale=tag)
        filled.update(template, no_fuzzy_matching=False)
    else:
        filled = Catalog(locale=tag, charset="utf-8", fuzzy=False)
        for message in template:
            if message.id:
                filled.add(message.id, locations=message.locations)
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_suffix(".new")
    with beside.open("wb") as out:
        write_po(out, filled, width=110, include_lineno=False)
    os.replace(beside, path)
    said = [m for m in filled if m.id]
    translated = sum(not m.fuzzy and _is_said(m.string) for m in said)
    return WordsFile(path=path, texts=len(said), translated=translated)


def _is_said(string: str | Sequence[str] | None) -> bool:
    return bool(string) and all(string or ())
