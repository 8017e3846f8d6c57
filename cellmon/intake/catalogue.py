"""A site's own words: the file of a language to a catalogue, or a refusal that says where."""

from __future__ import annotations

import io
import re
from pathlib import Path

from cellmon.errors import FileUnreadable
from cellmon.words import Catalogue, say

_PLACE = re.compile(r"\{(\w+)\}")


def read_catalogue(path: Path) -> Catalogue:
    """Read a PO file (the format of GNU gettext, UTF-8): English text to that of the site's language.

    What is not translated, or marked fuzzy, is left out and said in English.

    Raises
    ------
    FileUnreadable
        When there is no such file, it is not a PO file, or a text lacks a place of the English one or has one
        that the English text does not have; with the line.
    """
    try:
        raw = path.read_bytes()
    except OSError as refused:
        raise FileUnreadable(path.name, (refused.strerror or say("cannot be read")).lower()) from refused
    return read_catalogue_text(raw, name=path.name)


def read_catalogue_text(raw: bytes, *, name: str) -> Catalogue:
    """Read the bytes of a PO file; see `read_catalogue`."""
    from babel.messages.pofile import PoFileError, read_po

    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as refused:
        raise FileUnreadable(name, say("is not UTF-8 text; save it as UTF-8")) from refused
    try:
        read = read_po(io.BytesIO(text.encode()), abort_invalid=True)
    except (PoFileError, ValueError, LookupError, SyntaxError) as refused:
        raise FileUnreadable(name, say("is not a PO file: {why}", why=refused)) from refused
    found: dict[str, str | tuple[str, ...]] = {}
    for message in read:
        texts = (message.string,) if isinstance(message.string, str) else tuple(message.string or ("",))
        if not message.id or message.fuzzy or not all(texts):
            continue
        english = (message.id,) if isinstance(message.id, str) else tuple(message.id)
        _must_fill_alike(english, texts, where=f"{name}, line {message.lineno}")
        found[english[0]] = texts[0] if len(texts) == 1 else texts
    return found


def _must_fill_alike(english: tuple[str, ...], texts: tuple[str, ...], *, where: str) -> None:
    """Refuse a text whose places for values are not those of the English one."""
    allowed = set().union(*(_PLACE.findall(text) for text in english))
    for text in texts:
        places = set(_PLACE.findall(text))
        bare = _PLACE.sub("", text.replace("{{", "").replace("}}", ""))  # doubled ones are said as one
        if "{" in bare or "}" in bare or places - allowed:
            why = say("places must be of {names}: {text}", names=sorted(allowed), text=repr(text))
            raise FileUnreadable(where, why)
        if len(texts) == 1 and allowed - places:
            lacks = ", ".join(sorted(allowed - places))
            raise FileUnreadable(where, say("lacks {names}: {text}", names=lacks, text=repr(text)))
