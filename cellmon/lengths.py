"""Lengths as people want them said: in millimetres and micrometres, in inches, or in both.

Only what is said follows; facts, JSON and CSV stay in mm and µm. A choice holds for the thread of work it was
made in, such as one request of one browser. Fine lengths (deviations, form, wear) are said in µm or in steps
of 0.0001 in, as bore gauges divide the inch; sizes in mm or in.

References
----------
International yard and pound (1959), as in NIST SP 811 (2008), appendix B: 1 in = 25.4 mm exactly, so
0.0001 in = 2.54 µm exactly.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from enum import StrEnum
from typing import Any

from cellmon import local
from cellmon.units import UM_PER, LengthUnit
from cellmon.words import is_kept


class Shown(StrEnum):
    """How lengths are said."""

    MM = "mm"
    INCH = "in"
    BOTH = "both"


UM = "µm"
TENTH = "0.0001 in"
MM_PER_IN = UM_PER[LengthUnit.INCH] / UM_PER[LengthUnit.MM]
UM_PER_TENTH = UM_PER[LengthUnit.INCH] / 10_000

_shown: ContextVar[Shown] = ContextVar("shown", default=Shown.MM)


def shown() -> Shown:
    """Return how lengths are said here; what is kept of words is kept in mm."""
    return Shown.MM if is_kept() else _shown.get()


def show_in(how: Shown) -> None:
    """Say lengths so from here on, in this thread of work."""
    _shown.set(how)


@contextmanager
def shown_in(how: Shown) -> Iterator[None]:
    """Say lengths so within a block: files and papers say them in mm."""
    token = _shown.set(how)
    try:
        yield
    finally:
        _shown.reset(token)


def is_inch() -> bool:
    """Return whether drawings are scaled in inches; where both are said they stay in mm."""
    return shown() is Shown.INCH


def bare(um: float, digits: int | None = 1, *, sign: bool = False) -> str:
    """Return a fine length without its unit, never coarser than it would stand in µm.

    Parameters
    ----------
    um : float
        Finite, µm.
    digits : int | None
        Digits behind the point in µm, one more in inches; None: as many as count.
    sign : bool
        Whether a plus stands before what is above zero.

    Examples
    --------
    >>> bare(3.2, sign=True)
    '+3.2'
    >>> with shown_in(Shown.INCH):
    ...     bare(3.2, sign=True), bare(4.0, None)
    ('+1.26', '1.575')
    >>> with shown_in(Shown.BOTH):
    ...     bare(3.2)
    '3.2 (1.26)'
    """
    how = shown()  # a page says thousands: what is not shown is not written either
    metric = "" if how is Shown.INCH else _number(um, digits, 6, sign)
    inch = "" if how is Shown.MM else _number(um / UM_PER_TENTH, _finer(digits, 1), 4, sign)
    return _chosen(metric, inch)


def unit() -> str:
    """Return the unit of fine lengths, for the head of a column or an axis."""
    return _chosen(UM, TENTH)


def said(um: float, digits: int | None = 1, *, sign: bool = False) -> str:
    """Return a fine length with its unit, for a sentence; parameters as for `bare`.

    >>> said(-3.2)
    '−3.2 µm'
    >>> with shown_in(Shown.INCH):
    ...     said(-3.2)
    '−1.26 × 0.0001 in'
    """
    inch = _number(um / UM_PER_TENTH, _finer(digits, 1), 4, sign)
    return _chosen(f"{_number(um, digits, 6, sign)} {UM}", f"{inch} × {TENTH}")


def spoken_unit() -> str:
    """Return the unit of fine lengths as it follows a number in a sentence."""
    return _chosen(UM, f"× {TENTH}")


def of(value: float, named: str, digits: int | None = 1, *, sign: bool = False) -> str:
    """Return a figure without its unit: a fine length where its unit is the micrometre, else as it is.

    >>> with shown_in(Shown.INCH):
    ...     of(2.54, "µm"), of(2.54, "s")
    ('1.00', '2.5')
    """
    return bare(value, digits, sign=sign) if named == UM else _number(value, digits, 6, sign)


def unit_of(named: str, *, spoken: bool = False) -> str:
    """Return the unit of a figure, the micrometre as fine lengths are said; `spoken`: after a number."""
    return (spoken_unit() if spoken else unit()) if named == UM else named


def axis_unit(named: str = UM) -> str:
    """Return the unit in which a figure stands along an axis: where both are said, the axis stays in µm.

    >>> with shown_in(Shown.BOTH):
    ...     axis_unit(), axis_unit("s")
    ('µm', 's')
    """
    if named != UM:
        return named
    return TENTH if is_inch() else UM


def size(mm: float, digits: int | None = 3) -> str:
    """Return a size without its unit; two digits more in inches, four that count where `digits` is None.

    >>> size(87.312)
    '87.312'
    >>> with shown_in(Shown.INCH):
    ...     size(87.312), size(25.4, 3)
    ('3.43748', '1.00000')
    """
    return _chosen(_number(mm, digits, 6, False), _number(mm / MM_PER_IN, _finer(digits, 2), 4, False))


def size_unit() -> str:
    """Return the unit of sizes, for a head or after a number."""
    return _chosen("mm", "in")


def size_said(mm: float, digits: int | None = 3) -> str:
    """Return a size with its unit.

    >>> with shown_in(Shown.BOTH):
    ...     size_said(87.3, 2)
    '87.30 mm (3.4370 in)'
    """
    inch = f"{_number(mm / MM_PER_IN, _finer(digits, 2), 6, False)} in"
    return _chosen(f"{_number(mm, digits, 6, False)} mm", inch)


def fine(um: Any) -> Any:
    """Return fine lengths as a drawing's axis has them: µm, or steps of 0.0001 in; a number or an array."""
    return um / UM_PER_TENTH if is_inch() else um


def _chosen(metric: str, inch: str) -> str:
    how = shown()
    if how is Shown.BOTH:
        return f"{metric} ({inch})"
    return inch if how is Shown.INCH else metric


def _finer(digits: int | None, by: int) -> int | None:
    return None if digits is None else digits + by


def _number(value: float, digits: int | None, count: int, sign: bool) -> str:
    if digits is not None:
        return local.number(value, digits, sign=sign)
    text = local.significant(value, count)
    return f"+{text}" if sign and value > 0 else text
