"""Figures and times in words, with no more digits than they carry."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from cellmon.judged import PROCESS
from cellmon.monitor.answers import Estimate
from cellmon.monitor.forecast import BoresLeft
from cellmon.records import Stream, stream_names


def number(value: float | None, *, decimals: int) -> str | None:
    """Return a figure with so many decimals, None where there is none."""
    if value is None or not math.isfinite(value):
        return None
    shown = f"{value:.{decimals}f}"
    return shown.removeprefix("-") if float(shown) == 0 else shown


def at_least(value: float | None, *, decimals: int) -> str | None:
    """Return a lower bound rounded down, so that one just short of a figure never prints as reaching it."""
    if value is None or not math.isfinite(value):
        return None
    return number(math.floor(value * 10**decimals + 1e-9) / 10**decimals, decimals=decimals)


def signed(value: float | None, *, decimals: int) -> str | None:
    """Return a deviation with its sign."""
    shown = number(value, decimals=decimals)
    return shown if shown is None or shown.startswith("-") or float(shown) == 0 else f"+{shown}"


def count(value: float | None) -> str | None:
    """Return a count with its thousands parted."""
    return None if value is None or not math.isfinite(value) else f"{value:,.0f}"


def interval(estimate: Estimate | None, *, decimals: int) -> str | None:
    """Return a figure with its interval beside it."""
    if estimate is None:
        return None
    value = number(estimate.value, decimals=decimals)
    low, high = (number(v, decimals=decimals) for v in (estimate.low, estimate.high))
    if value is None:
        return None if low is None and high is None else f"{low or '?'} to {high or '?'}"
    return value if low is None and high is None else f"{value} ({low or '?'} to {high or '?'})"


def sure(estimate: Estimate | None) -> str | None:
    """Return a figure with its sign and interval, to the first digit that the interval leaves in doubt."""
    if estimate is None or estimate.value is None or estimate.low is None or estimate.high is None:
        return interval(estimate, decimals=1)
    half = (estimate.high - estimate.low) / 2
    decimals = max(0, min(4, -math.floor(math.log10(half)))) if half > 0 else 4
    value, low, high = (signed(v, decimals=decimals) for v in (estimate.value, estimate.low, estimate.high))
    return f"{value} ({low} to {high})"


def bores_left(left: BoresLeft | None) -> str | None:
    """Return bores left with their 90 % range and the side, to two figures; 'far' is beyond the horizon."""
    if left is None:
        return None
    p05, p50, p95 = ("far" if v is None else _whole(v) for v in (left.p05, left.p50, left.p95))
    return f"{p50} ({p05} to {p95}) {left.side}"


def _whole(bores: float) -> str:
    return two_figures(bores) if bores >= 10 else f"{bores:.0f}"


def chance(probability: float | None) -> str | None:
    """Return a probability in per cent, rounded down; near 0 and 1 as 'under' and 'over'."""
    if probability is None or not math.isfinite(probability):
        return None
    if probability > 0.999:
        return "over 99.9 %"
    return "under 0.1 %" if probability < 0.001 else f"{at_least(100 * probability, decimals=1)} %"


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
    return "under 0.01" if value < 0.01 else two_figures(value)


def two_figures(value: float) -> str:
    """Return a positive figure rounded to two figures that count, without an exponent."""
    rounded = float(f"{value:.1e}")
    if rounded <= 0:
        return "0"
    return f"{rounded:,.{max(0, 1 - math.floor(math.log10(rounded)))}f}"


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

    return f"{when(at, zone)} ({short(earliest)} to {short(latest)})"


def unit_of(stream: Stream) -> str:
    """Return the unit in which a stream's figures move."""
    return PROCESS.get(stream.feature, "um").replace("µ", "u")


def age(seconds: float) -> str:
    """Return an age in its largest useful unit."""
    minutes = seconds / 60
    if minutes < 90:
        return f"{minutes:.0f} min"
    if minutes < 48 * 60:
        return f"{minutes / 60:.0f} h"
    return f"{minutes / 1440:.0f} d"


def plural(n: int, singular: str, plural_: str | None = None) -> str:
    """Return a count with its noun."""
    return f"{n:,} {singular if n == 1 else plural_ or singular + 's'}"


def listed(names: Iterable[str], *, most: int = 8) -> str:
    """Return names with commas; beyond `most` only how many more."""
    all_ = list(names)
    shown = ", ".join(all_[:most])
    return shown if len(all_) <= most else f"{shown} and {len(all_) - most} more"


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
        f"not known: {', '.join(names)}: {why}"
        + ("" if len(where[why]) == everywhere else f" ({listed(where[why], most=4)})")
        for why, names in fields.items()
    ]
