"""What is written of the gauges: checks on masters every few hours, and a study."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cellmon.records import GaugeChecks, StudyReadings, Times
from cellmon.simulate import incidents as plant
from cellmon.simulate.audits import OPERATORS, shift_numbers
from cellmon.simulate.clock import end_of
from cellmon.simulate.columns import named, rounded, same, texts, times
from cellmon.simulate.honed import Honed
from cellmon.simulate.moments import utc, worked_shifts
from cellmon.simulate.sources import Sources
from cellmon.simulate.station import temperatures

ACTION_UM = 1.0
SECOND_MASTER_UM = 24.0
RING_READINGS, RING_BIAS_UM = 30, 0.15
STUDY_OPERATOR_UM = {"G1": (0.05, -0.05, 0.0), "G2": (0.5, -0.4, 0.1)}


@dataclass(frozen=True, kw_only=True)
class _Check:
    at: np.datetime64
    gauge: str
    master_um: float
    reading_um: float
    state: str


def gauge_checks(honed: Honed, *, sources: Sources) -> GaugeChecks:
    """Return the readings on masters: G1 every few hours, a second master and G2 at each shift start."""
    scenario = honed.scenario
    made = [*_station_checks(honed, sources), *_shift_checks(honed, sources)]
    made.sort(key=lambda c: c.at)
    at = times(c.at for c in made)
    nominal = scenario.bores.nominal_mm
    _, master_c = temperatures(scenario, at)
    return GaugeChecks(
        at=at,
        gauge=texts(c.gauge for c in made),
        master_mm=rounded([nominal + c.master_um / 1000 for c in made], 0.0001),
        reading_mm=rounded([nominal + c.reading_um / 1000 for c in made], 0.0001),
        state=texts(c.state for c in made),
        set_on=same("ring", len(made)),
        temp_c=rounded(master_c, 0.1),
        by=named(OPERATORS, shift_numbers(honed, at)),
    )


def _station_checks(honed: Honed, sources: Sources) -> list[_Check]:
    scenario, start = honed.scenario, honed.clock.start
    step = np.timedelta64(scenario.gauges.check_h, "h")
    at = np.arange(start, end_of(scenario, start), step.astype("timedelta64[us]"))
    noise = scenario.gauges.check_sd * sources.of("checks").standard_normal((len(at), 2))
    slipped = np.zeros(len(at))
    for slip in scenario.every(plant.GaugeSlip):
        since, until = utc(slip.starts, scenario.zone), utc(slip.ends, scenario.zone)
        slipped[(at > since) & (at <= until)] += slip.reads_large_um
    found = []
    for moment, zero, (first, second) in zip(at, slipped, noise, strict=True):
        as_found = round(float(zero + first), 1)
        found.append(_Check(at=moment, gauge="G1", master_um=0.0, reading_um=as_found, state="as-found"))
        if abs(as_found) > ACTION_UM:
            later = moment + np.timedelta64(2, "m")
            reading = round(float(second), 1)
            found.append(_Check(at=later, gauge="G1", master_um=0.0, reading_um=reading, state="as-left"))
    return found


def _shift_checks(honed: Honed, sources: Sources) -> list[_Check]:
    at = worked_shifts(honed.scenario).starts + np.timedelta64(3, "m").astype("timedelta64[us]")
    random = sources.of("shift checks")
    found = []
    for moment in at:
        one = SECOND_MASTER_UM + round(float(0.25 * random.standard_normal()), 1)
        two = float(np.round(0.6 * random.standard_normal()))
        found.append(
            _Check(at=moment, gauge="G1", master_um=SECOND_MASTER_UM, reading_um=one, state="as-found")
        )
        found.append(_Check(at=moment, gauge="G2", master_um=0.0, reading_um=two, state="as-found"))
    return found


def gauge_study(honed: Honed, *, sources: Sources) -> StudyReadings:
    """Return the studies of the size gauges.

    Of each a crossed one: 10 blocks, 3 people, 3 trials, two bores, two places. Of the station, which
    nobody's hand moves, one of whole bores as well, and one of its master ring.
    """
    crossed = [_study(honed, gauge, sources) for gauge in STUDY_OPERATOR_UM]
    return StudyReadings.concat([*crossed, _whole_bores(honed, sources), _ring(honed, sources)])


def _whole_bores(honed: Honed, sources: Sources) -> StudyReadings:
    """Return 10 blocks through the station three times: two bores, every place."""
    gauges, bores = honed.scenario.gauges, honed.scenario.bores
    random = sources.of("study of whole bores")
    shape = (10, 3, 2, len(bores.planes), len(bores.directions))  # blocks, trials, bores, planes, directions
    true = np.linspace(2, 22, 10)[:, None, None, None] + 1.5 * random.standard_normal((10, 2, 1, 1))
    true = true + 1.2 * random.standard_normal((10, 2, *shape[3:]))
    um = true[:, None] + gauges.station_sd * random.standard_normal(shape)
    block, trial, bore, plane, direction = (i.ravel() for i in np.indices(shape))
    return StudyReadings(
        study=same("G1-whole-bores", um.size),
        part=texts(f"HM214-{4101 + 7 * int(b):06d}" for b in block),
        trial=trial + 1.0,
        reading_mm=rounded(bores.nominal_mm + rounded(um, gauges.station_step_um).ravel() / 1000, 0.0001),
        gauge=same("G1", um.size),
        bore=named(("1", "3"), bore),
        plane=named(bores.planes, plane),
        direction=named(bores.directions, direction),
        at=_study_times(honed, um.size, days=2),
    )


def _ring(honed: Honed, sources: Sources) -> StudyReadings:
    """Return 30 readings of one ring in the station, which reads it a little large."""
    gauges, nominal = honed.scenario.gauges, honed.scenario.bores.nominal_mm
    um = RING_BIAS_UM + gauges.station_sd * sources.of("study of the ring").standard_normal(RING_READINGS)
    master = nominal + SECOND_MASTER_UM / 2000
    return StudyReadings(
        study=same("G1-ring", RING_READINGS),
        part=same("ring 12", RING_READINGS),
        trial=np.arange(RING_READINGS, dtype=np.float64) + 1.0,
        reading_mm=rounded(master + rounded(um, gauges.station_step_um) / 1000, 0.0001),
        gauge=same("G1", RING_READINGS),
        master_mm=np.full(RING_READINGS, round(master, 4)),
        at=_study_times(honed, RING_READINGS, days=1),
    )


def _study_times(honed: Honed, size: int, *, days: int) -> Times:
    start = honed.clock.start - np.timedelta64(days, "D")
    return np.array(start + (np.arange(size) * 40).astype("timedelta64[s]"), dtype="datetime64[us]")


def _study(honed: Honed, gauge: str, sources: Sources) -> StudyReadings:
    gauges, bores = honed.scenario.gauges, honed.scenario.bores
    random = sources.of(f"study of {gauge}")
    sd, step = (
        (gauges.station_sd, gauges.station_step_um)
        if gauge == "G1"
        else (gauges.hand_sd, gauges.hand_step_um)
    )
    shape = (10, 3, 3, 2, 2)  # blocks, people, trials, bores, places
    true = np.linspace(2, 22, 10)[:, None, None] + 2 * random.standard_normal((10, 2, 2))
    um = true[:, None, None] + np.array(STUDY_OPERATOR_UM[gauge])[None, :, None, None, None]
    um = um + sd * random.standard_normal(shape)
    block, person, trial, bore, place = (i.ravel() for i in np.indices(shape))
    return StudyReadings(
        study=same(f"{gauge}-2026-10", um.size),
        part=texts(f"HM214-{4101 + 7 * int(b):06d}" for b in block),
        trial=trial + 1.0,
        reading_mm=rounded(bores.nominal_mm + rounded(um, step).ravel() / 1000, 0.0001),
        operator=named(OPERATORS, person),
        gauge=same(gauge, um.size),
        bore=named(("1", "3"), bore),
        plane=named(("top", "middle"), place),
        direction=named(("x", "y"), place),
        at=_study_times(honed, um.size, days=3),
    )
