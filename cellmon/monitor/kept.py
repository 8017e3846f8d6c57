"""What was worked out before from the very same bores is not worked out again."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from hashlib import blake2b
from typing import Any, ParamSpec, TypeVar, cast

import numpy as np

from cellmon.sheet.section import Section
from cellmon.words import voice

Terms = ParamSpec("Terms")
Answer = TypeVar("Answer")

MOST = 512
"""Answers kept in a process, a few kilobytes each at most; then all are let go and begun anew."""
_kept: dict[bytes, Any] = {}


def kept(work: Callable[Terms, Answer], *terms: Terms.args, **named: Terms.kwargs) -> Answer:
    """Return what a function of arrays, numbers and texts makes of its terms.

    A stream stated over whole shifts keeps its bores until the running shift ends, while pages ask
    after every batch. Terms are told apart by a digest of all their bytes and of the language spoken.
    A refusal is raised each time.
    """
    digest = blake2b(f"{work.__module__}.{work.__qualname__} {voice()}".encode(), digest_size=16)
    _feed(digest, (terms, sorted(named.items())))
    key = digest.digest()
    if key not in _kept:
        found = work(*terms, **named)
        if len(_kept) >= MOST:
            _kept.clear()
        _kept[key] = found
        return found
    return cast(Answer, _kept[key])


def _feed(digest: blake2b, term: object) -> None:
    if isinstance(term, np.ndarray) and term.dtype != object:
        digest.update(f"{term.dtype}{term.shape}".encode())
        digest.update(np.ascontiguousarray(term).tobytes())
    elif isinstance(term, np.ndarray):
        digest.update(f"{term.shape}{term.tolist()!r}".encode())
    elif isinstance(term, tuple | list):
        digest.update(f"{len(term)}(".encode())
        for one in term:
            _feed(digest, one)
    elif isinstance(term, Mapping):
        _feed(digest, list(term.items()))
    elif is_dataclass(term):
        digest.update(type(term).__qualname__.encode())
        _feed(digest, [getattr(term, field.name) for field in fields(term)])
    elif term is None or isinstance(term, str | int | float | np.generic | Section):
        digest.update(f"{term!r};".encode())
    else:
        raise TypeError(f"{type(term).__name__} cannot be told apart by what it holds")
