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
from cellmon.store.chunks import decode, encode


@dataclass(frozen=True, kw_only=True, eq=False)
class Place:
    """Where the watch stands: one column a stream, and the spans of its last subgroup."""

    streams: tuple[Stream, ...]
    versions: tuple[int, ...]
    state: State
    spans: Spans

    def block(self) -> bytes:
        """Return it as the store keeps it."""
        columns: dict[str, NDArray[Any]] = {}
        for name in STREAM_COLUMNS:
            column = np.empty(len(self.streams), dtype=object)
            column[:] = [getattr(s, name) for s in self.streams]
            columns[name] = column
        columns["version"] = np.array(self.versions, dtype=np.int64)
        for f in fields(State):
            columns[f"state_{f.name}"] = np.ascontiguousarray(getattr(self.state, f.name).T)
        for f in fields(Spans):
            columns[f"spans_{f.name}"] = getattr(self.spans, f.name)
        return encode(columns)

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


P = TypeVar("P", State, Spans)


def gathered(parts: Sequence[P], columns: Whole) -> P:
    """Return some columns of states, or spans, that are counted on from one to the next."""
    joined = {
        f.name: np.concatenate([getattr(part, f.name) for part in parts], axis=-1)[..., columns]
        for f in fields(parts[0])
    }
    return replace(parts[0], **joined)
