"""Refusals: what the program says when it cannot do what was asked.

Each class carries the exit status its command ends with: 1 it failed, 2 wrong usage or sheet,
3 some rows set aside, 4 nothing in a file could be read. A coding slip raises a built-in instead.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


class CellmonError(Exception):
    """Something a person must hear in one sentence."""

    exit_status = 1


class NotEnoughData(CellmonError, ValueError):
    """Fewer readings than the statistic can stand on."""

    def __init__(self, what: str, *, need: int, got: int) -> None:
        super().__init__(f"{what}: need at least {need}, got {got}")
        self.need, self.got = need, got


class GapInReadings(CellmonError, ValueError):
    """A reading that should be a number is missing or infinite."""

    def __init__(self, what: str, *, position: int) -> None:
        super().__init__(f"{what}: the reading at position {position} is not a finite number")
        self.position = position


class NoSpread(CellmonError, ValueError):
    """Readings that are all the same say nothing about spread."""

    def __init__(self, what: str) -> None:
        super().__init__(f"{what}: the readings do not differ at all; the gauge may be too coarse")


@dataclass(frozen=True, kw_only=True)
class Mistake:
    """One thing wrong in a cell sheet."""

    key: str
    found: str
    expected: str

    def __str__(self) -> str:
        return f"{self.key}: found {self.found}, expected {self.expected}"


class SheetRefused(CellmonError, ValueError):
    """A cell sheet with mistakes; all of them at once."""

    exit_status = 2

    def __init__(self, mistakes: Sequence[Mistake], *, where: str = "the cell sheet") -> None:
        self.mistakes = tuple(mistakes)
        count = len(self.mistakes)
        head = f"{where} has {count} mistake{'s' if count != 1 else ''}"
        super().__init__("\n  ".join([head, *map(str, self.mistakes)]))


class WrongUsage(CellmonError, ValueError):
    """A command, option or name that does not exist here."""

    exit_status = 2


class NotFound(CellmonError, LookupError):
    """A part, stream, signal or file that the cell does not know."""


class FileUnreadable(CellmonError, ValueError):
    """A file in which nothing could be read."""

    exit_status = 4

    def __init__(self, file: str, why: str) -> None:
        super().__init__(f"{file}: {why}")
        self.file, self.why = file, why


class NotByTheStandard(CellmonError, ValueError):
    """A file made for others that does not hold against its standard; it was not left behind."""

    def __init__(self, what: str, faults: Sequence[str]) -> None:
        self.faults = tuple(faults)
        more = f"; and {len(self.faults) - 3:,} more" if len(self.faults) > 3 else ""
        super().__init__(f"{what}: {'; '.join(self.faults[:3])}{more}. Nothing was written.")


class StoreRefused(CellmonError, RuntimeError):
    """The store cannot be opened, written or understood."""
