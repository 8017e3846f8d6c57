"""Words people see. English stands in the code; a site lays its own language over it.

Every sentence, label and heading goes through `say` or `say_many`, which look it up in the one catalogue of
the process. A catalogue maps the English text, its places for values still in braces, to that of the site's
language; what it lacks is said in English. Values are put in after the text is found, so a language may
order them as it likes.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache
from itertools import count
from typing import Any

Catalogue = Mapping[str, str | Sequence[str]]
"""English text to that of the site; a pair of texts, the first the key, for one and for many."""

_spoken: dict[str, str | Sequence[str]] = {}
_catalogues = count()
_voice = [next(_catalogues)]
_in_english: ContextVar[bool] = ContextVar("in_english", default=False)


def speak(catalogue: Catalogue) -> None:
    """Say everything from now on in the language of a catalogue; an empty one is English."""
    _spoken.clear()
    _spoken.update(catalogue)
    _voice[0] = next(_catalogues)


def speaks(catalogue: Catalogue) -> bool:
    """Return whether everything is said in the language of a catalogue now."""
    return dict(catalogue) == _spoken


def voice() -> tuple[int, bool]:
    """Return what tells the language of this moment from another: for what is kept with words in it."""
    return _voice[0], _in_english.get()


def say(text: str, /, **values: Any) -> str:
    """Return a text in the site's language, with its values put in.

    Parameters
    ----------
    text : str
        The English text, a literal: the test of the catalogue collects them from the code.
    **values
        What stands in its braces, written as it is to be read.

    Examples
    --------
    >>> say("{count} bores since dressing", count="1,204")
    '1,204 bores since dressing'
    """
    found = _found(text, text) if _spoken else text  # in English, as most is said, nothing is looked up
    return _filled(found if isinstance(found, str) else found[0], values)


def say_many(one: str, many: str, /, count: int, **values: Any) -> str:
    """Return the text for one or for many things; `count` is among its values.

    Examples
    --------
    >>> say_many("{count} signal waits", "{count} signals wait", 1)
    '1 signal waits'
    """
    found = _found(one, (one, many))
    texts = (found, found) if isinstance(found, str) else found
    return _filled(texts[0] if count == 1 else texts[-1], {"count": count, **values})


def to_say(text: str, /) -> str:
    """Return a text as it is: it is said later, by `say`, and the catalogue must know it."""
    return text


@contextmanager
def in_english() -> Iterator[None]:
    """Say in English what is kept: a store holds the same in every language. `say_kept` says it later."""
    token = _in_english.set(True)
    try:
        yield
    finally:
        _in_english.reset(token)


def is_kept() -> bool:
    """Return whether what is said here is to be kept."""
    return _in_english.get()


def say_kept(kept: str, /, *texts: str) -> str:
    """Return a text that was kept in English in the site's language, by the text it was filled from.

    Parameters
    ----------
    kept : str
        The text as it was kept, its values in it.
    *texts : str
        English texts it may have been filled from, the first that fits; values that are words are said too.

    Examples
    --------
    >>> say_kept("master check of G1", to_say("master check of {gauge}"))
    'master check of G1'
    """
    if not _spoken or kept in _spoken:
        return say(kept)
    for text in texts:
        fits = _pattern(text).fullmatch(kept)
        if fits is not None:
            return say(text, **{name: say_kept(value, *texts) for name, value in fits.groupdict().items()})
    return say(kept)


@cache
def _pattern(text: str) -> re.Pattern[str]:
    """Return what fits a text with values in its places."""
    pieces = re.split(r"\{(\w+)\}", text)  # words and names by turns
    pieces[::2] = map(re.escape, pieces[::2])
    pieces[1::2] = [f"(?P<{name}>.+)" for name in pieces[1::2]]
    return re.compile("".join(pieces))


def _found(text: str, else_: str | Sequence[str]) -> str | Sequence[str]:
    return else_ if is_kept() else _spoken.get(text, else_)


def _filled(text: str, values: Mapping[str, Any]) -> str:
    return text.format(**values) if values else text
