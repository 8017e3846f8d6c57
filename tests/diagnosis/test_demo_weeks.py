"""The faults and decoys of simulated weeks, named from what their readings show and their log says."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from cellmon.diagnosis import Evidence, Logged, Movement, packaged_table, rank
from cellmon.simulate.harrowmere import harrowmere_week
from cellmon.simulate.line import run
from tests.diagnosis.week_evidence import SPINDLES, Blocks, at

TABLE = packaged_table()


def names(evidence: Evidence) -> list[str]:
    return [cause.id for cause in rank(evidence, TABLE)]


def routing(blocks: Blocks, moment: np.datetime64) -> Evidence:
    """Bores whose spindle is not that of the sheet, in the 30 blocks after a moment."""
    rows = np.flatnonzero(blocks.times >= moment)[:30]
    sheet = np.array([s for s, bores in SPINDLES.items() for _ in bores])
    wrong = np.flatnonzero((blocks.spindle[rows] != sheet).any(axis=0))
    found = tuple(
        Movement(feature="size", kind="routing", scope="bore", size=0.0, bores=(str(b + 1),)) for b in wrong
    )
    seen = blocks.evidence(moment)
    return replace(seen, movements=(*seen.movements, *found))


def traced(blocks: Blocks, moment: np.datetime64) -> Evidence:
    """The largest roundness of the audit after a moment, against its limit and the audits before."""
    audit = blocks.week.characteristics
    round_ = audit.characteristic == "roundness_trace"
    usual = audit.value[round_ & (audit.at < moment)]
    worst = audit.value[round_ & (audit.at > moment) & (audit.at < moment + np.timedelta64(2, "h"))].max()
    size = float((worst - usual.mean()) / usual.std(ddof=1))
    seen = blocks.evidence(moment)
    if worst <= 5.0 and size < 3.0:
        return seen
    kind = "limit" if worst > 5.0 else "level"
    found = Movement(feature="roundness_trace", kind=kind, scope="spindle", size=size)
    return replace(seen, movements=(*seen.movements, found))


def checked(slip: Evidence, check: Logged) -> Evidence:
    """The same once the master was read."""
    if check.event != "master-bad":
        return replace(slip, logged=(*slip.logged, check))
    off = Movement(feature="gauge", kind="gauge", scope="all", size=1.0)
    return replace(slip, movements=(*slip.movements, off), logged=(*slip.logged, check))


def found(seed: int, *, factor: float = 1.0) -> dict[str, list[str]]:
    """The causes of every fault and decoy of one week, best first; faults `factor` times their size."""
    week = harrowmere_week()
    faults = tuple(fault.scaled(factor) for fault in week.faults)
    blocks = Blocks(run(replace(week, faults=faults), seed=seed))
    slip = blocks.evidence(at(20, 10, 21), quick=6)
    return {
        "F1": names(slip),
        "F1 with the master": names(checked(slip, blocks.master_after(at(20, 10, 21)))),
        "F2": names(blocks.evidence(at(21, 15, 43), spindle="S2", quick=25, slow=25)),
        "F3": names(blocks.evidence(at(22, 8, 10), slow=40)),
        "F4": names(blocks.evidence(at(22, 18, 6), spindle="S1", slow=20)),
        "F5": names(routing(blocks, at(23, 22, 2))),
        "F6": names(blocks.evidence(at(23, 12, 0), since=at(23, 2), spindle="S1", quick=40, slow=60)),
        "F7": names(traced(blocks, at(24, 9, 30))),
        "cold start": names(blocks.evidence(at(19, 6, 10), quick=8)),
        "new stones": names(blocks.evidence(at(22, 6, 37), spindle="S1", slow=15)),
    }


WANTED = {
    "F1": {"gauge-zero"},
    "F1 with the master": {"gauge-zero"},
    "F2": {"chipped-stone"},
    "F3": {"clamp-strain"},
    "F4": {"wrong-offset"},
    "F5": {"exchanged-spindles"},
    "F6": {"missed-dressing"},
    "F7": {"three-lobes"},
    "cold start": {"thermal-warm-up"},
    "new stones": {"break-in"},
}


@pytest.mark.parametrize("seed", [2037, 101])  # the demo week, and one of those below
def test_the_faults_of_a_week_get_their_names(seed):
    causes = found(seed)
    for name, wanted in WANTED.items():
        assert wanted & set(causes[name][:2]), (name, causes[name])


@pytest.mark.slow
@pytest.mark.parametrize("factor", [0.5, 1.0, 2.0])
def test_the_faults_of_twenty_weeks_get_their_names(factor):
    """Seeds 101 to 120, looked at once the table stood; the last figures stand in docs/diagnosis.md."""
    weeks = [found(seed, factor=factor) for seed in range(101, 121)]
    for name, wanted in WANTED.items():
        first = sum(bool(wanted & set(week[name][:1])) for week in weeks)
        two = sum(bool(wanted & set(week[name][:2])) for week in weeks)
        print(f"x {factor} {name}: first in {first}, among the first two in {two} of {len(weeks)}")
        assert two >= LEAST.get((name, factor), 18), name


LEAST = {("F1", 0.5): 5}
"""Where fewer are promised: six blocks of a slip of one sigma are seldom seen before feedback answers."""
