"""Where the detectors of every stream stand at the end of a unit, and how the store keeps it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from cellmon.drift.columns import State
from cellmon.judged import STREAM_COLUMNS
from cellmon.monitor.judge.inputs import Spans
from cellmon.records import Stream, Whole
from cellmon.store.chunks import decode, encode_each


@dataclass(frozen=True, kw_only=True, eq=False)
class Place:
    """Where the watch stands: one column a stream, and the spans of its last subgroup."""

    streams: tuple[Stream, ...]
    versions: tuple[int, ...]
    state: State
    spans: Spans

    def block(self) -> bytes:
        """Return it as the store keeps it."""
        return blocks([self])[0]

    @classmethod
    def of(cls, block: bytes | None) -> Place | None:
        """Read it back, where one was kept."""
        return None if block is None else cls.read(block)

    @classmethod
    def read(cls, block: bytes) -> Place:
        """Read it back."""
        columns = decode(block)
        streams = tuple(
            Stream(**dict(zip(STREAM_COLUMNS, row, strict=True)))
            for row in zip(*(columns[name] for name in STREAM_COLUMNS), strict=True)
        )
        return cls(
            streams=streams,
            versions=tuple(columns["version"].tolist()),
            state=State(**{f.name: columns[f"state_{f.name}"].T.copy() for f in fields(State)}),
            spans=Spans(**{f.name: columns[f"spans_{f.name}"] for f in fields(Spans)}),
        )


def blocks(places: Sequence[Place]) -> list[bytes]:
    """Return some places as the store keeps each; together they take a third of the time."""
    columns: dict[str, NDArray[Any]] = {}
    streams = [stream for place in places for stream in place.streams]
    for name in STREAM_COLUMNS:
        column = np.empty(len(streams), dtype=object)
        column[:] = [getattr(s, name) for s in streams]
        columns[name] = column
    columns["version"] = np.array([v for place in places for v in place.versions], dtype=np.int64)
    for part, kind in (("state", State), ("spans", Spans)):
        for f in fields(kind):
            each = [getattr(getattr(place, part), f.name).T for place in places]
            columns[f"{part}_{f.name}"] = np.concatenate(each)
    edges = np.cumsum([0, *(len(place.streams) for place in places)]).tolist()
    return list(encode_each(columns, edges))


P = TypeVar("P", State, Spans)


def gathered(parts: Sequence[P], columns: Whole) -> P:
    """Return some columns of states, or spans, that are counted on from one to the next."""
    joined = {
        f.name: np.concatenate([getattr(part, f.name) for part in parts], axis=-1)[..., columns]
        for f in fields(parts[0])
    }
    return replace(parts[0], **joined)
