"""The set-up sheet: cautions, stroke, speeds with the crosshatch each leaves, removal, the order of work."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime

from cellmon.errors import CellmonError, WrongUsage
from cellmon.local import significant
from cellmon.monitor import setup_words as words
from cellmon.monitor.setup_request import SetupRequest, finish_stones, with_sheet
from cellmon.monitor.view import View
from cellmon.setup import kinematics as motion
from cellmon.setup import removal as work
from cellmon.setup.kinematics import Place
from cellmon.sheet import Sheet
from cellmon.units import UM_PER, LengthUnit
from cellmon.words import say, to_say

__all__ = [
    "NotAdvised",
    "Removal",
    "SetupRequest",
    "SetupSheet",
    "SpeedChoice",
    "setup_of_cell",
    "setup_sheet",
]

WANTED_ANGLE = to_say("wanted angle")


class NotAdvised(CellmonError):
    """A bore for which no set-up is given until a person has said what its surface is."""

    exit_status = 2

    def __init__(self, surface: str) -> None:
        super().__init__(
            say(
                "the surface of this bore is {surface}: ordinary stones can ruin it, and its dust can harm. "
                "Ask a specialist; --surface plain says that a qualified person has confirmed a plain one",
                surface=surface,
            )
        )


@dataclass(frozen=True, kw_only=True)
class SpeedChoice:
    """One spindle speed and what it gives at the person's stroke rate."""

    name: str
    rpm: float
    """Never above the rated speed."""
    rpm_asked: float
    limited: bool
    surface_m_min: float
    angle_mean_deg: float | None
    angle_mid_stroke_deg: float | None
    strokes_for_angle: float | None
    """Double strokes a minute that would leave the wanted angle at this speed."""
    note: str


@dataclass(frozen=True, kw_only=True)
class Removal:
    """What one bore takes off the stones."""

    stock_um: float
    work_mm3: float
    strokes: int | None
    minutes: float | None
    wear_um: float | None
    bores_per_set: float | None
    why_not: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class SetupSheet:
    """A set-up for one bore; without a cell there is neither a moment nor a version of the sheet."""

    as_of: datetime | None
    sheet: int | None
    cautions: tuple[str, ...]
    sentence: str
    diameter_mm: float
    length_mm: float | None
    stone_mm: float | None
    overrun_top_mm: float | None
    overrun_bottom_mm: float | None
    stroke_mm: float | None
    strokes_per_min: float | None
    stroke_mean_m_min: float | None
    stroke_mid_m_min: float | None
    angle_deg: float | None
    angle_at: str
    rated_rpm: float | None
    speeds: tuple[SpeedChoice, ...]
    removal: Removal | None
    steps: tuple[str, ...]
    notes: tuple[str, ...]
    why_not: Mapping[str, str] = field(default_factory=dict)


def setup_of_cell(view: View, request: SetupRequest) -> SetupSheet:
    """Answer with a set-up for the cell's part; what the request leaves open the sheet says."""
    found = setup_sheet(request, sheet=view.sheet)
    return replace(found, as_of=view.local(view.as_of), sheet=view.rules.now.version)


def setup_sheet(request: SetupRequest, *, sheet: Sheet | None = None) -> SetupSheet:
    """Return a set-up sheet; a cell sheet gives what the request leaves open.

    Raises
    ------
    NotAdvised
        For a coated, plated or unknown surface that nobody confirmed to be plain.
    WrongUsage
        Without a diameter, or with figures that make no motion.
    """
    asked = with_sheet(request, sheet)
    if asked.surface not in (None, "plain"):
        raise NotAdvised(asked.surface)
    if asked.diameter_mm is None:
        raise WrongUsage(say("a set-up needs --diameter-mm or --diameter-in, or a cell whose sheet gives it"))
    why_not: dict[str, str] = {}
    stroke = _stroke(asked, why_not)
    rate, place = asked.strokes_per_min, Place(asked.angle_at)
    if rate is None:
        why_not["strokes_per_min"] = say("your own stroke rate is not given")
    speeds = _speeds(asked, stroke, place, why_not)
    moved = [
        None if stroke is None or rate is None else motion.stroke_speed(stroke, strokes_per_min=rate, place=p)
        for p in Place
    ]
    return SetupSheet(
        as_of=None,
        sheet=None,
        cautions=tuple(map(say, words.CAUTIONS)),
        sentence=_sentence(asked, speeds),
        diameter_mm=asked.diameter_mm,
        length_mm=asked.length_mm,
        stone_mm=asked.stone_mm,
        overrun_top_mm=asked.overrun_top_mm if stroke is not None else None,
        overrun_bottom_mm=asked.overrun_bottom_mm if stroke is not None else None,
        stroke_mm=stroke,
        strokes_per_min=rate,
        stroke_mean_m_min=moved[0],
        stroke_mid_m_min=moved[1],
        angle_deg=asked.angle_deg,
        angle_at=place.value,
        rated_rpm=asked.rated_rpm,
        speeds=speeds,
        removal=_removal(asked, sheet, why_not),
        steps=tuple(map(say, words.STEPS)),
        notes=_notes(asked, speeds),
        why_not=why_not,
    )


def _stroke(asked: SetupRequest, why_not: dict[str, str]) -> float | None:
    if asked.length_mm is None or asked.stone_mm is None:
        why_not["stroke_mm"] = say("the stroke needs the length of the bore and that of the stones")
        return None
    return motion.stroke_length(
        asked.length_mm,
        stone_mm=asked.stone_mm,
        overrun_top_mm=asked.overrun_top_mm or 0.0,
        overrun_bottom_mm=asked.overrun_bottom_mm or 0.0,
    )


def _speeds(
    asked: SetupRequest, stroke: float | None, place: Place, why_not: dict[str, str]
) -> tuple[SpeedChoice, ...]:
    diameter = asked.diameter_mm or 0.0
    found = []
    if asked.surface_m_min is not None:
        rpm = motion.rpm_for_surface_speed(diameter, speed_m_min=asked.surface_m_min)
        note = say("from the surface speed asked for")
        found.append(_speed(say("surface speed"), rpm, asked, stroke, place, note))
    rpm = motion.rpm_by_shop_rule(diameter)
    note = say("1200 divided by the diameter in inches: common practice, no source")
    found.append(_speed(say("shop rule"), rpm, asked, stroke, place, note))
    if asked.angle_deg is None:
        why_not["angle_deg"] = say("no crosshatch angle is asked for")
    elif stroke is not None and asked.strokes_per_min is not None:
        rpm = motion.rpm_for_angle(
            diameter, asked.angle_deg, stroke_mm=stroke, strokes_per_min=asked.strokes_per_min, place=place
        )
        angle = significant(asked.angle_deg)
        note = say("leaves {angle} degrees, {place}, at your stroke rate", angle=angle, place=place.value)
        found.append(_speed(say(WANTED_ANGLE), rpm, asked, stroke, place, note))
    return tuple(found)


def _speed(
    name: str, wanted: float, asked: SetupRequest, stroke: float | None, place: Place, note: str
) -> SpeedChoice:
    diameter, rated, rate = asked.diameter_mm or 0.0, asked.rated_rpm, asked.strokes_per_min
    rpm = wanted if rated is None else min(wanted, rated)
    surface = motion.surface_speed(diameter, rpm=rpm)
    angles: list[float | None] = [None, None]
    if stroke is not None and rate is not None:
        angles = [
            motion.crosshatch_angle(motion.stroke_speed(stroke, strokes_per_min=rate, place=p), surface)
            for p in Place
        ]
    strokes = None
    if stroke is not None and asked.angle_deg is not None:
        strokes = motion.strokes_for_angle(diameter, asked.angle_deg, stroke_mm=stroke, rpm=rpm, place=place)
    limited = rpm < wanted
    if limited:
        note = say("{note}; held at the rated speed, {rpm} would be above it", note=note, rpm=f"{wanted:.0f}")
    return SpeedChoice(
        name=name,
        rpm=rpm,
        rpm_asked=wanted,
        limited=limited,
        surface_m_min=surface,
        angle_mean_deg=angles[0],
        angle_mid_stroke_deg=angles[1],
        strokes_for_angle=strokes,
        note=note,
    )


def _removal(asked: SetupRequest, sheet: Sheet | None, why_not: dict[str, str]) -> Removal | None:
    if asked.stock_um is None or asked.length_mm is None:
        why_not["removal"] = say("wear and removal need the stock on diameter and the length of the bore")
        return None
    own: dict[str, str] = {}
    volume = work.work_removed_mm3(asked.diameter_mm or 0.0, asked.length_mm, stock_um=asked.stock_um)
    strokes = minutes = None
    if asked.um_per_stroke is None:
        own["strokes"] = say("what a double stroke takes off is not given; take it from a bore of your own")
    else:
        strokes = work.strokes_needed(asked.stock_um, um_per_stroke=asked.um_per_stroke)
        minutes = None if asked.strokes_per_min is None else strokes / asked.strokes_per_min
    wear = _wear(asked, volume, own)
    kind = None if sheet is None else finish_stones(sheet)
    lasts = None
    if wear is not None and kind is not None:
        usable = (kind.new_thickness_mm - kind.least_thickness_mm) * UM_PER[LengthUnit.MM]
        lasts = work.bores_per_set(usable, wear_um=wear)
    return Removal(
        stock_um=asked.stock_um,
        work_mm3=volume,
        strokes=strokes,
        minutes=minutes,
        wear_um=wear,
        bores_per_set=lasts,
        why_not=own,
    )


def _wear(asked: SetupRequest, volume: float, why_not: dict[str, str]) -> float | None:
    needs = (asked.g_ratio, asked.stone_width_mm, asked.stone_mm, asked.stones)
    if any(value is None for value in needs):
        why_not["wear_um"] = say(
            "wear needs the volume of work for one of stone, from wear you measured, and width and number of "
            "the stones"
        )
        return None
    g, width, length, stones = (float(value or 0) for value in needs)
    return work.stone_wear_um(volume, g_ratio=g, face_mm2=width * length * stones)


def _notes(asked: SetupRequest, speeds: tuple[SpeedChoice, ...]) -> tuple[str, ...]:
    found = [say(words.ANGLES), *(words.speed_note(s.name, s.surface_m_min) for s in speeds)]
    if asked.stone_mm is not None and asked.length_mm is not None:
        found.append(words.stone_note(asked.stone_mm, asked.length_mm))
        found.append(words.overrun_note("top", asked.overrun_top_mm or 0.0, asked.stone_mm))
        found.append(words.overrun_note("bottom", asked.overrun_bottom_mm or 0.0, asked.stone_mm))
    if asked.rated_rpm is None:
        found.append(say(words.NO_RATING))
    return tuple(note for note in found if note is not None)


def _sentence(asked: SetupRequest, speeds: tuple[SpeedChoice, ...]) -> str:
    chosen = speeds[-1] if speeds[-1].name == say(WANTED_ANGLE) else speeds[0]
    place = Place(asked.angle_at)
    return words.setup_sentence(
        asked.diameter_mm or 0.0,
        name=chosen.name,
        rpm=chosen.rpm,
        surface_m_min=chosen.surface_m_min,
        angle_deg=chosen.angle_mean_deg if place is Place.MEAN else chosen.angle_mid_stroke_deg,
        place=place,
        strokes_per_min=asked.strokes_per_min,
    )
