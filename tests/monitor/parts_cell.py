"""A cell of two spindles that hones three parts in turn, two of them alike, and the rows it might send."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

NAME = "small liners"
PARTS_SHEET = """
[cell]
name = "Several parts"
timezone = "Europe/Berlin"
[[parts]]
number = "A"
bores = ["1", "2", "3"]
length_mm = 100.0
{like}
[parts.features.diameter]
nominal = 50.0
lower = 49.990
upper = 50.014
[parts.features.taper]
lower = -8.0
upper = 8.0
[[parts]]
number = "B"
bores = ["1", "2", "3"]
length_mm = 100.0
{like}
[parts.features.diameter]
nominal = 60.0
lower = 59.985
upper = 60.019
[parts.features.taper]
lower = -8.0
upper = 8.0
[[parts]]
number = "C"
bores = ["1"]
length_mm = 100.0
[parts.features.diameter]
nominal = 40.0
lower = 39.990
upper = 40.010
[measuring]
gauge = "G1"
planes = { top = 10.0, bottom = 90.0 }
directions = { x = 0, y = 90 }
uncertainty_common_um = 0.3
uncertainty_reading_um = 0.3
[subgroups]
size = 5
within = ["shift", "stone_set", "dressing", "fixture"]
[[shifts]]
name = "early"
starts = "06:00"
[[shifts]]
name = "late"
starts = "14:00"
[[shifts]]
name = "night"
starts = "22:00"
[[spindles]]
id = "S1"
bores = ["1", "2"]
[[spindles]]
id = "S2"
bores = ["3"]
[checks]
as_found_limit_um = 1.0
first_bores = 3
[planning]
bores_per_shift = { S1 = 96, S2 = 48 }
[store]
url = "{url}"
"""
PARTS_HEADER = (
    "part,part_number,bore,spindle,measured_at,stone_set,fixture,cycle_s,top_x,top_y,bottom_x,bottom_y"
)
NOMINALS = {"A": 50.0, "B": 60.0, "C": 40.0}
BORES = {"A": "123", "B": "123", "C": "1"}
SPINDLES = {"1": "S1", "2": "S1", "3": "S2"}
FIRST = np.datetime64("2026-03-02T05:00:00")
BLOCK = np.timedelta64(10, "m")
PLAN = (("A", 25), ("B", 20), ("A", 15), ("C", 10), ("B", 22), ("A", 31), ("B", 12))
LEVEL = 2.0
"""Micrometres from each nominal."""


def parts_sheet(*, like: bool) -> str:
    """Return the sheet; A and B as like parts, or each on its own."""
    return PARTS_SHEET.replace("{like}", f'like = "{NAME}"' if like else "")


def parts_rows(
    plan: Sequence[tuple[str, int]] = PLAN,
    *,
    seed: int = 4,
    sd: float = 1.2,
    offset: Mapping[str, float] | None = None,
    wider: Mapping[str, float] | None = None,
    step_at: int | None = None,
    step_um: float = 5.0,
    fixtures: int = 1,
    set_changed_at: int | None = None,
) -> list[str]:
    """Return rows of bores: runs of so many blocks of a part; from `step_at` on S1 hones larger."""
    rng = np.random.default_rng(seed)
    numbers = [part for part, blocks in plan for _ in range(blocks)]
    found = []
    for block, part in enumerate(numbers):
        for bore in BORES[part]:
            um = LEVEL + (offset or {}).get(part, 0.0) + rng.normal(0, sd * (wider or {}).get(part, 1.0))
            um = um + rng.normal(0, 0.3, 4)
            if step_at is not None and block >= step_at and SPINDLES[bore] == "S1":
                um = um + step_um
            cells = ",".join(f"{NOMINALS[part] + one / 1000:.4f}" for one in um)
            stones = "N2" if set_changed_at is not None and block >= set_changed_at else "N1"
            at, clamp = FIRST + BLOCK * block, f"F{block % fixtures}"
            found.append(
                f"X{block:05d},{part},{bore},{SPINDLES[bore]},{at}Z,{stones},{clamp},{NOMINALS[part]},{cells}"
            )
    return found
