"""What a set-up sheet says beside its figures: cautions first, the order of work, what is unusual."""

from __future__ import annotations

from math import floor
from typing import TYPE_CHECKING

from cellmon.local import number, significant
from cellmon.setup.kinematics import Place
from cellmon.words import say, to_say

if TYPE_CHECKING:
    from cellmon.monitor.setup import Removal, SetupSheet

SURFACE_SPEEDS = (15.0, 150.0)
"""Textbook range, m/min (Groover, *Fundamentals of Modern Manufacturing*, 24.2.1)."""
CAUTIONS = (
    to_say(
        "Advice only. The machine maker's manual, site procedures, local law and codes, and qualified people "
        "come first. Stop if unsure. This software does not make a machine safe."
    ),
    to_say(
        "Rotating, stroking tool: no hands, cloth, gloves or gauge near it. Stop, collapse the stones and "
        "wait for standstill before anything goes in or comes out. Never withdraw an expanded or turning "
        "tool."
    ),
    to_say(
        "Guards and interlocks stay as they are. Stones are changed with the machine locked out and its "
        "stored energy released."
    ),
    to_say(
        "By hand: clamp the block, brace for the drill's kick, use a side handle; start and stop inside the "
        "bore. A hone that leaves the bore while turning can throw its stones. Nothing in the bore but the "
        "hone until it stands and the plug is pulled. Stroke stop for bearing webs, jets, ports and floors."
    ),
    to_say(
        "Coolant mist, dust of dressing and fluids harm lungs and skin and may burn: wet or extracted, air "
        "moving, no sparks, oily rags in a closed metal bin; read the safety data sheets."
    ),
    to_say(
        "Plated, sprayed or coated bores: no ordinary stones; ask a specialist. Parts may be hot, heavy, "
        "sharp."
    ),
)
STEPS = (
    to_say("Measure first, at every plane and direction; find the tight end."),
    to_say(
        "Set stroke and overruns with the spindle stopped and locked out; check both ends before it turns."
    ),
    to_say("Start in the tight end: short strokes there until the bore is straight, then full strokes."),
    to_say("Coarse stones to size less what the finish needs; let the bore cool; measure."),
    to_say("Fine stones to finish; last strokes without more feed."),
    to_say(
        "Stop inside the bore, collapse, wait for standstill, withdraw. Wash with hot water and detergent "
        "until a white cloth stays white, dry, oil at once."
    ),
)
ANGLES = to_say(
    "angles are included ones, opened along the circumference; mean: from the mean stroke speed; mid-stroke: "
    "in the middle of a crank's or hand's stroke, which is pi/2 faster"
)
NO_RATING = to_say("no rated speed is given: never turn a hone or drill above its own")
OVERRUNS = {
    "top": to_say(
        "the top overrun is {share} of the stone; a quarter to a third is usual, equal unless a taper is "
        "corrected (common practice); an end without it stays tight"
    ),
    "bottom": to_say(
        "the bottom overrun is {share} of the stone; a quarter to a third is usual, equal unless a taper is "
        "corrected (common practice); an end without it stays tight"
    ),
}


def speed_note(name: str, surface_m_min: float) -> str | None:
    """Return what to say of a surface speed outside the textbook range."""
    low, high = SURFACE_SPEEDS
    if low <= surface_m_min <= high:
        return None
    return say(
        "{name}: {speed} m/min is outside the textbook range of {low} to {high}",
        name=name,
        speed=f"{surface_m_min:.0f}",
        low=significant(low),
        high=significant(high),
    )


def stone_note(stone_mm: float, length_mm: float) -> str | None:
    """Return what to say of stones that are unusually short or long for the bore."""
    share = stone_mm / length_mm
    if 0.5 - 1e-9 <= share <= 2 / 3 + 1e-9:
        return None
    return say(
        "stones are {share} of the bore length; a half to two thirds is usual (common practice)",
        share=number(share, 2),
    )


def overrun_note(end: str, overrun_mm: float, stone_mm: float) -> str | None:
    """Return what to say of an unusual overrun; rounding to a millimetre is no reason."""
    if stone_mm / 4 - 1 <= overrun_mm <= stone_mm / 3 + 1:
        return None
    return say(OVERRUNS[end], share=number(overrun_mm / stone_mm, 2))


def setup_sentence(
    diameter_mm: float,
    *,
    name: str,
    rpm: float,
    surface_m_min: float,
    angle_deg: float | None,
    place: Place,
    strokes_per_min: float | None,
) -> str:
    """Return the speed that is chosen and what it leaves, in one sentence."""
    speed = {
        "diameter": significant(diameter_mm),
        "rpm": floor(rpm),
        "name": name,
        "surface": f"{surface_m_min:.0f}",
    }
    if angle_deg is None or strokes_per_min is None:
        return say("Bore {diameter} mm: {rpm} rev/min ({name}), {surface} m/min.", **speed)
    return say(
        "Bore {diameter} mm: {rpm} rev/min ({name}), {surface} m/min, crosshatch {angle} degrees ({place}) "
        "at {strokes} double strokes a minute.",
        **speed,
        angle=f"{angle_deg:.0f}",
        place=place.value,
        strokes=significant(strokes_per_min),
    )


def stroke_lines(answer: SetupSheet) -> list[str]:
    """Return the stroke, and how fast it is; nothing where it is not known."""
    if answer.stroke_mm is None:
        return []
    lines = [
        say(
            "Stroke {stroke} mm: bore {bore}, stones {stones}, overrun {top} at the top and {bottom} at the "
            "bottom.",
            stroke=_shown(answer.stroke_mm, 1),
            bore=_shown(answer.length_mm, 1),
            stones=_shown(answer.stone_mm, 1),
            top=_shown(answer.overrun_top_mm, 1),
            bottom=_shown(answer.overrun_bottom_mm, 1),
        )
    ]
    if answer.stroke_mean_m_min is not None:
        lines.append(
            say(
                "Stroke speed {mean} m/min on the mean, {mid} mid-stroke by crank or hand.",
                mean=_shown(answer.stroke_mean_m_min, 1),
                mid=_shown(answer.stroke_mid_m_min, 1),
            )
        )
    return lines


def removal_lines(r: Removal) -> list[str]:
    """Return what is to come off, by how many strokes, and how the stones wear by it."""
    work = {"stock": significant(r.stock_um), "volume": _shown(r.work_mm3, 0)}
    lines = [say("{stock} µm on diameter are {volume} mm³ of work a bore.", **work)]
    if r.strokes is not None:
        lines.append(_strokes_line(r))
    if r.wear_um is not None:
        lines.append(_wear_line(r))
    return lines


def _strokes_line(r: Removal) -> str:
    if r.minutes is None:
        return say("About {strokes} double strokes: stop early, measure, go on.", strokes=r.strokes)
    return say(
        "About {strokes} double strokes, {minutes} minutes at your stroke rate: stop early, measure, go on.",
        strokes=r.strokes,
        minutes=_shown(r.minutes, 1),
    )


def _wear_line(r: Removal) -> str:
    wear = _shown(r.wear_um, 2)
    if r.bores_per_set is None:
        return say("Stones wear about {wear} µm on radius a bore.", wear=wear)
    return say(
        "Stones wear about {wear} µm on radius a bore; a set lasts about {bores} bores at that.",
        wear=wear,
        bores=_shown(r.bores_per_set, 0),
    )


def _shown(value: float | None, decimals: int) -> str:
    return "–" if value is None else number(value, decimals)
