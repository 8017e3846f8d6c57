"""Make `sample_runs/`: the files of the demonstration week, its sheet, its page and its answer key.

Run from the top of the repository: `python tests/make_sample_runs.py`. The same seed gives the same files;
a test compares what lies in the folder with what is made now.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import numpy as np

from cellmon.export.run_files import write_run
from cellmon.simulate.harrowmere import SEED, harrowmere_week
from cellmon.simulate.line import run
from cellmon.simulate.run import Planted, Run
from cellmon.simulate.sheet_text import sheet_text

HERE = Path(__file__).resolve().parent
FOLDER = HERE.parent / "sample_runs"
PAGE = HERE / "simulate" / "sample_runs_page.md"
MANY = 60
"""An incident that touches more blocks than this is told by its first and last only."""


def main(folder: Path = FOLDER) -> None:
    """Write everything into a folder; files of an earlier making are removed first."""
    (folder / "answers").mkdir(parents=True, exist_ok=True)
    for old in [*folder.glob("*"), *folder.glob("answers/*")]:
        if old.is_file():
            old.unlink()
    week = run(harrowmere_week(), seed=SEED)
    write_run(week, folder)
    (folder / "cell.toml").write_text(sheet_text(), encoding="utf-8")
    (folder / "README.md").write_text(page(week), encoding="utf-8")
    (folder / "answers" / "key.json").write_text(key_text(week), encoding="utf-8")


def key_text(week: Run) -> str:
    """Return the answer key as JSON: what was planted, when, in which parts and rows."""
    return json.dumps(key(week), indent=1, ensure_ascii=False) + "\n"


def key(week: Run) -> dict[str, Any]:
    outside = (week.truth.um.max(axis=(2, 3)) > 24) | (week.truth.um.min(axis=(2, 3)) < 0)
    where = np.argwhere(outside)
    return {
        "seed": week.seed,
        "blocks": len(week.truth.parts),
        "first_part": week.truth.parts[0],
        "last_part": week.truth.parts[-1],
        "bores_truly_outside_size": [
            {"part": week.truth.parts[block], "bore": week.scenario.bores.names[bore]}
            for block, bore in where
        ],
        "planted": [_entry(p) for p in week.truth.planted],
    }


def _entry(planted: Planted) -> dict[str, Any]:
    parts = list(planted.parts)
    return {
        "name": planted.name,
        "group": planted.group,
        "what": planted.what,
        "starts": _utc(planted.starts),
        "ends": _utc(planted.ends),
        "blocks": len(parts),
        "first_part": parts[0] if parts else None,
        "last_part": parts[-1] if parts else None,
        "parts": parts if len(parts) <= MANY else None,
        "rows": list(planted.rows),
    }


def _utc(at: np.datetime64) -> str:
    return str(at.astype("datetime64[s]")) + "+00:00"


def page(week: Run) -> str:
    """Return the page that says how each file was made, with this run's own figures in it."""
    facts = {p.name.replace("-", "_"): len(p.parts) or len(p.rows) for p in week.truth.planted}
    key_ = key(week)
    sizes = np.nanmean(week.readings.um.reshape(-1, 4, 6), axis=(0, 2))
    automatic = week.events.by == "machine"
    return PAGE.read_text(encoding="utf-8").format(
        seed=week.seed,
        blocks=f"{key_['blocks']:,}",
        bores=f"{len(week.readings):,}",
        readings=f"{int(np.isfinite(week.readings.um).sum()):,}",
        means=", ".join(f"{mean:.1f}" for mean in sizes),
        outside=len(key_["bores_truly_outside_size"]),
        corrections=int(automatic.sum()),
        first=key_["first_part"],
        last=key_["last_part"],
        empty=len(week.truth.of("empty-cells").rows),
        dirt=len(week.truth.of("dirt").rows),
        **{name: facts[name] for name in ("F1", "F2", "F3", "F4", "F5", "F6", "F7", "reroute")},
    )


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER)
