"""What the points of traces give: form and size of each traced bore, by the sheet of its moment.

A pure function of the points and the sheet that was in force when they were traced. Kept beside them,
because a cylinder takes milliseconds and a year of traces is asked for at every look at the signals.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from cellmon.bores.circles import OF_CIRCLES, Reference, fitted_circle, points_around
from cellmon.bores.cylinders import Cylinder, fitted_cylinder
from cellmon.bores.traces import OF_TRACES, Profile, filtered_profile
from cellmon.errors import OF_FIGURES, CellmonError, NotEnoughData
from cellmon.monitor.judge.audits import part_of_feature
from cellmon.monitor.rules import Rules
from cellmon.records import Characteristics, Kind, TracePoints
from cellmon.sheet import Sheet
from cellmon.sheet.features import SIZES_OF_TRACES, TRACE_FEATURES, TRACE_SIZE, FormFeature, Part
from cellmon.store import Session, TracedBore, TracedFigure
from cellmon.units import UM_PER, LengthUnit
from cellmon.words import in_english, say, say_kept, to_say

NO_DEPTH = to_say("[measuring] names no depth of plane {planes}")
PLANE_REFUSED = to_say("plane {plane}: {refusal}")

Key = tuple[str, str, str | None, int]


@dataclass(frozen=True, kw_only=True, eq=False)
class Audited:
    """Figures of other instruments, and those that the points of traces did not give."""

    rows: Characteristics
    refused: tuple[TracedFigure, ...]


def audited_rows(
    session: Session,
    *,
    start: np.datetime64 | None = None,
    end: np.datetime64 | None = None,
    names: Collection[str] | None = None,
    bores: Collection[str] | None = None,
) -> Audited:
    """Return every figure of another instrument in [start, end), or those of some names and bores.

    Where the points of a trace give a figure, what the instrument reported for the same bore and moment
    does not count a second time.
    """
    reported = session.rows(Kind.CHARACTERISTICS, start=start, end=end, characteristics=names, bores=bores)
    traced = session.traced(start=start, end=end)
    figures = [
        f for f in traced if (names is None or f.feature in names) and (bores is None or f.of.bore in bores)
    ]
    known = [f for f in figures if f.value is not None]
    given = {(f.feature, *_key(f.of)) for f in known}
    alone = ~np.isin(reported.at, np.array([f.of.at for f in known], dtype="datetime64[us]"))
    for i in np.flatnonzero(~alone):
        of = TracedBore(
            part=reported.part[i], bore=reported.bore[i], gauge=reported.gauge[i], at=reported.at[i]
        )
        alone[i] = (reported.characteristic[i], *_key(of)) not in given
    rows = reported.select(alone)
    return Audited(
        rows=Characteristics.concat([rows, _as_rows(known)]) if known else rows,
        refused=tuple(f for f in figures if f.value is None),
    )


def _key(of: TracedBore) -> Key:
    return of.part, of.bore, of.gauge, int(of.at.astype("datetime64[us]").astype(np.int64))


def _as_rows(figures: Collection[TracedFigure]) -> Characteristics:
    def texts(of: Callable[[TracedFigure], str | None]) -> np.ndarray:
        found = np.empty(len(figures), dtype=object)
        found[:] = [of(f) for f in figures]
        return found

    return Characteristics(
        part=texts(lambda f: f.of.part),
        bore=texts(lambda f: f.of.bore),
        characteristic=texts(lambda f: f.feature),
        value=np.array([f.value for f in figures], dtype=np.float64),
        at=np.array([f.of.at for f in figures], dtype="datetime64[us]"),
        unit=np.full(len(figures), "um", dtype=object),
        spindle=texts(lambda f: f.spindle),
        gauge=texts(lambda f: f.of.gauge),
    )


def keep_traced(session: Session, rules: Rules, parts: Collection[str] | None = None) -> None:
    """Derive anew what the points of some blocks give, or of all."""
    wanted = None if parts is None else sorted(set(parts))
    every = dict.fromkeys(of.part for of in session.traced_bores()) if wanted is None else wanted
    session.put_traced(wanted, [f for part in every for f in _of_part(session, rules, part)])


def _of_part(session: Session, rules: Rules, part: str) -> Iterator[TracedFigure]:
    points = session.trace_points(part=part)
    moments = points.at.astype("datetime64[us]").astype(np.int64).tolist()
    rows: dict[Key, list[int]] = {}
    for i, key in enumerate(zip(points.part, points.bore, points.gauge, moments, strict=True)):
        rows.setdefault(key, []).append(i)
    for (name, bore, gauge, at), mine in rows.items():
        moment = np.datetime64(at, "us")
        if np.isnat(moment):
            continue  # without a moment there is no place in a stream
        of = TracedBore(part=name, bore=bore, gauge=gauge, at=moment)
        own = points.select(np.array(mine))
        spindle = next((s for s in own.spindle if s), None)
        for feature, (value, why_not) in figures_of(own, rules.at(moment).sheet).items():
            yield TracedFigure(of=of, spindle=spindle, feature=feature, value=value, why_not=why_not)


Figure = tuple[float | None, str | None]


def figures_of(points: TracePoints, sheet: Sheet) -> Mapping[str, Figure]:
    """Return each feature that a sheet takes from traces: its value in micrometres, or why there is none."""
    found: dict[str, Figure] = {}
    depths = sheet.measuring.planes
    named = {name for part in sheet.parts for name in part.audited}
    for name in (*TRACE_FEATURES, TRACE_SIZE):
        if name not in named:
            continue
        part = part_of_feature(sheet, name)
        try:
            with in_english():  # what is refused is kept
                found[name] = round(_OF[name](points, part, depths), 6), None
        except CellmonError as refusal:
            found[name] = None, str(refusal)
    return found


def refusal_words(kept: str) -> str:
    """Return why the points of a trace gave no figure, as it was kept, in the site's language."""
    return say_kept(kept, PLANE_REFUSED, NO_DEPTH, *OF_FIGURES, *OF_TRACES, *OF_CIRCLES)


def filter_of(part: Part, name: str) -> FormFeature:
    """Return a form feature of a part, as the sheet has it or as it would be unless said otherwise."""
    found = part.features.get(name)
    return found if isinstance(found, FormFeature) else FormFeature()


def _roundness(points: TracePoints, part: Part, depths: Mapping[str, float]) -> float:
    """Return the roundness of the worst plane."""
    feature = filter_of(part, "roundness_trace")
    found = []
    for plane, profile in _profiles(points, feature.filter_upr):
        around = points_around(profile.angle_deg, profile.um, nominal_mm=part.diameter.nominal)
        found.append((fitted_circle(around, feature.reference).form, plane))
    return max(found)[0]


def cylindricity(points: TracePoints, part: Part, depths: Mapping[str, float]) -> float:
    """Return the cylindricity of a traced bore, by the sheet's reference and filter."""
    feature = filter_of(part, "cylindricity")
    profiles = dict(_profiles(points, feature.filter_upr))
    return _cylinder(profiles, part, depths, Reference(feature.reference)).form


def traced_size(points: TracePoints, part: Part, depths: Mapping[str, float]) -> float:
    """Return the size of a traced bore from nominal: of the cylinder, or of the circle of a single plane.

    References
    ----------
    ISO 14405-1:2016: modifiers GG, GX, GN (global sizes by least squares, largest inscribed, smallest
    circumscribed cylinder); definitions from memory.
    """
    reference = Reference(SIZES_OF_TRACES[part.diameter.size])
    profiles = dict(_profiles(points, filter_of(part, "roundness_trace").filter_upr))
    if len(profiles) > 1:
        return 2 * _cylinder(profiles, part, depths, reference).radius
    (profile,) = profiles.values()
    nominal = part.diameter.nominal
    around = points_around(profile.angle_deg, profile.um, nominal_mm=nominal)
    return 2 * fitted_circle(around, reference).radius - nominal * UM_PER[LengthUnit.MM]


_OF = {"roundness_trace": _roundness, "cylindricity": cylindricity, TRACE_SIZE: traced_size}


def _cylinder(
    profiles: Mapping[str, Profile], part: Part, depths: Mapping[str, float], reference: Reference
) -> Cylinder:
    strange = sorted(set(profiles) - set(depths))
    if strange:
        raise NoDepth(say(NO_DEPTH, planes=", ".join(strange)))
    return fitted_cylinder(
        np.concatenate([p.angle_deg for p in profiles.values()]),
        np.repeat([depths[name] for name in profiles], [len(p.um) for p in profiles.values()]),
        np.concatenate([p.um for p in profiles.values()]),
        nominal_mm=part.diameter.nominal,
        reference=reference,
    )


class NoDepth(CellmonError, ValueError):
    """A plane was traced of which the sheet does not say where it lies."""


class PlaneRefused(CellmonError, ValueError):
    """One plane of a bore says nothing, so the bore has no figure."""


def _profiles(points: TracePoints, filter_upr: float) -> Iterator[tuple[str, Profile]]:
    if not len(points):
        raise NotEnoughData("points of a trace", need=4, got=0)
    for plane in dict.fromkeys(points.plane):
        here = points.plane == plane
        try:
            yield (
                plane,
                filtered_profile(points.angle_deg[here], points.radius_um[here], filter_upr=filter_upr),
            )
        except CellmonError as refusal:
            raise PlaneRefused(say(PLANE_REFUSED, plane=plane, refusal=refusal)) from refusal
