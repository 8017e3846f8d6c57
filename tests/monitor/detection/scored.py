"""What a score consists of: every signal and what it was, every fault and how it was found."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

FAULT, ECHO, DECOY, DIRT, FALSE = "fault", "echo", "decoy", "dirt", "false"


@dataclass(frozen=True, kw_only=True)
class Judged:
    """One signal and what it was: the fault it found, or why it was raised all the same.

    `what` is fault; echo (in a fault's window, on a stream that it does not move, or named for
    another); decoy; dirt; or false.
    """

    signal: Any
    raised: np.datetime64
    what: str
    of: str | None = None


@dataclass(frozen=True, kw_only=True)
class FaultScore:
    """How one fault was found; None where it was not, or where the answer does not say.

    Delays count blocks from the first it touched to the one at which the signal was raised, both in.
    """

    name: str
    size: float
    found: bool
    asked: bool = True
    """Whether a row of the cause table is known to be right."""
    signals: int = 0
    kind: str | None = None
    stream: str | None = None
    delay_blocks: int | None = None
    rank: int | None = None
    """Place of the right cause in the first signal that names any; 0 where it is missing there."""
    best_rank: int | None = None
    """The same over all signals of the fault, the best of them."""
    named: str | None = None
    """The cause that the first signal puts first."""
    change_off_blocks: int | None = None
    """Dated change less the true first block: positive is too late."""
    inside_interval: bool | None = None
    covered: float | None = None
    """Share of the touched blocks that stand on the hold list of the first signal."""
    covered_by_all: float | None = None
    """The same, on the lists of all signals of the fault together."""
    length: float | None = None
    """Blocks held up to the signal, over those touched or made on that stream from the true start."""

    @property
    def named_first(self) -> bool:
        """Say whether the right cause stands first."""
        return self.rank == 1

    @property
    def named_among_two(self) -> bool:
        """Say whether the right cause stands first or second."""
        return self.rank in (1, 2)


@dataclass(frozen=True, kw_only=True)
class Score:
    """All that one cell scored."""

    name: str
    faults: tuple[FaultScore, ...]
    judged: tuple[Judged, ...]
    withdrawn: int
    promised: float
    weeks: float
    answer_s: float

    def count(self, what: str) -> int:
        """Return how many signals were of a sort."""
        return sum(j.what == what for j in self.judged)

    @property
    def all_found(self) -> bool:
        """Say whether every fault was found."""
        return all(f.found for f in self.faults)

    @property
    def all_named(self) -> bool:
        """Say whether every fault was found and its cause stands first or second."""
        return self.all_found and all(f.named_among_two for f in self.faults if f.asked)


def causes_of(signal: Any) -> list[str]:
    """Return the causes that a signal gives, likeliest first."""
    given = getattr(signal, "causes", ())
    return [str(entry["cause"] if isinstance(entry, dict) else entry.cause) for entry in given]
