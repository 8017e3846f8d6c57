"""Every reader against inputs made to break it: no crash, no hang, bounded memory, every row accounted for.

What earlier runs found is kept in `corpus/` and read anew each time. A short run looks on from there; the
long one (`pytest -m slow -s tests/fuzz`) makes 200,000 inputs (figures in docs/robustness.md).
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent.parent
CORPUS = Path(__file__).parent / "corpus"
TARGETS = ("table", "sheet", "catalogue", "message", "posted")
SHORT, LONG = 500, 40_000
LONGEST_S, MOST_MB, MOST_BYTES = 20, 2048, 4096


def fuzz(folder: Path, *, runs: int, seed: int) -> dict[str, str]:
    """Fuzz every reader from the kept corpus on; return what libFuzzer says of each."""
    for target in TARGETS:
        with zipfile.ZipFile(CORPUS / f"{target}-found.zip") as kept:
            kept.extractall(folder / target)
    options = {
        "runs": runs,
        "seed": seed,
        "timeout": LONGEST_S,
        "rss_limit_mb": MOST_MB,
        "max_len": MOST_BYTES,
    }
    command = [sys.executable, "-m", "tests.fuzz.readers", ",".join(TARGETS), str(folder), str(CORPUS)]
    ended = subprocess.run(
        [*command, *(f"-{name}={value}" for name, value in options.items())],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        errors="replace",
        check=False,
    )
    said = {
        target: (folder / f"{target}.txt").read_text(encoding="utf-8", errors="replace")
        for target in TARGETS
        if (folder / f"{target}.txt").exists()
    }
    assert ended.returncode == 0, ended.stderr[-4000:] + "".join(words[-4000:] for words in said.values())
    return said


@pytest.fixture(scope="module")
def short_run(tmp_path_factory) -> dict[str, str]:
    return fuzz(tmp_path_factory.mktemp("short"), runs=SHORT, seed=5)


@pytest.fixture(scope="module")
def long_run(tmp_path_factory) -> dict[str, str]:
    return fuzz(tmp_path_factory.mktemp("long"), runs=LONG, seed=97)


@pytest.mark.parametrize("target", TARGETS)
def test_what_was_found_and_what_is_made_of_it_is_read_or_refused(target, short_run):
    assert int(re.findall(r"Done (\d+) runs", short_run[target])[-1]) >= SHORT


@pytest.mark.slow
@pytest.mark.parametrize("target", TARGETS)
def test_a_long_run_finds_nothing_new_that_breaks(target, long_run):
    said = long_run[target]
    done, seconds = re.findall(r"Done (\d+) runs in (\d+) second", said)[-1]
    memory = re.findall(r"rss: (\d+)Mb", said)[-1]
    print(f"\n{target}: {done} inputs in {seconds} s, at most {memory} MB")
    assert int(done) >= LONG
