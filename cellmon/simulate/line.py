"""The virtual cell: a scenario and a seed in, all records of the run out."""

from __future__ import annotations

from cellmon.simulate.audits import hand_audit
from cellmon.simulate.events import run_events
from cellmon.simulate.gauge_log import gauge_checks, gauge_study
from cellmon.simulate.honed import hone
from cellmon.simulate.roundness import roundness_audit
from cellmon.simulate.run import Run, Truth
from cellmon.simulate.scenario import Scenario
from cellmon.simulate.sources import Sources
from cellmon.simulate.station_rows import emptied, repeated_rows, station_readings
from cellmon.simulate.stone_log import set_uses, stone_measurements, stone_sets, use_events
from cellmon.simulate.supplies import pistons, stock_movements
from cellmon.simulate.truth import planted


def run(scenario: Scenario, *, seed: int) -> Run:
    """Return all records of a run; the same scenario and seed give the same records.

    Parameters
    ----------
    scenario : Scenario
        For instance `harrowmere_week()`, or that less a fault.
    seed : int
        Of the random numbers; each cause draws from a stream of its own, so that a cause taken out
        leaves the numbers of the others as they were.
    """
    sources = Sources(seed=seed)
    honed = hone(scenario, sources=sources)
    whole = station_readings(honed, sources=sources)
    readings, empty = emptied(honed, whole, sources)
    audit, words = hand_audit(honed, sources=sources)
    instrument = roundness_audit(honed, sources=sources)
    uses = set_uses(honed, sources=sources)
    repeated = repeated_rows(honed, readings)
    return Run(
        scenario=scenario,
        seed=seed,
        readings=readings,
        audit=audit,
        words=words,
        repeated=repeated,
        events=run_events(honed, earlier=use_events(honed, uses)),
        stone_sets=stone_sets(honed, uses),
        stone_measurements=stone_measurements(honed, uses, sources=sources),
        stock=stock_movements(honed),
        gauge_checks=gauge_checks(honed, sources=sources),
        study=gauge_study(honed, sources=sources),
        characteristics=instrument.characteristics,
        findings=instrument.findings,
        traces=instrument.traces,
        mating_parts=pistons(honed, sources=sources),
        truth=Truth(
            parts=honed.parts,
            times=honed.clock.times,
            um=honed.true_um,
            levels=honed.levels.um,
            planted=planted(
                honed, readings=readings, empty=empty, repeated=repeated, words=words, audit=audit
            ),
        ),
    )
