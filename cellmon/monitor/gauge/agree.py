"""Whether two gauges agree on the bores that both have measured."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from itertools import combinations

import numpy as np
from scipy.special import chdtri

from cellmon import lengths
from cellmon.errors import NoSpread, NotEnoughData
from cellmon.gauge.agreement import agreement, gauge_line, spread_allows
from cellmon.gauge.decision import feature_uncertainty
from cellmon.judged import SIZE_COLUMNS, Bores
from cellmon.monitor.answers import Estimate
from cellmon.monitor.view import View
from cellmon.records import Flags, Numbers, Texts
from cellmon.sheet import Sheet
from cellmon.stats.intervals import Interval
from cellmon.stats.normal import quantile
from cellmon.words import say

STRANGE = 0.05
RARE = 0.005
"""Differences are called wider than the sheet explains where chance makes them so less often."""


@dataclass(frozen=True, kw_only=True)
class FeatureAgreement:
    """One feature: first gauge less second, micrometres; 95 % of single bores lie between the limits."""

    feature: str
    n: int
    blocks: int
    difference_um: Estimate | None
    sd_um: float | None
    sd_expected_um: float | None
    """What the sheet's uncertainties of one reading make of it."""
    lower_um: Estimate | None
    upper_um: Estimate | None
    slope: Estimate | None
    """Second gauge against first, both with errors; 1 where they scale alike."""
    sentence: str
    why_not: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True, eq=False)
class GaugesAgree:
    """Two gauges on the bores that both measured whole and undoubted; sizes in micrometres."""

    first: str
    second: str
    since: datetime
    until: datetime
    left_out: int
    """Pairs of which a measurement is doubted or not whole."""
    part: Texts
    bore: Texts
    first_um: Numbers
    second_um: Numbers
    apart: Flags
    """Bores whose two sizes differ by more than chance leaves in one of twenty such comparisons."""
    features: tuple[FeatureAgreement, ...]


def agreements(view: View, bores: Bores, since: np.datetime64) -> tuple[GaugesAgree, ...]:
    """Return the agreement of every two gauges that have measured the same bores."""
    gauges = [g for g in view.sheet.gauge_ids if (bores.gauge == g).any()]
    found = (_two(view, bores, since, a, b) for a, b in combinations(gauges, 2))
    return tuple(one for one in found if one is not None)


def _two(view: View, bores: Bores, since: np.datetime64, first: str, second: str) -> GaugesAgree | None:
    a, b = _firsts(bores, first), _firsts(bores, second)
    keys = [_keys(one) for one in (a, b)]
    _, at_a, at_b = np.intersect1d(keys[0], keys[1], return_indices=True)
    if not len(at_a):
        return None
    a, b = a.select(at_a), b.select(at_b)
    fit = (a.flags == 0) & (b.flags == 0)
    fit &= np.isfinite(a.um).all(axis=(1, 2)) & np.isfinite(b.um).all(axis=(1, 2))
    out = int((~fit).sum())
    a, b = a.select(fit), b.select(fit)
    size = SIZE_COLUMNS.get(view.sheet.part().diameter.size, "average")
    first_um, second_um = getattr(a, size), getattr(b, size)
    return GaugesAgree(
        first=first,
        second=second,
        since=view.local(since),
        until=view.local(view.as_of),
        left_out=out,
        part=a.part,
        bore=a.bore,
        first_um=first_um,
        second_um=second_um,
        apart=_apart(first_um - second_um),
        features=tuple(
            _feature(view.sheet, (first, second), name, a, b, size if name == "diameter" else name)
            for name in view.sheet.part().charted
        ),
    )


def _apart(d: Numbers) -> Flags:
    """Return which differences are too large for so many of them, by a normal quantile shared among all."""
    if len(d) < 3:
        return np.zeros(len(d), dtype=bool)
    most = float(quantile(1 - STRANGE / (2 * len(d)))) * float(d.std(ddof=1))
    found: Flags = np.abs(d - d.mean()) > most
    return found


def _firsts(bores: Bores, gauge: str) -> Bores:
    """Return each bore's first measurement by one gauge."""
    mine = bores.select(bores.gauge == gauge)
    mine = mine.select(np.argsort(mine.measured_at, kind="stable"))
    _, first = np.unique(_keys(mine), return_index=True)
    return mine.select(np.sort(first))


def _keys(bores: Bores) -> np.typing.NDArray[np.str_]:
    return np.char.add(np.char.add(bores.part.astype(str), "\x1f"), bores.bore.astype(str))


def _feature(
    sheet: Sheet, gauges: tuple[str, str], name: str, a: Bores, b: Bores, column: str
) -> FeatureAgreement:
    x, y = getattr(a, column), getattr(b, column)
    u = [_own_uncertainty(sheet, g, name) for g in gauges]
    expected = None if u[0] is None or u[1] is None else math.hypot(u[0], u[1])
    try:
        found = agreement(x, y, block=a.part)
    except (NotEnoughData, NoSpread) as refused:
        why = str(refused)
        names = ("difference_um", "sd_um", "lower_um", "upper_um", "slope")
        return FeatureAgreement(
            feature=name, n=len(x), blocks=len(set(a.part.tolist())), difference_um=None, sd_um=None,
            sd_expected_um=expected, lower_um=None, upper_um=None, slope=None,
            sentence=say("Not known: {why}.", why=why), why_not=dict.fromkeys(names, why),
        )  # fmt: skip
    why_not: dict[str, str] = {}
    slope = _slope(x, y, u, why_not)
    difference = _estimate(found.difference, found.difference_interval)
    return FeatureAgreement(
        feature=name,
        n=found.n,
        blocks=found.blocks,
        difference_um=difference,
        sd_um=found.sd,
        sd_expected_um=expected,
        lower_um=_estimate(found.lower, found.lower_interval),
        upper_um=_estimate(found.upper, found.upper_interval),
        slope=slope,
        sentence=_sentence(gauges, found.difference, difference, found.sd, expected, found.blocks),
        why_not=why_not,
    )


def _own_uncertainty(sheet: Sheet, gauge: str, feature: str) -> float | None:
    """Return the standard uncertainty of a figure that a gauge's single readings make."""
    reading = sheet.gauge(gauge).uncertainty_reading_um
    if reading is None:
        return None
    name = {"diameter": sheet.part().diameter.size, "ovality": "ovality_mean"}.get(feature, feature)
    planes, directions = len(sheet.measuring.planes), len(sheet.measuring.directions)
    try:
        return feature_uncertainty(
            name, common_um=0.0, reading_um=reading, planes=planes, directions=directions
        )
    except ValueError:
        return None


def _slope(x: Numbers, y: Numbers, u: list[float | None], why_not: dict[str, str]) -> Estimate | None:
    if not u[0] or not u[1]:
        why_not["slope"] = say("the sheet does not say how well both gauges repeat (uncertainty_reading_um)")
        return None
    if len(x) < 10 or not spread_allows(x, y, u_first=u[0], u_second=u[1]):
        why_not["slope"] = say(
            "the bores are too alike, beside the gauges' own errors, for a line to say something"
        )
        return None
    line = gauge_line(x, y, u_first=u[0], u_second=u[1])
    return _estimate(line.slope, line.slope_interval)


def _estimate(value: float, interval: Interval) -> Estimate:
    return Estimate(value=value, low=interval.low, high=interval.high, confidence=interval.confidence)


def _sentence(
    gauges: tuple[str, str],
    value: float,
    difference: Estimate,
    sd: float,
    expected: float | None,
    blocks: int,
) -> str:
    said = _difference_words(gauges, value, difference)
    if not expected:
        return said
    most = expected * math.sqrt(float(chdtri(blocks - 1, RARE)) / (blocks - 1))
    if sd > most:
        return f"{said} " + say(
            "Single bores spread by {sd}; the sheet explains {expected}.",
            sd=lengths.said(sd, 2),
            expected=lengths.bare(expected, 2),
        )
    return f"{said} " + say(
        "Single bores differ no more than the sheet's uncertainties explain ({sd}).", sd=lengths.said(sd, 2)
    )


def _difference_words(gauges: tuple[str, str], value: float, difference: Estimate) -> str:
    """Return how far two gauges differ, or that it is not proven."""
    named = {"first": gauges[0], "second": gauges[1]}
    low, high = difference.low or 0.0, difference.high or 0.0
    if low <= 0 <= high:
        return say(
            "No difference between {first} and {second} is proven ({low} to {high}).",
            **named,
            low=lengths.bare(low, 2, sign=True),
            high=lengths.said(high, 2, sign=True),
        )
    ends = sorted((abs(low), abs(high)))
    figures = {"by": lengths.said(abs(value), 2)}
    figures |= {"low": lengths.bare(ends[0], 2), "high": lengths.bare(ends[1], 2)}
    if value > 0:
        return say("{first} reads {by} more than {second} ({low} to {high}).", **named, **figures)
    return say("{first} reads {by} less than {second} ({low} to {high}).", **named, **figures)
