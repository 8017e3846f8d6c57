"""The crosshatch of a bore in the hand: measured, or worked out from the speeds of its last round."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from cellmon.monitor.bore.rounds import Round
from cellmon.monitor.bore.terms import Terms
from cellmon.monitor.setup_request import CROSSHATCH, SetupRequest, with_sheet
from cellmon.monitor.view import View
from cellmon.records import Characteristics, Kind
from cellmon.setup import kinematics as motion
from cellmon.words import say


@dataclass(frozen=True, kw_only=True)
class Crosshatch:
    """Included angle in degrees, or why there is none."""

    measured_deg: float | None
    mean_deg: float | None
    """From the mean stroke speed."""
    mid_stroke_deg: float | None
    """In the middle of a hand's stroke, where it is fastest."""
    rpm: float | None
    strokes_per_min: float | None
    why_not: str | None


def crosshatch_of(view: View, terms: Terms, rounds: Sequence[Round], part: str, bore: str) -> Crosshatch:
    """Return the crosshatch of a bore: the last measured one, and that of the last round's speeds."""
    rows: Characteristics = view.session.rows_of_part(Kind.CHARACTERISTICS, part)
    mine = np.flatnonzero((rows.bore == bore) & (rows.characteristic == CROSSHATCH))
    measured = float(rows.value[mine[-1]]) if len(mine) else None
    last = next((one for one in reversed(rounds) if one.strokes.total), None)
    rpm = None if last is None else last.rpm
    rate = None if last is None else last.strokes_per_min
    request = SetupRequest(part_number=terms.part.number, strokes_per_min=rate)
    asked = with_sheet(request, view.sheet)
    angles, why_not = {}, None
    if rpm is None or rate is None:
        why_not = say("spindle speed and stroke rate of the last round were not noted")
    elif asked.length_mm is None or asked.stone_mm is None:
        why_not = say("the sheet does not say the length of the bore or of its stones")
    else:
        stroke = motion.stroke_length(
            asked.length_mm,
            stone_mm=asked.stone_mm,
            overrun_top_mm=asked.overrun_top_mm or 0.0,
            overrun_bottom_mm=asked.overrun_bottom_mm or 0.0,
        )
        surface = motion.surface_speed(terms.part.diameter.nominal, rpm=rpm)
        angles = {
            place: motion.crosshatch_angle(
                motion.stroke_speed(stroke, strokes_per_min=rate, place=place), surface
            )
            for place in motion.Place
        }
    return Crosshatch(
        measured_deg=measured,
        mean_deg=angles.get(motion.Place.MEAN),
        mid_stroke_deg=angles.get(motion.Place.MID_STROKE),
        rpm=rpm,
        strokes_per_min=rate,
        why_not=why_not,
    )
