"""How the benchmark measures: processor time, the least of some rounds, work and baseline by turns."""

from __future__ import annotations

import os
import platform
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib.metadata import version

Work = Callable[[], object]
ROUNDS = 5


@dataclass(frozen=True, kw_only=True)
class Row:
    """One line of the table."""

    work: str
    seconds: float
    """Of the processor, all threads."""
    against: str
    baseline: float
    wanted: str = "-"
    besides: str = ""
    """Said behind the measured time: memory, a second figure."""

    def line(self) -> str:
        """Return the line as docs/benchmarks.md carries it."""
        measured = told(self.seconds) + (f"; {self.besides}" if self.besides else "")
        ratio = self.seconds / self.baseline
        shown = f"{ratio:.2g}" if ratio < 10 else f"{ratio:.0f}"
        return (
            f"| {self.work} | {measured} | {self.against}, {told(self.baseline)} | {shown} | {self.wanted} |"
        )


def told(seconds: float) -> str:
    """Return a time with two digits."""
    if seconds >= 1:
        return f"{seconds:.1f} s"
    return f"{1000 * seconds:.2g} ms" if seconds < 0.0995 else f"{1000 * seconds:.0f} ms"


def spent(work: Work) -> float:
    """Return the processor's seconds of one go."""
    began = time.process_time()
    work()
    return time.process_time() - began


def by_turns(*works: Work, rounds: int = ROUNDS) -> list[float]:
    """Return the least time of each, measured by turns so that what else runs slows them alike."""
    found = [[spent(work) for work in works] for _ in range(rounds)]
    return [min(times) for times in zip(*found, strict=True)]


@dataclass(frozen=True, kw_only=True)
class Child:
    """What a whole command took."""

    seconds: float
    megabytes: float


def child(command: Sequence[str], *, rounds: int = 3) -> Child:
    """Run a command some times and return the least processor time and the most memory of it alone."""
    found = [_once(command) for _ in range(rounds)]
    return Child(seconds=min(c.seconds for c in found), megabytes=max(c.megabytes for c in found))


_ASIDE = """
import resource, subprocess, sys
ended = subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL).returncode
used = resource.getrusage(resource.RUSAGE_CHILDREN)
print(ended, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024)
"""
"""Started by a small process: a child's most memory begins with that of the one it was forked from."""


def _once(command: Sequence[str]) -> Child:
    env = os.environ | {"OPENBLAS_NUM_THREADS": "1"}
    aside = [sys.executable, "-c", _ASIDE, *command]
    told = subprocess.run(aside, check=True, capture_output=True, text=True, env=env).stdout
    ended, seconds, megabytes = (float(word) for word in told.split())
    if ended:
        raise SystemExit(f"{' '.join(command)} ended with {ended:.0f}")
    return Child(seconds=seconds, megabytes=megabytes)


def machine() -> str:
    """Return what this ran on, in a line."""
    model = next(
        (line.split(":")[1].strip() for line in _lines("/proc/cpuinfo") if line.startswith("model name")),
        platform.processor(),
    )
    names = ", ".join(f"{name} {version(name)}" for name in ("numpy", "scipy", "pandas", "pyarrow"))
    system = f"{os.cpu_count()} cores, {platform.system()}, Python {platform.python_version()}"
    return f"{model}, {system}, {names}; load {os.getloadavg()[0]:.1f} before it began"


def _lines(path: str) -> list[str]:
    if sys.platform != "linux":
        return []
    with open(path, encoding="utf-8") as file:
        return file.read().splitlines()
