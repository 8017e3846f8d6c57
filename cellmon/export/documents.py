"""Results as JSON documents, field by field as the result names them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass
from datetime import date, datetime
from enum import Enum
from functools import singledispatch
from pathlib import PurePath
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import orjson
from numpy.typing import NDArray

from cellmon import __version__
from cellmon.export.times import local_texts
from cellmon.records import Stream
from cellmon.shifts import ShiftOf


def document(answer: Any, *, zone: ZoneInfo) -> dict[str, Any]:
    """Return an answer as a document: the program's version, then the answer's own fields.

    Parameters
    ----------
    answer : a frozen result of the monitor
    zone : ZoneInfo
        The cell's zone; every moment is given in it, with its offset.

    Raises
    ------
    TypeError
        When a field holds something that has no JSON form.
    """
    found: dict[str, Any] = plain(answer, zone)
    head = {"cellmon": __version__}
    head.update({name: found.pop(name) for name in ("as_of", "sheet") if name in found})
    reasons = {"why_not": found.pop("why_not")} if "why_not" in found else {}
    return head | found | reasons


def as_json(content: Mapping[str, Any], *, indent: bool = True) -> bytes:
    """Return a document as JSON in UTF-8, ending with a line break."""
    option = orjson.OPT_APPEND_NEWLINE | (orjson.OPT_INDENT_2 if indent else 0)
    return orjson.dumps(content, option=option)


def plain(value: Any, zone: ZoneInfo) -> Any:
    """Return a value in the types JSON has; nan, infinity and 'no time' become None."""
    if value is None or isinstance(value, (bool, int)):
        return value
    if isinstance(value, float):
        return float(value) if np.isfinite(value) else None
    if isinstance(value, datetime):
        return value.astimezone(zone).isoformat()
    if is_dataclass(value) and not isinstance(value, type):
        return _fields(value, zone)
    return _other(value, zone)


def _fields(value: Any, zone: ZoneInfo) -> dict[str, Any]:
    if isinstance(value, Stream):
        return stream_fields(value)
    if isinstance(value, ShiftOf):
        return {name: plain(getattr(value, name), zone) for name in ("name", "date", "starts", "ends")}
    return {f.name.removesuffix("_"): plain(getattr(value, f.name), zone) for f in fields(value)}


def stream_fields(stream: Stream) -> dict[str, str | None]:
    """Return what names a stream, in the order of the contract; like parts by the name they share."""
    names = ("spindle", "bore", "feature", "fixture", "part_of")
    own = stream.part_number if stream.like is None else None
    return {**{name: getattr(stream, name) for name in names}, "part_number": own, "like": stream.like}


@singledispatch
def _other(value: Any, zone: ZoneInfo) -> Any:
    raise TypeError(f"no JSON form for {type(value).__name__}")


@_other.register
def _(value: Enum, zone: ZoneInfo) -> Any:
    return value.value


@_other.register(str)
@_other.register(PurePath)
def _(value: str | PurePath, zone: ZoneInfo) -> str:
    return value.value if isinstance(value, Enum) else str(value)


@_other.register
def _(value: date, zone: ZoneInfo) -> str:
    return value.isoformat()


@_other.register(Mapping)
def _(value: Mapping[Any, Any], zone: ZoneInfo) -> dict[str, Any]:
    return {str(plain(key, zone)): plain(item, zone) for key, item in value.items()}


@_other.register(Sequence)
def _(value: Sequence[Any], zone: ZoneInfo) -> list[Any]:
    return [plain(item, zone) for item in value]


@_other.register
def _(value: np.generic, zone: ZoneInfo) -> Any:
    return plain(np.asarray(value), zone)


@_other.register(np.ndarray)
def _(value: NDArray[Any], zone: ZoneInfo) -> Any:
    if value.dtype.kind == "M":
        return local_texts(value, zone).tolist()
    if value.dtype.kind == "O":
        return plain(value.tolist(), zone)
    if value.dtype.kind == "f":
        kept = value.astype(object)
        kept[~np.isfinite(value)] = None
        return kept.tolist()
    if value.dtype.kind in "biuU":
        return value.tolist()
    raise TypeError(f"no JSON form for an array of {value.dtype}")
