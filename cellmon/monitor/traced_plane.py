"""One traced section: its form by each reference, its lobes, and what two points see of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from cellmon.bores.circles import Reference, fitted_circle, points_around
from cellmon.bores.traces import Lobes, Profile, filtered_profile, harmonics, named_lobes, two_point
from cellmon.errors import CellmonError
from cellmon.monitor.view import View
from cellmon.records import Numbers, TracePoints
from cellmon.sheet import FormFeature, Part
from cellmon.units import UM_PER, LengthUnit


@dataclass(frozen=True, kw_only=True)
class Wave:
    """One order of the form: undulations per revolution, half its height, its first crest."""

    upr: int
    amplitude_um: float
    peak_deg: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Curve:
    """A filtered profile about the centre of the reference, to be drawn."""

    angle_deg: Numbers
    um: Numbers


@dataclass(frozen=True, kw_only=True, eq=False)
class PlaneTrace:
    """One section; figures are radial unless they are sizes, and sizes are from nominal."""

    plane: str
    depth_mm: float | None
    points: int
    roundness_um: float | None
    """By the sheet's reference and filter."""
    by_reference_um: Mapping[str, float]
    centre_x_um: float | None
    centre_y_um: float | None
    lobes: tuple[Lobes, ...]
    waves: tuple[Wave, ...]
    two_point_roundness_um: float | None
    """What a two-point gauge reads of this very section, in the sheet's directions."""
    missed_um: float | None
    """Roundness less what two points see of it."""
    least_two_point_um: float | None
    """Least two-point size in the sheet's directions."""
    largest_inscribed_um: float | None
    """Size of the largest circle that goes in: what a plug meets."""
    notes: tuple[str, ...]
    curve: Curve | None = None
    why_not: Mapping[str, str] = field(default_factory=dict)


def plane_traces(
    view: View, points: TracePoints, part: Part, feature: FormFeature, *, curves: bool
) -> tuple[PlaneTrace, ...]:
    """Return every section of a bore, in the sheet's order of depth; planes it does not know come last."""
    depths = view.sheet.measuring.planes
    names = dict.fromkeys([*(p for p in depths if p in points.plane), *points.plane])
    return tuple(
        _plane(view, name, points.select(points.plane == name), part, feature, curves=curves)
        for name in names
    )


def _plane(
    view: View, name: str, rows: TracePoints, part: Part, feature: FormFeature, *, curves: bool
) -> PlaneTrace:
    depth = view.sheet.measuring.planes.get(name)
    try:
        profile = filtered_profile(rows.angle_deg, rows.radius_um, filter_upr=feature.filter_upr)
        return _traced(view, name, depth, profile, part, feature, curves=curves)
    except CellmonError as refusal:
        return PlaneTrace(
            plane=name,
            depth_mm=depth,
            points=len(rows),
            roundness_um=None,
            by_reference_um={},
            centre_x_um=None,
            centre_y_um=None,
            lobes=(),
            waves=(),
            two_point_roundness_um=None,
            missed_um=None,
            least_two_point_um=None,
            largest_inscribed_um=None,
            notes=(),
            why_not={"roundness_um": str(refusal)},
        )


def _traced(
    view: View,
    name: str,
    depth: float | None,
    profile: Profile,
    part: Part,
    feature: FormFeature,
    *,
    curves: bool,
) -> PlaneTrace:
    nominal = part.diameter.nominal
    points = points_around(profile.angle_deg, profile.um, nominal_mm=nominal)
    circles = {kind: fitted_circle(points, kind) for kind in Reference}
    mine = circles[Reference(feature.reference)]
    waves = harmonics(profile)
    seen = two_point(profile, directions_deg=tuple(view.sheet.measuring.directions.values()))
    half_um = nominal * UM_PER[LengthUnit.MM] / 2
    about = np.hypot(points.x - mine.x, points.y - mine.y) - half_um
    return PlaneTrace(
        plane=name,
        depth_mm=depth,
        points=len(profile.um),
        roundness_um=mine.form,
        by_reference_um={kind.value: circle.form for kind, circle in circles.items()},
        centre_x_um=mine.x,
        centre_y_um=mine.y,
        lobes=named_lobes(waves),
        waves=tuple(
            Wave(upr=int(order), amplitude_um=float(height), peak_deg=float(peak))
            for order, height, peak in zip(waves.order, waves.amplitude_um, waves.peak_deg, strict=True)
        ),
        two_point_roundness_um=seen.roundness_um,
        missed_um=mine.form - seen.roundness_um,
        least_two_point_um=float(seen.sizes_um.min()),
        largest_inscribed_um=2 * (circles[Reference.INSCRIBED].radius - half_um),
        notes=profile.notes,
        curve=Curve(angle_deg=profile.angle_deg, um=about) if curves else None,
    )
