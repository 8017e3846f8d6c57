"""A cell in which everything happens at once, for the tests that ask whether order matters."""

from __future__ import annotations

import numpy as np

from tests.small_cell import SHEET

SHIFTS = "".join(
    f'[[shifts]]\nname = "s{hour:02d}"\nstarts = "{hour:02d}:00"\n' for hour in (2, 5, 8, 11, 14, 17, 20, 23)
)
BUSY_SHEET = (
    SHEET.split("[[shifts]]")[0] + SHIFTS + "[[spindles]]" + SHEET.split("[[spindles]]", maxsplit=1)[1]
)
"""Eight shifts a day, so that a few bores already fill many units of judging."""
BUSY_HEADER = (
    "part,bore,spindle,measured_at,honed_at,sequence,gauge,stone_set,fixture,top_x,top_y,bottom_x,bottom_y"
)
BUSY_EVENTS = "at,event,spindle,gauge,stone_set,value,by,bores"
BUSY_KINDS = (
    "stones-fitted",
    "stones-dressed",
    "stones-removed",
    "rerouted",
    "gauge-zeroed",
    "feed-offset",
    "setup-changed",
)
START = np.datetime64("2026-03-02T04:00:00")
MINUTE = np.timedelta64(1, "m")


def busy_rows(rng: np.random.Generator, blocks: int) -> list[str]:
    """Return bores, some measured again, unfinished, off their routing, in wild or exchanged figures.

    In the last tenth S1 hones 8 um larger.
    """
    found = []
    at = START
    numbered = rng.random() < 0.5
    for block in range(blocks):
        at = at + MINUTE * int(rng.choice([7, 11, 13, 90], p=[0.4, 0.3, 0.27, 0.03]))
        exchanged = blocks // 3 <= block < blocks // 3 + 12
        for bore in ("1", "2"):
            faulty = bore == "1" and block >= 0.9 * blocks
            number = block if numbered else None
            found.append(_bore(rng, block, bore, at, number=number, swap=exchanged, faulty=faulty))
            if rng.random() < 0.12:
                later = at + MINUTE * int(rng.choice([6, 200, 600]))
                found.append(_bore(rng, block, bore, later, number=None, swap=False, faulty=faulty))
    return found


def _bore(
    rng: np.random.Generator,
    block: int,
    bore: str,
    at: np.datetime64,
    *,
    number: int | None,
    swap: bool,
    faulty: bool,
) -> str:
    um = np.array([3.0, 1.0, -1.0, -3.0]) + rng.normal(0, 1.5) + rng.normal(0, 0.4, 4)
    if faulty:
        um = um + 8.0
    if swap:
        um = um[[2, 3, 0, 1]]
    if rng.random() < 0.03:
        um[rng.integers(4)] -= 25.0
    cells = [f"{50 + v / 1000:.4f}" for v in um]
    if rng.random() < 0.05:
        cells[rng.integers(4)] = ""
    spindle = f"S{bore}" if rng.random() > 0.03 else f"S{3 - int(bore)}"
    honed = f"{at - MINUTE * int(rng.choice([2, 3, 30], p=[0.5, 0.4, 0.1]))}Z" if rng.random() < 0.8 else ""
    sequence = "" if number is None else str(number + int(rng.choice([0, 2], p=[0.9, 0.1])))
    gauge = str(rng.choice(["G1", ""], p=[0.8, 0.2]))
    said = "A1" if rng.random() < 0.1 else ""
    head = [f"B{block:04d}", bore, spindle, f"{at}Z", honed, sequence, gauge, said, f"P{block % 2}"]
    return ",".join([*head, *cells])


def busy_events(rng: np.random.Generator, hours: float) -> list[str]:
    """Return fittings, removals, dressings, offsets, reroutes at any time, also just before shifts end."""
    found = []
    for i in range(int(rng.integers(4, 14))):
        at = START + MINUTE * int(rng.integers(-120, int(hours * 60)))
        if rng.random() < 0.4:  # just before the next shift edge
            at = at.astype("datetime64[h]").astype("datetime64[s]") + np.timedelta64(58, "m")
        spindle = str(rng.choice(["S1", "S2"]))
        kind = str(rng.choice(BUSY_KINDS))
        gauge = "G1" if kind == "gauge-zeroed" else ""
        said = f"A{i}" if kind == "stones-fitted" else ""
        bores = str(rng.choice(["1 2", ""])) if kind == "rerouted" else ""
        value = str(rng.choice([-6.0, -1.5, 2.0, 6.0])) if kind in ("feed-offset", "gauge-zeroed") else ""
        by = str(rng.choice(["machine", "A. Person"])) if kind == "feed-offset" else ""
        found.append(f"{at}Z,{kind},{'' if gauge else spindle},{gauge},{said},{value},{by},{bores}")
    return found


def busy_checks(rng: np.random.Generator, hours: float) -> list[str]:
    """Return master checks, some bad, with days between some."""
    found, at = [], START - MINUTE * 400
    while at < START + MINUTE * int(hours * 60):
        at = at + MINUTE * int(rng.choice([170, 600, 3500], p=[0.5, 0.3, 0.2]))
        off = float(rng.choice([0.1, 3.0, -2.0], p=[0.6, 0.2, 0.2]))
        found.append(f"{at}Z,G1,50.0000,{50 + off / 1000:.4f},as-found")
    return found
