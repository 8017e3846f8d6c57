"""Figures and times in words, with no more digits than they carry."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from cellmon import local
from cellmon.monitor.answers import Estimate
from cellmon.monitor.forecast import BoresLeft
from cellmon.records import Stream, stream_names
from cellmon.words import say, say_many, to_say

CLOSED = (
    *(to_say("rough"), to_say("finish"), to_say("plateau")),  # stages
    *(to_say("honed"), to_say("audited"), to_say("found"), to_say("signalled")),  # what happens to a block
    *(to_say("thickness"), to_say("quality")),  # what limits the life of stones
    *(to_say("trial"), to_say("other")),  # why stones were taken off
    *(to_say("accepted"), to_say("kept")),  # what became of a doubt
    *(to_say("plain"), to_say("log")),  # scales of audits
    *(to_say("mid-range"), to_say("largest-inscribed"), to_say("smallest-circumscribed")),  # sizes of a bore
    *(to_say("least-squares"), to_say("minimum-zone")),  # what form is judged by
    *(to_say("roundness_trace"), to_say("diameter_trace"), to_say("size_range")),  # features, as a sheet
    *(to_say("mid_range"), to_say("ovality_worst"), to_say("offsets_given")),  # has them and --feature
    *(to_say("cycle_s"), to_say("load_pct"), to_say("load_ripple_pct")),
    *(to_say("feed_um"), to_say("part_temp_c"), to_say("master_temp_c")),
    *(to_say("audit"), to_say("operator"), to_say("part by operator")),  # of gauges and their studies
)
"""What the monitor answers in one word, beside the words that pages say too; `said` says it."""


def number(value: float | None, *, decimals: int) -> str | None:
    """Return a figure with so many decimals, None where there is none.

    The point is that of the site's language; thousands are not parted and a minus is a hyphen.
    """
    if value is None or not math.isfinite(value):
        return None
    shown = f"{value:.{decimals}f}"
    shown = shown.removeprefix("-") if float(shown) == 0 else shown
    return shown.replace(".", local.separators()[0])


def plain(value: float, *, digits: int = 6, sign: bool = False) -> str:
    """Return a number with so many digits that count, noughts at its end left out."""
    shown = f"{value:+.{digits}g}" if sign else f"{value:.{digits}g}"
    return shown.replace(".", local.separators()[0])


def at_least(value: float | None, *, decimals: int) -> str | None:
    """Return a lower bound rounded down, so that one just short of a figure never prints as reaching it."""
    if value is None or not math.isfinite(value):
        return None
    return number(math.floor(value * 10**decimals + 1e-9) / 10**decimals, decimals=decimals)


def signed(value: float | None, *, decimals: int) -> str | None:
    """Return a deviation with its sign."""
    shown = number(value, decimals=decimals)
    above = shown is not None and float(f"{value:.{decimals}f}") > 0
    return f"+{shown}" if above else shown


def count(value: float | None) -> str | None:
    """Return a count with its thousands parted."""
    return None if value is None or not math.isfinite(value) else local.number(value)


def interval(estimate: Estimate | None, *, decimals: int) -> str | None:
    """Return a figure with its interval beside it."""
    if estimate is None:
        return None
    value = number(estimate.value, decimals=decimals)
    low, high = (number(v, decimals=decimals) for v in (estimate.low, estimate.high))
    if low is None and high is None:
        return value
    if value is None:
        return say("{low} to {high}", low=low or "?", high=high or "?")
    return ranged(value, low or "?", high or "?")


def ranged(value: str | None, low: str | None, high: str | None) -> str:
    """Return a figure with its range beside it."""
    return say("{value} ({low} to {high})", value=value, low=low, high=high)


def sure(estimate: Estimate | None) -> str | None:
    """Return a figure with its sign and interval, to the first digit that the interval leaves in doubt."""
    if estimate is None or estimate.value is None or estimate.low is None or estimate.high is None:
        return interval(estimate, decimals=1)
    half = (estimate.high - estimate.low) / 2
    decimals = max(0, min(4, -math.floor(math.log10(half)))) if half > 0 else 4
    value, low, high = (signed(v, decimals=decimals) for v in (estimate.value, estimate.low, estimate.high))
    return ranged(value, low, high)


def bores_left(left: BoresLeft | None) -> str | None:
    """Return bores left with their 90 % range and the side, to two figures; 'far' is beyond the horizon."""
    if left is None:
        return None
    side = say(left.side)
    return say("{bores} {side}", bores=far_range(left.p05, left.p50, left.p95), side=side)


def far_range(p05: float | None, p50: float | None, p95: float | None) -> str:
    """Return bores with their 90 % range, to two figures; 'far' is beyond the horizon."""
    low, value, high = (say("far") if v is None else _whole(v) for v in (p05, p50, p95))
    return ranged(value, low, high)


def _whole(bores: float) -> str:
    return two_figures(bores) if bores >= 10 else local.number(bores)


def chance(probability: float | None) -> str | None:
    """Return a probability in per cent, rounded down; near 0 and 1 as 'under' and 'over'."""
    if probability is None or not math.isfinite(probability):
        return None
    if probability > 0.999:
        return say("over {share} %", share=local.number(99.9, 1))
    if probability < 0.001:
        return say("under {share} %", share=local.number(0.1, 1))
    return f"{at_least(100 * probability, decimals=1)} %"


def times(ratio: float | None) -> str | None:
    """Return a ratio of spreads."""
    shown = number(ratio, decimals=1)
    return None if shown is None else f"x {shown}"


def ppm(value: float | None) -> str | None:
    """Return parts per million with two figures that count; tiny ones as 'under 0.01'."""
    if value is None or not math.isfinite(value):
        return None
    if value == 0:
        return "0"
    return say("under {least}", least=local.number(0.01, 2)) if value < 0.01 else two_figures(value)


def two_figures(value: float) -> str:
    """Return a positive figure rounded to two figures that count, without an exponent."""
    rounded = float(f"{value:.1e}")
    if rounded <= 0:
        return "0"
    return local.number(rounded, max(0, 1 - math.floor(math.log10(rounded))))


def decimals_of(resolution_um: float | None) -> int:
    """Return the decimals of a micrometre figure that a gauge of this resolution supports."""
    if resolution_um is None:
        return 1
    return max(0, min(3, math.ceil(-math.log10(resolution_um) - 1e-9)))


def when(at: datetime | None, zone: ZoneInfo) -> str | None:
    """Return a moment as people of the cell read it, to the minute, with its offset."""
    return None if at is None else at.astimezone(zone).isoformat(sep=" ", timespec="minutes")


def span(at: datetime, earliest: datetime, latest: datetime, zone: ZoneInfo) -> str:
    """Return a moment with its range; of the same day and offset the range says hours and minutes only."""
    local = at.astimezone(zone)

    def short(end: datetime) -> str:
        one = end.astimezone(zone)
        same = (one.date(), one.utcoffset()) == (local.date(), local.utcoffset())
        return f"{one:%H:%M}" if same else one.isoformat(sep=" ", timespec="minutes")

    return ranged(when(at, zone), short(earliest), short(latest))


def age(seconds: float) -> str:
    """Return an age in its largest useful unit."""
    minutes = seconds / 60
    if minutes < 90:
        return say("{minutes} min", minutes=local.number(minutes))
    if minutes < 48 * 60:
        return say("{hours} h", hours=local.number(minutes / 60))
    return say("{days} d", days=number(minutes / 1440, decimals=0))


def counted_bores(n: int) -> str:
    """Return a count of bores."""
    return say_many("{n} bore", "{n} bores", n, n=local.number(n))


def listed(names: Iterable[str], *, most: int = 8) -> str:
    """Return names with commas; beyond `most` only how many more."""
    all_ = list(names)
    shown = ", ".join(all_[:most])
    return shown if len(all_) <= most else say("{some} and {more} more", some=shown, more=len(all_) - most)


def reasons(streams: Sequence[Stream], why_not: Sequence[Mapping[str, str]]) -> list[str]:
    """Return each reason of a missing figure once, with the fields it concerns."""
    called = stream_names(streams)
    fields: dict[str, dict[str, None]] = {}
    where: dict[str, dict[str, None]] = {}
    for name, mapping in zip(called, why_not, strict=True):
        for field, why in mapping.items():
            fields.setdefault(why, {})[field] = None
            where.setdefault(why, {})[name] = None
    everywhere = len(set(called))
    return [
        not_known_line(", ".join(names), why)
        + ("" if len(where[why]) == everywhere else f" ({listed(where[why], most=4)})")
        for why, names in fields.items()
    ]


def said(word: str | None) -> str | None:
    """Return a word that the monitor answers with in the site's language, None where there is none."""
    return None if word is None else say(word)


def yes_no(is_so: bool) -> str:
    """Return a word for a cell that is one or the other."""
    return say("yes") if is_so else say("no")


def as_of_line(as_of: datetime, sheet: int, zone: ZoneInfo) -> str:
    """Return of when an answer is, and by which sheet."""
    return say("As of {at}, sheet version {sheet}.", at=when(as_of, zone), sheet=sheet)


def note_line(words: str) -> str:
    """Return a remark beside an answer."""
    return say("note: {words}", words=words)


def assumed_line(words: str) -> str:
    """Return what an answer takes for granted."""
    return say("assumed: {words}", words=words)


def not_known_line(names: str, why: str) -> str:
    """Return why fields of an answer are empty."""
    return say("not known: {names}: {why}", names=names, why=why)


def not_known_lines(why_not: Mapping[str, str]) -> list[str]:
    """Return why each field of an answer that is empty is so."""
    return [not_known_line(name, why) for name, why in why_not.items()]
