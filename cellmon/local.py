"""Numbers and dates as the site's language writes them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from functools import cache, lru_cache
from typing import Any

ENGLISH = "en_GB"
"""Days before months, a clock of 24 hours."""
MINUS = "−"

_site = ENGLISH


def write_as(language: str) -> None:
    """Write numbers and dates from now on as a language does, such as "de" or "pt-BR"; "en" is English."""
    global _site  # noqa: PLW0603  one process speaks one language, as `words` does
    _site = ENGLISH if language == "en" else str(_known(language))


def language() -> str:
    """Return the language in force as a document names it.

    >>> language()
    'en'
    """
    return "en" if _site == ENGLISH else _site.replace("_", "-")


def is_language(language: str) -> bool:
    """Return whether a language has a way of writing numbers and dates that is known here."""
    from babel import UnknownLocaleError

    try:
        _known(language)
    except (UnknownLocaleError, ValueError):
        return False
    return True


def number(value: float, digits: int = 0, *, sign: bool = False) -> str:
    """Return a number with so many digits behind its point, thousands apart, a true minus.

    Parameters
    ----------
    value : float
        Finite, in any unit.
    digits : int
        Digits behind the point.
    sign : bool
        Whether a plus stands before what is above zero.

    Examples
    --------
    >>> number(12345.678, 1), number(-3.25, 1, sign=True), number(4.0, 1, sign=True), number(-0.04, 1)
    ('12,345.7', '−3.2', '+4.0', '0.0')
    """
    text = f"{value:+,.{digits}f}" if sign else f"{value:,.{digits}f}"
    if not text.strip("+-0.,"):
        text = text.lstrip("+-")
    return _marked(text)


def significant(value: float, digits: int = 6, *, apart: bool = False) -> str:
    """Return a number with so many digits that count, noughts at its end left out; thousands `apart`.

    >>> significant(0.25), significant(-12.5678, 3)
    ('0.25', '−12.6')
    """
    return _marked(f"{value:,.{digits}g}" if apart else f"{value:.{digits}g}")


def clock(at: datetime) -> str:
    """Return a time of day.

    >>> clock(datetime(2026, 10, 25, 5, 4))
    '05:04'
    """
    return _dated("Hm", at.replace(second=0, microsecond=0, tzinfo=None), _site)


def day(at: date) -> str:
    """Return a day of the week, day and month, short.

    >>> day(date(2026, 10, 25))
    'Sun 25 Oct'
    """
    return _dated("MMMEd", _date(at), _site)


def long_day(at: date) -> str:
    """Return a day of the week, day and month, in full.

    >>> long_day(date(2026, 10, 25))
    'Sunday 25 October'
    """
    return _dated("MMMMEEEEd", _date(at), _site)


def full_day(at: date) -> str:
    """Return a day of the week, day, month and year, in full.

    >>> full_day(date(2026, 10, 25))
    'Sunday, 25 October 2026'
    """
    return _dated("yMMMMEEEEd", _date(at), _site)


def spoken_day(at: date) -> str:
    """Return a day as people say it: the day of the week in full, day and month in short.

    >>> spoken_day(date(2026, 10, 25))
    'Sunday 25 Oct'
    """
    return _dated("MMMEEEEd", _date(at), _site)


def day_of_year(at: date) -> str:
    """Return a day with its year.

    >>> day_of_year(date(2026, 10, 25))
    '25 Oct 2026'
    """
    return _dated("yMMMd", _date(at), _site)


def dated(at: datetime) -> str:
    """Return a day with its year, and a time of day.

    >>> dated(datetime(2026, 10, 25, 5, 4))
    '25 Oct 2026 05:04'
    """
    return f"{day_of_year(at)} {clock(at)}"


def moment(at: datetime) -> str:
    """Return a day and a time of day.

    >>> moment(datetime(2026, 10, 25, 5, 4))
    'Sun 25 Oct 05:04'
    """
    return f"{day(at)} {clock(at)}"


def weekday(at: date) -> str:
    """Return a day of the week, short.

    >>> weekday(date(2026, 10, 25))
    'Sun'
    """
    return _dated("E", _date(at), _site)


def within(text: str) -> str:
    """Return a title as it stands within a sentence: English begins it small, others leave it as it is.

    >>> within("Gauge repeats badly")
    'gauge repeats badly'
    """
    return text[:1].lower() + text[1:] if _site == ENGLISH else text


@dataclass(frozen=True, kw_only=True)
class Names:
    """Names of the days of a week, Sunday first, or of the months of a year."""

    wide: tuple[str, ...]
    short: tuple[str, ...]


def names_of_days() -> Names:
    """Return the names of the days.

    >>> names_of_days().short[:2]
    ('Sun', 'Mon')
    """
    from babel.dates import get_day_names

    found = {width: get_day_names(width, "stand-alone", _site) for width in ("wide", "abbreviated")}
    wide, short = (tuple(found[width][(i - 1) % 7] for i in range(7)) for width in ("wide", "abbreviated"))
    return Names(wide=wide, short=short)


def names_of_months() -> Names:
    """Return the names of the months.

    >>> names_of_months().short[:2]
    ('Jan', 'Feb')
    """
    from babel.dates import get_month_names

    found = {width: get_month_names(width, "stand-alone", _site) for width in ("wide", "abbreviated")}
    wide, short = (tuple(found[width][i] for i in range(1, 13)) for width in ("wide", "abbreviated"))
    return Names(wide=wide, short=short)


def separators() -> str:
    """Return what stands at the point and between thousands, as a drawing's `separators` wants it.

    >>> separators()
    '.,'
    """
    return ".," if _site == ENGLISH else "".join(_marks(_site))


def _marked(text: str) -> str:
    """Return a number written in English with the marks of the site's language, and a true minus."""
    if _site != ENGLISH:
        point, thousands = _marks(_site)
        text = text.translate({ord("."): point, ord(","): thousands})
    return text.replace("-", MINUS)


def _date(at: date) -> date:
    return at.date() if isinstance(at, datetime) else at


def _known(language: str) -> Any:
    from babel import Locale

    return Locale.parse(language.replace("-", "_"))


@cache
def _marks(site: str) -> tuple[str, str]:
    """Return what stands at the point and between thousands."""
    from babel.numbers import get_decimal_symbol, get_group_symbol

    return get_decimal_symbol(site), get_group_symbol(site)


@lru_cache(maxsize=16384)
def _dated(skeleton: str, at: date, site: str) -> str:
    """Return a moment by the parts that shall stand in it, ordered as the language orders them."""
    return str(_ordered(skeleton, site).apply(at, site))


@cache
def _ordered(skeleton: str, site: str) -> Any:
    """Return how a language orders some parts of a moment: to look that up takes longer than to use it."""
    from babel import Locale
    from babel.dates import match_skeleton, parse_pattern

    known = Locale.parse(site).datetime_skeletons
    return parse_pattern(known[skeleton if skeleton in known else match_skeleton(skeleton, known)])
