"""Twenty weeks of the demonstration cell with other seeds, other fault times and other sizes."""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

import cellmon
from cellmon.export.dialect_files import Columns, Dialect, columns_of, write_table
from cellmon.export.reading_tables import place_decimals
from cellmon.export.run_files import PARQUET
from cellmon.simulate import incidents as plant
from cellmon.simulate.clock import run_clock
from cellmon.simulate.harrowmere import MONDAY, harrowmere_week
from cellmon.simulate.incidents import Incident
from cellmon.simulate.line import run
from cellmon.simulate.moments import utc
from cellmon.simulate.run import Run
from cellmon.simulate.scenario import Scenario
from cellmon.simulate.sheet_text import sheet_text
from cellmon.simulate.sources import Sources
from tests.monitor.detection.truth import LEVEL, PROCESS, SPREAD, Fault, Scope, Truth, Window

WEEKS = 20
SIZES = (0.5, 1.0, 2.0)
SCALABLE = ("F1", "F2", "F3", "F4", "F7")
"""F2's spread and ripple keep their size, its groove does not; F5 and F6 have no size."""
FAULTS = ("F1", "F2", "F3", "F4", "F5", "F6", "F7")
EARLIEST = MONDAY + timedelta(hours=14)
"""100 quiet subgroups of the limits come first."""
LATEST = datetime(2026, 10, 25)
"""Nothing falls on Sunday."""
F2_LATEST = datetime(2026, 10, 22, 22)
"""Later the set that chips would have been worn out, and changed, before."""
BETWEEN = timedelta(minutes=75)
"""From the end of one fault to the start of the next, so that each can be told from the other."""
LEAST_BLOCKS = {"F1": 30, "F2": 20, "F3": 40, "F4": 15, "F5": 40, "F6": 300, "F7": 80}
"""A window that falls in a stop of the line is drawn again."""
MINUTE = np.timedelta64(1, "m")
TAILS = {"F1": 60, "F2": 15, "F3": 20, "F4": 60, "F5": 15, "F6": 20, "F7": 20}
"""Minutes; after F1 and F4 the feedback has to find its level again."""
CHIP_MOVES = ("taper", "barrel", "diameter", "ovality", "size_range", "roundness", "load_ripple_pct")
SCOPES = {
    "F1": Scope(
        spindles=("S1", "S2"),
        bores=("1", "2", "3", "4"),
        features={"diameter": LEVEL},
        own_kinds=("gauge",),
        everything=True,
    ),
    "F2": Scope(
        spindles=("S2",),
        bores=("3", "4"),
        features=dict.fromkeys(CHIP_MOVES, ()),
    ),
    "F3": Scope(
        spindles=("S1",),
        bores=("1",),
        features={"ovality": LEVEL, "roundness": LEVEL, "size_range": LEVEL},
        whole_spindle=False,
        fixtures=("P2",),
    ),
    "F4": Scope(spindles=("S1",), bores=("1", "2"), features={"diameter": LEVEL, "feed_um": LEVEL}),
    "F5": Scope(spindles=(), bores=(), features={}, own_kinds=("routing",)),
    "F6": Scope(
        spindles=("S1",),
        bores=("1", "2"),
        features={"diameter": SPREAD, "Rpk": (), "Rk": (), **dict.fromkeys(PROCESS, ())},
    ),
    "F7": Scope(spindles=("S2",), bores=("3", "4"), features={"roundness_trace": (), "cylindricity": ()}),
}
CAUSES = {
    "F1": ("gauge-zero",),
    "F2": ("chipped-stone",),
    "F3": ("clamp-strain",),
    "F4": ("wrong-offset",),
    "F5": ("exchanged-spindles",),
    "F6": ("missed-dressing", "glazing"),
    "F7": ("three-lobes",),
}


@dataclass(frozen=True, kw_only=True, eq=False)
class Week:
    """A week laid down in a cell folder and taken, with what is true of it."""

    number: int
    folder: Path
    run: Run
    truth: Truth
    sizes: dict[str, float]
    made_s: float
    taken_s: float


def varied_week(i: int) -> tuple[Scenario, int]:
    """Return week `i` of the twenty and the seed of its run; the same `i` gives the same week.

    F1 still ends at a check on the master, F6 begins shortly before a dressing is due, and an audit of
    roundness falls into F7, as in the demonstration; without these they leave no trace of that kind.
    """
    random = np.random.default_rng([20_261_019, i])
    seed = 5000 + i
    sized = harrowmere_week()
    for name, factor in sizes_of(i).items():
        sized = sized.scaled(name, factor)
    for _ in range(500):
        placed = _placed(sized, random)
        if placed is not None and _all_leave_a_trace(placed, seed):
            return placed, seed
    raise RuntimeError(f"no place was found for the faults of week {i}")


def sizes_of(i: int) -> dict[str, float]:
    """Return by what each scalable fault of week `i` is multiplied."""
    random = np.random.default_rng([20_261_020, i])
    return {name: float(random.choice(SIZES)) for name in SCALABLE}


def _placed(sized: Scenario, random: np.random.Generator) -> Scenario | None:
    """Move every fault to a free time; None where they got into each other's way."""
    taken = list(_kept_free(sized))
    found = sized
    for name in ("F3", "F7", "F1", "F5", "F2", "F4"):
        there = found.incident(name)
        for _ in range(40):
            moved = there.moved(_random_move(name, there, random))
            if _is_free(name, moved, taken):
                break
        else:
            return None
        taken.append(_span(moved))
        found = found.changed(moved)
    return _with_missed_dressing(found, taken, random)


def _kept_free(scenario: Scenario) -> Iterator[tuple[datetime, datetime]]:
    for change in scenario.stones.changes:
        yield change.starts, change.back_at + timedelta(minutes=30)
    for reroute in scenario.every(plant.Reroute):
        yield reroute.starts, reroute.ends


def _random_move(name: str, there: Incident, random: np.random.Generator) -> timedelta:
    if name == "F1":  # the masters are read every three hours, and that ends it
        return timedelta(hours=3 * int(random.integers(-10, 40)))
    if name == "F7":  # roundness is audited in the middle of each shift
        return timedelta(hours=8 * int(random.integers(-12, 3)), minutes=int(random.integers(-90, 46)))
    at = EARLIEST + (LATEST - EARLIEST) * float(random.random())
    return timedelta(minutes=round((at - there.starts) / timedelta(minutes=1)))


def _span(incident: Incident) -> tuple[datetime, datetime]:
    """Return the window with everything that belongs to it: automatic mode again, another set fitted."""
    last = max(getattr(incident, name, incident.ends) for name in ("ends", "automatic_again", "back_at"))
    if isinstance(incident, plant.ChippedStone):
        last += timedelta(minutes=30)  # the new set breaks in
    return incident.starts, last


def _is_free(name: str, incident: Incident, taken: list[tuple[datetime, datetime]]) -> bool:
    starts, ends = _span(incident)
    if starts < EARLIEST or ends + BETWEEN > (F2_LATEST if name == "F2" else LATEST):
        return False
    return all(ends + BETWEEN <= a or b + BETWEEN <= starts for a, b in taken)


def _with_missed_dressing(
    scenario: Scenario, taken: list[tuple[datetime, datetime]], random: np.random.Generator
) -> Scenario | None:
    """Move F6 so that it begins up to 40 minutes before a dressing of its spindle that is due."""
    f6 = scenario.incident("F6")
    assert isinstance(f6, plant.MissedDressing)
    clock = run_clock(scenario.without("F6"), sources=Sources(seed=0))
    first = utc(f6.starts, scenario.zone)
    spindle = scenario.spindles.index(f6.spindle)
    due = [clock.start + np.timedelta64(d.at_s, "s") for d in clock.dressings if d.spindle == spindle]
    for i in random.permutation(len(due)):
        early = int(random.integers(5, 41))
        by = (due[i] - first) / MINUTE - early
        moved = f6.moved(timedelta(minutes=round(float(by))))
        if _is_free("F6", moved, taken):
            return scenario.changed(moved)
    return None


def _all_leave_a_trace(scenario: Scenario, seed: int) -> bool:
    made = run(scenario, seed=seed)
    if any(len(made.truth.of(name).parts) < LEAST_BLOCKS[name] for name in FAULTS):
        return False
    return _audited(made) > 0


def _audited(made: Run) -> int:
    """Return how many bores with three lobes the roundness instrument measured."""
    lobed = made.truth.of("F7")
    c = made.characteristics
    chosen = (c.characteristic == "roundness_trace") & np.isin(c.part, np.array(lobed.parts, dtype=object))
    return int((chosen & np.isin(c.bore, ["3", "4"])).sum())


def write_week(i: int, folder: Path, *, freeze: bool = True) -> Week:
    """Lay week `i` down in a folder as a cell, take it, freeze limits as the demonstration does.

    Only what bears on detection is written: the station's readings in one Parquet file, the log, the
    checks on masters, the audits of roundness and texture, findings, the stone sets.
    """
    began = time.perf_counter()
    scenario, seed = varied_week(i)
    made = run(scenario, seed=seed)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "cell.toml").write_text(sheet_text(), encoding="utf-8")
    paths = write_files(made, folder)
    written = time.perf_counter()
    monitor = cellmon.open_cell(folder)
    monitor.take(paths)
    if freeze:
        monitor.freeze(by="harness", why="the first quiet subgroups of the week")
    monitor.close()
    return Week(
        number=i,
        folder=folder,
        run=made,
        truth=week_truth(made, sizes_of(i)),
        sizes=sizes_of(i),
        made_s=written - began,
        taken_s=time.perf_counter() - written,
    )


def write_files(made: Run, folder: Path) -> list[Path]:
    """Write the files that bear on detection, logs first, and return their paths in order of taking."""
    plain = Dialect(zone=made.scenario.zone, decimals=place_decimals(made.readings))
    masters = Dialect(zone=made.scenario.zone, decimals={"master_mm": 4, "reading_mm": 4, "temp_c": 1})
    files: dict[str, tuple[Columns, Dialect]] = {
        "stone-sets.csv": (columns_of(made.stone_sets), plain),
        "cell-log.csv": (columns_of(made.events), plain),
        "master-checks.csv": (columns_of(made.gauge_checks), masters),
        "roundness-and-texture.jsonl": (columns_of(made.characteristics), plain),
        "findings.csv": (columns_of(made.findings), plain),
        "station.parquet": (PARQUET.write(made.readings), plain),
    }
    for name, (columns, dialect) in files.items():
        write_table(columns, folder / name, dialect=dialect)
    return [folder / name for name in files]


def week_truth(made: Run, sizes: dict[str, float]) -> Truth:
    """Return what a score needs to know of a run."""
    bores = len(made.scenario.bores.names)
    dirt = made.truth.of("dirt").rows
    return Truth(
        parts=made.truth.parts,
        measured_at=made.readings.measured_at[::bores],
        faults=tuple(_fault(made, name, sizes.get(name, 1.0)) for name in FAULTS),
        decoys=tuple(decoy_windows(made)),
        dirty=frozenset((str(row["part"]), str(row["bore"])) for row in dirt),
        fixture_of=made.readings.fixture[::bores],
        bores=bores,
    )


def _fault(made: Run, name: str, size: float) -> Fault:
    planted = made.truth.of(name)
    starts = planted.starts
    if name == "F6":  # until the dressing is due nothing is missed
        starts = made.truth.times[made.truth.parts == planted.parts[0]][0]
    return Fault(
        name=name,
        starts=starts,
        ends=_really_ends(made, name),
        tail=TAILS[name] * MINUTE,
        parts=planted.parts,
        scope=SCOPES[name],
        causes=CAUSES[name],
        size=size,
    )


def _really_ends(made: Run, name: str) -> np.datetime64:
    """Return when a fault is over: with F4, when the gauge may correct again."""
    incident = made.scenario.incident(name)
    last = incident.automatic_again if isinstance(incident, plant.WrongOffset) else incident.ends
    return utc(last, made.scenario.zone)


def decoy_windows(made: Run) -> Iterator[Window]:
    """Yield the stretches in which something harmless looks like a fault, UTC."""
    zone = made.scenario.zone
    for decoy in made.scenario.decoys:
        starts, ends = utc(decoy.starts, zone), utc(decoy.ends, zone)
        if isinstance(decoy, plant.BreakIn):
            fitted = made.events.at[(made.events.event == "stones-fitted") & (made.events.at >= starts)]
            length = decoy.blocks * made.scenario.cycle_s * np.timedelta64(1, "s")
            for at in fitted:
                yield Window(name=decoy.name, starts=at, ends=at + length + 12 * MINUTE)
        elif isinstance(decoy, plant.OpenDoor):
            for day in range(1, 6):  # every day but Monday
                at = utc(decoy.starts + timedelta(days=day), zone)
                half = round(2 * decoy.minutes) * MINUTE
                yield Window(name=decoy.name, starts=at - half, ends=at + half)
        else:
            yield Window(name=decoy.name, starts=starts, ends=ends + 12 * MINUTE)
