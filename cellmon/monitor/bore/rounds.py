"""Rounds of one bore in the hand, as they were typed: what stands, and what a correction replaced."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cellmon.monitor.view import View
from cellmon.records import Kind, SizingReadings
from cellmon.sheet import Sheet
from cellmon.sizing.strokes import Strokes

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Round:
    """One round: strokes, then readings; round 0 is the bore as received.

    Attributes
    ----------
    um : ndarray, shape (planes, directions)
        Deviation from nominal, µm; nan where not read.
    corrected : int
        How often the round was typed again; the newest stands, the others are kept beside it.
    """

    number: int
    at: np.datetime64
    um: Floats
    stones: str
    strokes: Strokes
    rpm: float | None
    feed_um: float | None
    part_temp_c: float | None
    by: str
    note: str
    part_number: str
    strokes_per_min: float | None = None
    master_temp_c: float | None = None
    corrected: int = 0


def unread(sheet: Sheet) -> Round:
    """Return a round in which nothing was read."""
    shape = len(sheet.measuring.planes), len(sheet.measuring.directions)
    return Round(
        number=0,
        at=np.datetime64("NaT", "us"),
        um=np.full(shape, np.nan),
        stones="",
        strokes=Strokes(),
        rpm=None,
        feed_um=None,
        part_temp_c=None,
        by="",
        note="",
        part_number=sheet.parts[0].number,
    )


def rounds_of(view: View, part: str, bore: str) -> tuple[Round, ...]:
    """Return the rounds of one bore that stand, in order."""
    rows: SizingReadings = view.session.rows_of_part(Kind.SIZING, part)
    return rounds_in(rows, view.sheet, bore)


def rounds_in(rows: SizingReadings, sheet: Sheet, bore: str) -> tuple[Round, ...]:
    """Return the rounds of one bore among the rows of its part."""
    mine = rows.bore == bore
    found = []
    for number in np.unique(rows.round[mine]):
        of = np.flatnonzero(mine & (rows.round == number))
        typed = np.unique(rows.at[of])
        stands = of[rows.at[of] == typed[-1]]
        found.append(_round(rows, sheet, int(number), stands, corrected=len(typed) - 1))
    return tuple(found)


def bores_begun(view: View, part: str) -> tuple[str, ...]:
    """Return the bores of a part that have rounds."""
    rows: SizingReadings = view.session.rows_of_part(Kind.SIZING, part)
    return tuple(dict.fromkeys(str(bore) for bore in rows.bore))


def _round(
    rows: SizingReadings, sheet: Sheet, number: int, stands: NDArray[np.int64], *, corrected: int
) -> Round:
    planes, directions = list(sheet.measuring.planes), list(sheet.measuring.directions)
    um = np.full((len(planes), len(directions)), np.nan)
    for i in stands:
        um[planes.index(str(rows.plane[i])), directions.index(str(rows.direction[i]))] = rows.diameter_um[i]
    first = stands[0]
    return Round(
        number=number,
        at=rows.at[first],
        um=um,
        stones=str(rows.stones[first] or ""),
        strokes=Strokes(
            full=_count(rows.strokes_full[first]),
            top=_count(rows.strokes_top[first]),
            bottom=_count(rows.strokes_bottom[first]),
        ),
        rpm=_known(rows.rpm[first]),
        feed_um=_known(rows.feed_um[first]),
        part_temp_c=_known(rows.part_temp_c[first]),
        by=str(rows.by[first] or ""),
        note=str(rows.note[first] or ""),
        part_number=str(rows.part_number[first] or sheet.parts[0].number),
        strokes_per_min=_known(rows.strokes_per_min[first]),
        master_temp_c=_known(rows.master_temp_c[first]),
        corrected=corrected,
    )


def _count(value: float) -> int:
    return 0 if np.isnan(value) else max(round(value), 0)


def _known(value: float) -> float | None:
    return None if np.isnan(value) else float(value)
