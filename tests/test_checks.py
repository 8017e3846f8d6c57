"""The checks that one command runs with the tests: ruff, and strict mypy on the program."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent


def run(*command: str) -> None:
    done = subprocess.run(
        [sys.executable, "-m", *command], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr


def test_ruff_finds_nothing():
    run("ruff", "check", ".")


def test_every_file_is_formatted():
    run("ruff", "format", "--check", ".")


def test_mypy_finds_nothing():
    once = ["--cache-dir=/dev/null"] if os.environ.get("CI") else []  # nothing is kept where no run follows
    run("mypy", *once)
