"""A small cell of two spindles with one bore each, and the files it might send."""

from __future__ import annotations

import hashlib
import random
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np

import cellmon
from cellmon.judged import Subgroups
from cellmon.monitor import Monitor
from cellmon.monitor.check import fingerprint
from cellmon.store import Store

SHEET = """
[cell]
name = "Small cell"
timezone = "Europe/Berlin"
[part]
number = "P-1"
bores = ["1", "2"]
length_mm = 100.0
[features.diameter]
nominal = 50.0
lower = 49.990
upper = 50.010
[features.taper]
lower = -8.0
upper = 8.0
[measuring]
planes = { top = 10.0, bottom = 90.0 }
directions = { x = 0, y = 90 }
uncertainty_common_um = 0.3
uncertainty_reading_um = 0.3
[subgroups]
size = 3
[[shifts]]
name = "day"
starts = "06:00"
[[shifts]]
name = "night"
starts = "18:00"
[[spindles]]
id = "S1"
bores = ["1"]
[[spindles]]
id = "S2"
bores = ["2"]
[checks]
as_found_limit_um = 1.0
[store]
url = "{url}"
"""
HEADER = "part,bore,spindle,measured_at,plane,direction,diameter"
EVENTS = "at,event,spindle,stone_set,value"
CHECKS = "at,gauge,master_mm,reading_mm,state"


IN_FILE = "sqlite:///cell.db"


@cache
def empty_store() -> bytes:
    """Return the file of a store with nothing in it: making its tables takes longer than a small test."""
    with TemporaryDirectory() as folder:
        Store(IN_FILE, folder=Path(folder), at=0).close()
        return (Path(folder) / "cell.db").read_bytes()


def new_cell(folder: Path, *, url: str = IN_FILE, sheet: str = SHEET) -> Monitor:
    """Make a cell folder and open it."""
    folder.mkdir(parents=True, exist_ok=True)
    if url == IN_FILE and not (folder / "cell.db").exists():
        (folder / "cell.db").write_bytes(empty_store())
    (folder / "cell.toml").write_text(sheet.replace("{url}", url), encoding="utf-8")
    return cellmon.open_cell(folder)


def rows(blocks: int = 110, *, seed: int = 7, minutes: int = 10, jump_at: int | None = None) -> list[str]:
    """Return rows of readings, one a line: `blocks` blocks of two bores with two planes and directions."""
    rng = np.random.default_rng(seed)
    start = np.datetime64("2026-03-02T05:00:00")
    found = []
    for block in range(blocks):
        at = start + np.timedelta64(minutes, "m") * block
        for bore in ("1", "2"):
            level = rng.normal(0.0, 1.5) + (9.0 if jump_at is not None and block >= jump_at else 0.0)
            for plane in ("top", "bottom"):
                for direction in ("x", "y"):
                    um = round(level + rng.normal(0, 0.4), 1)
                    size = f"{50 + um / 1000:.4f}"
                    found.append(f"B{block:04d},{bore},S{bore},{at}Z,{plane},{direction},{size}")
    return found


def events() -> list[str]:
    """Return cell events: a set each, a dressing, a change of stones."""
    return [
        "2026-03-02T03:00:00Z,stones-fitted,S1,A1,0",
        "2026-03-02T03:00:00Z,stones-fitted,S2,A2,100",
        "2026-03-02T10:03:00Z,stones-dressed,S1,,",
        "2026-03-02T14:00:00Z,stones-fitted,S2,A3,0",
    ]


def checks() -> list[str]:
    """Return master checks, one of them off."""
    return [
        "2026-03-02T05:00:00Z,G1,50.0000,50.0002,as-found",
        "2026-03-02T09:00:00Z,G1,50.0000,50.0031,as-found",
        "2026-03-02T09:05:00Z,G1,50.0000,50.0001,as-left",
        "2026-03-02T15:00:00Z,G1,50.0000,49.9998,as-found",
    ]


def write(folder: Path, name: str, header: str, lines: Sequence[str]) -> Path:
    """Write a file of rows."""
    path = folder / name
    path.write_text("\n".join([header, *lines]) + "\n", encoding="utf-8")
    return path


def batches(
    lines: Sequence[str], *, shuffle: random.Random, pieces: int, repeats: int
) -> Iterator[list[str]]:
    """Yield the lines shuffled, cut into pieces, some of them given twice."""
    mixed = list(lines)
    shuffle.shuffle(mixed)
    cuts = sorted(shuffle.sample(range(1, len(mixed)), k=min(pieces - 1, len(mixed) - 1)))
    parts = [mixed[a:b] for a, b in zip([0, *cuts], [*cuts, len(mixed)], strict=True)]
    yield from [*parts, *shuffle.sample(parts, k=min(repeats, len(parts)))]


def derived(monitor: Monitor) -> dict[str, str]:
    """Return a hash of each derived table, and of where the detectors stand."""
    with monitor._store.reading() as session:
        found = fingerprint(session)
        units = session.units_judged()
        for name, of in (("together", session.subgroups_of_unit), ("watched", session.watched_at)):
            found[name] = hashlib.sha256(b"".join(_bytes(of(unit)) for unit in units)).hexdigest()
        found["units"] = str([units.tolist(), session.units_watched().tolist()])
    return found


def _bytes(what: Subgroups | bytes | None) -> bytes:
    """Return the rows of a batch in an order of their own, or a block as it is."""
    if not isinstance(what, Subgroups):
        return what or b"nothing"
    columns = [getattr(what, c.name).astype(str) for c in what.columns()]
    return "\n".join(sorted("|".join(row) for row in zip(*columns, strict=True))).encode()


def told(monitor: Monitor) -> list[dict[str, Any]]:
    """Return the standing signals in all that is said of them, and their hold lists.

    Without their names, which tell how they were first announced, and the decisions that the lists know.
    """
    found = []
    for s in monitor.signals().signals:
        if s.state != "withdrawn":
            held = asdict(monitor.hold(s.id))
            found.append({**asdict(s), "hold": {**held, "signal": None, "decided": None}, "id": None})
    return sorted(found, key=lambda s: (s["raised_at"], str(s["stream"]), s["kind"]))


def answers(monitor: Monitor) -> dict[str, Any]:
    """Return what a person is shown that must not depend on the order in which rows came."""
    return {
        "derived": derived(monitor),
        "signals": told(monitor),
        "state": asdict(monitor.state()),
    }
