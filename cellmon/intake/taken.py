"""What was found in a file: a batch of records, and every row that became none."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from cellmon.records import Batch, Kind, Refused
from cellmon.units import LengthUnit


@dataclass(frozen=True, kw_only=True, eq=False)
class TakenFile:
    """One file read. Each of its `rows` is in `batch`, or in `refused`, or counted in `repeated`."""

    name: str
    kind: Kind
    sha256: str
    rows: int
    """Rows of the file: lines that are neither header nor empty."""
    batch: Batch | None
    """None where no row could be used."""
    refused: tuple[Refused, ...]
    repeated: int
    """Rows that say again, word for word, what an earlier row of the file says."""
    header: str
    """The header as one line of text; with rows set aside it is a file again, see `read_text`."""
    texts_on: Callable[[Sequence[int]], list[str]]
    """Returns the rows that begin on some lines, as they stood there; asked once, then the file is let go."""
    notes: tuple[str, ...] = ()
    """What a person should know of the whole file, in sentences."""
    units: tuple[LengthUnit, ...] = ()
    """The units its sizes fit, where they do not fit their own: all of it is refused until one is named."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Found:
    """What a reader of one kind makes of a table."""

    batch: Batch | None
    refused: tuple[Refused, ...]
    repeated: int
    notes: tuple[str, ...] = ()
    units: tuple[LengthUnit, ...] = ()


@dataclass(frozen=True, kw_only=True)
class UnitDoubt:
    """What to say of a file whose sizes fit another unit than their own, and which those are."""

    note: str
    units: tuple[LengthUnit, ...]
