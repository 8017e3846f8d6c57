"""Blocks read back as one batch: bores joined on one frame and in order, subgroups told apart by stream."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cellmon.judged import STREAM_COLUMNS, Bores, Subgroups
from cellmon.records import Frame, Stream, laid, no_rows
from cellmon.records.alike import run_starts


def by_stream(subgroups: Subgroups) -> dict[Stream, NDArray[np.int64]]:
    """Return the rows of each stream of some subgroups, in their order."""
    streams, code = streams_of(subgroups)
    order = np.argsort(code, kind="stable")
    edges = np.flatnonzero(np.diff(code[order])) + 1
    return dict(zip(streams, np.split(order, edges), strict=False))


def streams_of(subgroups: Subgroups) -> tuple[list[Stream], NDArray[np.int64]]:
    """Return the streams of some subgroups as they come first, and the place among them of each row's.

    Rows come stream after stream as they were cut, so only where one ends is looked at as a whole.
    """
    size = len(subgroups)
    if not size:
        return [], np.zeros(0, dtype=np.int64)
    columns = [getattr(subgroups, name) for name in STREAM_COLUMNS]
    heads = np.unique(np.concatenate([run_starts(column) for column in columns]))
    names = list(zip(*(column[heads].tolist() for column in columns), strict=True))
    number = {name: i for i, name in enumerate(dict.fromkeys(names))}
    code = np.array([number[name] for name in names], dtype=np.int64)
    return [_stream(name) for name in number], np.repeat(code, np.diff(heads, append=size))


@lru_cache(maxsize=4096)
def _stream(name: tuple[Any, ...]) -> Stream:
    """Return the stream of a name, for each the same: what is one and the same is not compared."""
    return Stream(**dict(zip(STREAM_COLUMNS, name, strict=True)))


def join_bores(found: Sequence[Bores], frames: dict[int, Frame]) -> Bores:
    """Join batches of bores on the planes and directions of the newest."""
    if not found:
        planes, directions = next(reversed(frames.values()), ((), ()))
        return no_rows(
            Bores, planes=planes, directions=directions, um=np.zeros((0, len(planes), len(directions)))
        )
    newest = max(found, key=lambda b: b.unit_start[0] if len(b) else np.datetime64(0, "us"))
    frame = (newest.planes, newest.directions)
    return Bores.concat([b if (b.planes, b.directions) == frame else _laid(b, frame) for b in found])


def _laid(bores: Bores, frame: Frame) -> Bores:
    planes, directions = frame
    um = laid(bores.um, (bores.planes, bores.directions), frame, empty=np.nan)
    return replace(bores, planes=planes, directions=directions, um=um)


def in_order(bores: Bores, last: int | None) -> Bores:
    """Return bores as made; the newest so many where asked."""
    bores = bores.select(np.lexsort((bores.position, bores.unit_start)))
    return bores if last is None else bores.select(slice(max(len(bores) - last, 0), None))
