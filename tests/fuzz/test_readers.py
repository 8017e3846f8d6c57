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


def fuzz(target: str, folder: Path, *, runs: int, seed: int) -> str:
    """Fuzz one reader from the kept corpus on; return what libFuzzer says of it."""
    found = folder / "found"
    with zipfile.ZipFile(CORPUS / f"{target}-found.zip") as kept:
        kept.extractall(found)
    options = {
        "runs": runs,
        "seed": seed,
        "timeout": LONGEST_S,
        "rss_limit_mb": MOST_MB,
        "max_len": MOST_BYTES,
    }
    command = [sys.executable, "-m", "tests.fuzz.readers", target, str(found), str(CORPUS / target)]
    ended = subprocess.run(
        [*command, *(f"-{name}={value}" for name, value in options.items())],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        errors="replace",
        check=False,
    )
    assert ended.returncode == 0, ended.stderr[-4000:]
    return ended.stderr


@pytest.mark.parametrize("target", TARGETS)
def test_what_was_found_and_what_is_made_of_it_is_read_or_refused(target, tmp_path):
    said = fuzz(target, tmp_path, runs=SHORT, seed=5)
    assert int(re.findall(r"Done (\d+) runs", said)[-1]) >= SHORT


@pytest.mark.slow
@pytest.mark.parametrize("target", TARGETS)
def test_a_long_run_finds_nothing_new_that_breaks(target, tmp_path):
    said = fuzz(target, tmp_path, runs=LONG, seed=97)
    done, seconds = re.findall(r"Done (\d+) runs in (\d+) second", said)[-1]
    memory = re.findall(r"rss: (\d+)Mb", said)[-1]
    print(f"\n{target}: {done} inputs in {seconds} s, at most {memory} MB")
    assert int(done) >= LONG
