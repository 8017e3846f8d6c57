"""Blocks read back as one batch: bores joined on one frame and in order, subgroups told apart by stream."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from cellmon.judged import STREAM_COLUMNS, Bores, Subgroups
from cellmon.records import Frame, Stream, laid, no_rows


def by_stream(subgroups: Subgroups) -> dict[Stream, NDArray[np.int64]]:
    """Return the rows of each stream of some subgroups, in their order."""
    names = list(zip(*(getattr(subgroups, name).tolist() for name in STREAM_COLUMNS), strict=True))
    number = {name: i for i, name in enumerate(dict.fromkeys(names))}
    code = np.fromiter(map(number.__getitem__, names), dtype=np.int64, count=len(names))
    order = np.argsort(code, kind="stable")
    edges = np.flatnonzero(np.diff(code[order])) + 1
    return {subgroups.stream_of(int(rows[0])): rows for rows in np.split(order, edges) if len(rows)}


def join_bores(found: Sequence[Bores], frames: dict[int, Frame]) -> Bores:
    """Join batches of bores on the planes and directions of the newest."""
    if not found:
        planes, directions = next(reversed(frames.values()), ((), ()))
        return no_rows(
            Bores, planes=planes, directions=directions, um=np.zeros((0, len(planes), len(directions)))
        )
    newest = max(found, key=lambda b: b.unit_start[0] if len(b) else np.datetime64(0, "us"))
    frame = (newest.planes, newest.directions)
    laid_out = [
        replace(
            b,
            planes=frame[0],
            directions=frame[1],
            um=laid(b.um, (b.planes, b.directions), frame, empty=np.nan),
        )
        for b in found
    ]
    return Bores.concat(laid_out)


def in_order(bores: Bores, last: int | None) -> Bores:
    """Return bores as made; the newest so many where asked."""
    bores = bores.select(np.lexsort((bores.position, bores.unit_start)))
    return bores if last is None else bores.select(slice(max(len(bores) - last, 0), None))
