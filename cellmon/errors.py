"""Refusals: what the program says when it cannot do what was asked.

Each class carries the exit status its command ends with: 1 it failed, 2 wrong usage or sheet,
3 some rows set aside, 4 nothing in a file could be read. A coding slip raises a built-in instead.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from cellmon import local
from cellmon.words import say, say_many, to_say


class CellmonError(Exception):
    """Something a person must hear in one sentence."""

    exit_status = 1


NOT_ENOUGH = to_say("{what}: need at least {need}, got {got}")
GAP = to_say("{what}: the reading at position {position} is not a finite number")
NO_SPREAD = to_say("{what}: the readings do not differ at all; the gauge may be too coarse")
OF_FIGURES = (NOT_ENOUGH, GAP, NO_SPREAD)
"""What is refused where a figure is asked for; kept in English beside figures that are kept."""


class NotEnoughData(CellmonError, ValueError):
    """Fewer readings than the statistic can stand on."""

    def __init__(self, what: str, *, need: int, got: int) -> None:
        super().__init__(say(NOT_ENOUGH, what=say(what), need=need, got=got))
        self.need, self.got = need, got


class GapInReadings(CellmonError, ValueError):
    """A reading that should be a number is missing or infinite."""

    def __init__(self, what: str, *, position: int) -> None:
        super().__init__(say(GAP, what=say(what), position=position))
        self.position = position


class NoSpread(CellmonError, ValueError):
    """Readings that are all the same say nothing about spread."""

    def __init__(self, what: str) -> None:
        super().__init__(say(NO_SPREAD, what=say(what)))


@dataclass(frozen=True, kw_only=True)
class Mistake:
    """One thing wrong in a cell sheet."""

    key: str
    found: str
    expected: str

    def __str__(self) -> str:
        return say(
            "{key}: found {found}, expected {expected}",
            key=self.key,
            found=self.found,
            expected=self.expected,
        )


class SheetRefused(CellmonError, ValueError):
    """A cell sheet with mistakes; all of them at once."""

    exit_status = 2

    def __init__(self, mistakes: Sequence[Mistake], *, where: str | None = None) -> None:
        self.mistakes = tuple(mistakes)
        head = say_many(
            "{where} has {count} mistake",
            "{where} has {count} mistakes",
            len(self.mistakes),
            where=where or say("the cell sheet"),
        )
        super().__init__("\n  ".join([head, *map(str, self.mistakes)]))


class WrongUsage(CellmonError, ValueError):
    """A command, option or name that does not exist here."""

    exit_status = 2


class DecidedAlready(WrongUsage):
    """Somebody decided the same thing, and who decides now did not know of it."""


class KeptBefore(CellmonError):
    """What is sent again was kept the first time; nothing was done twice."""


class NotFound(CellmonError, LookupError):
    """A part, stream, signal or file that the cell does not know."""


class NotSignedIn(CellmonError):
    """Nobody is signed in, or not with this name, password or code."""


class NotAllowed(CellmonError):
    """Whoever is signed in may not do this."""


class FileUnreadable(CellmonError, ValueError):
    """A file in which nothing could be read."""

    exit_status = 4

    def __init__(self, file: str, why: str) -> None:
        super().__init__(f"{file}: {why}")
        self.file, self.why = file, why


class KindInDoubt(FileUnreadable):
    """A file whose header fits several kinds; a person says which."""

    def __init__(self, file: str, kinds: Sequence[str]) -> None:
        either = say(" or ").join(kinds)
        super().__init__(file, say("could be {either}; say which with --kind", either=either))
        self.kinds = tuple(kinds)


class RowStillRefused(CellmonError, ValueError):
    """A row set aside that cannot be used as it was corrected either; nothing was taken."""

    exit_status = 3

    def __init__(self, file: str, line: int, reason: str, means: str) -> None:
        text = to_say("line {line} of {file} cannot be used so: {means} Nothing was taken.")
        super().__init__(say(text, line=line, file=file, means=means))
        self.reason = reason


class NotByTheStandard(CellmonError, ValueError):
    """A file made for others that does not hold against its standard; it was not left behind."""

    def __init__(self, what: str, faults: Sequence[str]) -> None:
        self.faults = tuple(faults)
        shown = "; ".join(self.faults[:3])
        if len(self.faults) > 3:
            more = local.number(len(self.faults) - 3)
            shown = say("{some}; and {more} more", some=shown, more=more)
        super().__init__(say("{what}: {faults}. Nothing was written.", what=what, faults=shown))


class SchedulerRefused(CellmonError, RuntimeError):
    """Those who were to compute a study do not answer, or cannot."""


class StoreRefused(CellmonError, RuntimeError):
    """The store cannot be opened, written or understood; `why` leaves out what is said of a deed besides."""

    def __init__(self, told: str, *, why: str | None = None) -> None:
        super().__init__(told)
        self.why = told if why is None else why


class NothingKept(StoreRefused):
    """The store failed before anything of what was to be kept together was."""


class PerhapsKept(StoreRefused):
    """The store failed while something was being kept, or after: whether it was is not known."""
