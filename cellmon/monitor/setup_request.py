"""What is asked of a set-up sheet, and what the cell sheet says where a person left it open."""

from __future__ import annotations

from dataclasses import dataclass, replace

from cellmon.setup.kinematics import Place
from cellmon.sheet import Part, Sheet, StoneKind

OVERRUN = 1 / 3
"""Of the stone length at each end, where nothing else is said; a quarter to a third is usual (common
practice, no source)."""
CROSSHATCH = "crosshatch_included"


@dataclass(frozen=True, kw_only=True)
class SetupRequest:
    """What a person gives; None is taken from the sheet where it says it."""

    diameter_mm: float | None = None
    length_mm: float | None = None
    stone_mm: float | None = None
    overrun_top_mm: float | None = None
    overrun_bottom_mm: float | None = None
    surface_m_min: float | None = None
    strokes_per_min: float | None = None
    angle_deg: float | None = None
    angle_at: str = Place.MEAN.value
    rated_rpm: float | None = None
    surface: str | None = None
    stock_um: float | None = None
    um_per_stroke: float | None = None
    g_ratio: float | None = None
    stone_width_mm: float | None = None
    stones: int | None = None
    part_number: str | None = None


def with_sheet(request: SetupRequest, sheet: Sheet | None) -> SetupRequest:
    """Fill in what the sheet says, and overruns by the usual share of the stone."""
    found = request if sheet is None else _from_sheet(request, sheet)
    if found.stone_mm is not None:
        usual = round(found.stone_mm * OVERRUN, 1)
        top = usual if found.overrun_top_mm is None else found.overrun_top_mm
        bottom = usual if found.overrun_bottom_mm is None else found.overrun_bottom_mm
        found = replace(found, overrun_top_mm=top, overrun_bottom_mm=bottom)
    return found


def _from_sheet(request: SetupRequest, sheet: Sheet) -> SetupRequest:
    part, kind = sheet.part(request.part_number), finish_stones(sheet)
    stone = None if kind is None else kind.stone_length_mm
    count = None if kind is None else kind.stones_per_set
    return replace(
        request,
        diameter_mm=_first(request.diameter_mm, part.diameter.nominal),
        length_mm=_first(request.length_mm, part.length_mm),
        stone_mm=_first(request.stone_mm, stone),
        stones=count if request.stones is None else request.stones,
        angle_deg=_first(request.angle_deg, _wanted_angle(part)),
        surface=request.surface or part.surface,
    )


def _first(given: float | None, else_: float | None) -> float | None:
    return else_ if given is None else given


def finish_stones(sheet: Sheet) -> StoneKind | None:
    """Return the kind of stones that finishes the bores; None where the sheet names none."""
    return next((k for k in sheet.stone_kinds if k.stage == "finish"), None)


def _wanted_angle(part: Part) -> float | None:
    feature = part.features.get(CROSSHATCH)
    if feature is None:
        return None
    if feature.target_um is not None:
        return feature.target_um
    low, high = feature.lower_um, feature.upper_um
    return None if low is None or high is None else (low + high) / 2
