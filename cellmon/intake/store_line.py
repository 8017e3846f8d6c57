"""The one line of the sheet that a program changes: which store holds the cell."""

from __future__ import annotations

import json
import re

from cellmon.errors import CellmonError
from cellmon.intake.sheet_file import parse_sheet
from cellmon.words import say, to_say

_HEAD = re.compile(r"^\[store\][ \t]*(#.*)?$", re.MULTILINE)
_NEXT = re.compile(r"^\[", re.MULTILINE)
_URL = re.compile(r"^([ \t]*url[ \t]*=[ \t]*)(\"[^\"\n]*\"|'[^'\n]*')", re.MULTILINE)


def with_store(text: str, url: str) -> str:
    """Return the text of a sheet with the address of its store changed, and nothing else.

    Raises
    ------
    SheetRefused
        When the text is no sheet.
    CellmonError
        When the line is written in a way that is not understood; a person must change it.
    """
    value, head = json.dumps(url), _HEAD.search(text)
    if head is None:
        changed = f"{text.rstrip()}\n\n[store]\nurl = {value}\n"
    else:
        after = _NEXT.search(text, head.end())
        end = len(text) if after is None else after.start()
        section, count = _URL.subn(lambda found: found.group(1) + value, text[head.end() : end])
        section = section if count else f"\nurl = {value}{section}"
        changed = text[: head.end()] + section + text[end:]
    if parse_sheet(changed).sheet.store.url != url:
        why = to_say("the sheet's [store] is not understood; write url = {url} there by hand")
        raise CellmonError(say(why, url=value))
    return changed
