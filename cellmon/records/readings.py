"""Readings of bores, and how they lie on planes and directions."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cellmon.records.batch import Batch, Flags, Numbers, Texts, Times, cells, number, text, time
from cellmon.records.words import Kind


@dataclass(frozen=True, kw_only=True, eq=False)
class Readings(Batch):
    """Readings of bores: row i is what one gauge read in one bore at one moment.

    `um` has shape (rows, planes, directions): deviation from `nominal_mm` in micrometres, nan where
    nothing was read. `lines` has the same shape and holds the file line of each reading, 0 for none.
    """

    KIND = Kind.READINGS

    planes: tuple[str, ...]
    directions: tuple[str, ...]
    part: Texts = text(needed=True, key=True)
    bore: Texts = text(needed=True, key=True)
    spindle: Texts = text(needed=True)
    measured_at: Times = time(needed=True, key=True)
    um: NDArray[np.float64] = cells()
    lines: NDArray[np.int64] = cells()
    nominal_mm: Numbers = cells()
    repeated_hour: Flags = cells()
    gauge: Texts = text(key=True)
    part_number: Texts = text()
    stone_set: Texts = text()
    operator: Texts = text()
    fixture: Texts = text()
    sequence: Numbers = number()
    measurement: Texts = text()
    honed_at: Times = time()
    stage: Texts = text(choices=("before", "rough", "finish"))
    why_measured: Texts = text()
    part_temp_c: Numbers = number()
    master_temp_c: Numbers = number()
    feed_um: Numbers = number()
    cycle_s: Numbers = number()
    load_pct: Numbers = number()
    load_ripple_pct: Numbers = number()
    extra: Texts = cells(optional=True)
    """JSON text of the columns nobody declared, None where there are none."""

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.extra is None:
            object.__setattr__(self, "extra", np.full(len(self.part), None, dtype=object))
        shape = (len(self.part), len(self.planes), len(self.directions))
        if self.um.shape != shape or self.lines.shape != shape:
            raise ValueError(f"um has shape {self.um.shape}, lines {self.lines.shape}, expected {shape}")

    @property
    def frame(self) -> Frame:
        """The planes and directions of `um`."""
        return self.planes, self.directions

    def laid_on(self, planes: tuple[str, ...], directions: tuple[str, ...]) -> NDArray[np.float64]:
        """Return `um` on these planes and directions: nan where nothing was read there."""
        return laid(self.um, self.frame, (planes, directions), empty=np.nan)

    def on_frame(self, planes: tuple[str, ...], directions: tuple[str, ...]) -> Readings:
        """Return the same rows on these planes and directions, among which its own must be."""
        lines = laid(self.lines, self.frame, (planes, directions), empty=0)
        um = self.laid_on(planes, directions)
        return replace(self, planes=planes, directions=directions, um=um, lines=lines)


Frame = tuple[tuple[str, ...], tuple[str, ...]]
"""The names of some planes and of some directions."""


def laid(cells_: NDArray[Any], frame: Frame, onto: Frame, *, empty: float) -> NDArray[Any]:
    """Lay cells of shape (rows, planes, directions) onto other planes and directions, `empty` elsewhere."""
    if frame == onto:
        return cells_
    planes, directions = onto
    found = np.full((len(cells_), len(planes), len(directions)), empty, dtype=cells_.dtype)
    for i, plane in enumerate(frame[0]):
        for j, direction in enumerate(frame[1]):
            if plane in planes and direction in directions:
                found[:, planes.index(plane), directions.index(direction)] = cells_[:, i, j]
    return found
