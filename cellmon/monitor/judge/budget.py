"""From false alarms a week for the whole cell to the limits of every detector of every stream.

The rate of each stream comes from the sheet: its bores, features and planned bores a shift. What is made
in fact never changes a limit.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import numpy as np

from cellmon.charts.run_length.cusum import cusum_limit
from cellmon.charts.run_length.variance import variance_cusum_limit
from cellmon.drift.columns import Limits
from cellmon.drift.spread_watch import SPREAD_K
from cellmon.drift.watch import LEVEL_K
from cellmon.judged import OF_ALL, OF_SPINDLE, OFFSETS
from cellmon.monitor.judge.audit_plan import audit_families
from cellmon.monitor.judge.process import BLOCK
from cellmon.records import Numbers, Stream
from cellmon.sheet import Part, Sheet
from cellmon.sheet.sections import Alarms
from cellmon.stats.normal import share_above

TIGHTEST = 1 / 370
"""Of a stream's own points: no detector of it calls more often than that in all."""
UNPLANNED_SUBGROUPS = 1000.0
"""A week of each stream, where the sheet plans no bores."""
WEIGHTS = {"level": 1.0, "spread": 0.5, "single": 0.25}
"""Shares of the false alarms, relative to one another."""
LEAST_OF_PROCESS = 8.0
"""A honing time or load follows the stones' dulling, which no straight line meets quite: smaller moves of
it, in standard deviations of a bore, are evidence beside other calls and no call of their own."""
LEVEL_UNION = ((232, 2.159), (837, 2.390), (3899, 2.565), (18454, 2.709), (71886, 2.782), (349421, 2.862))
"""Run length of the three CUSUMs of the level together, and how much longer that of each alone is.

By simulation, seed 2026, standard error 1 % of the second; docs/limits.md says how.
"""
SPREAD_UNION = ((303, 1.652), (1094, 1.828), (4860, 2.058), (22430, 2.229), (85550, 2.338), (430000, 2.43))
"""The same of the CUSUMs of the variance, for subgroups of five."""
SPREAD_UNION_PER_DOUBLING = 0.04
"""How much more of it for each doubling of a subgroup's degrees of freedom."""


@dataclass(frozen=True, kw_only=True)
class Family:
    """Streams of one feature and one kind, which share a rate."""

    feature: str
    scope: str
    """bore, distance, spindle or all; audit or finding (`cellmon.monitor.judge.audit_plan`)."""
    part_number: str
    spindle: str | None
    streams: int
    """Positions; one that is kept by fixture counts once."""
    points: float
    """Subgroups a week of each position, planned."""
    detectors: tuple[str, ...]
    """None where it is evidence beside other calls only."""


@dataclass(frozen=True, kw_only=True)
class Rates:
    """False alarms per subgroup that each detector of a stream is allowed."""

    level: float
    spread: float
    single: float


@dataclass(frozen=True, kw_only=True)
class Budget:
    """What the sheet's one number gives to each stream."""

    per_week: float
    families: tuple[Family, ...]
    planned: bool
    """Whether the sheet says how many bores are made."""

    @cached_property
    def per_weight(self) -> float:
        """What a detector of weight 1 has a week; what streams at their bound cannot use, others have."""
        calling = [f for f in self.families if f.detectors]
        weights = np.array([f.streams * sum(WEIGHTS[d] for d in f.detectors) for f in calling])
        most = np.array([f.streams * f.points * TIGHTEST for f in calling])
        order = np.argsort(most / weights)
        given = self.per_week - np.concatenate(([0.0], np.cumsum(most[order])[:-1]))
        shares = given / np.cumsum(weights[order][::-1])[::-1]  # with those before at their bound
        fits = np.flatnonzero(shares <= (most / weights)[order])
        return float(shares[fits[0]]) if len(fits) else np.inf

    @cached_property
    def _by_place(self) -> dict[tuple[str, str, str, str | None], Family]:
        return {(f.feature, f.scope, f.part_number, f.spindle): f for f in self.families}

    def family_of(self, stream: Stream) -> Family | None:
        """Return the family a stream belongs to; None for one that is not watched."""
        place = (stream.feature, scope_of(stream), stream.part_number)
        own = self._by_place.get((*place, stream.spindle))
        return own if own is not None else self._by_place.get((*place, None))

    def family_at(self, feature: str, scope: str, part_number: str, spindle: str | None) -> Family | None:
        """Return the family of these names."""
        return self._by_place.get((feature, scope, part_number, spindle))

    def rates(self, family: Family) -> Rates:
        """Return the rates of a family's streams, per subgroup."""
        weight = sum(WEIGHTS[d] for d in family.detectors)
        rate = min(self.per_weight / family.points, TIGHTEST / weight) if weight else 0.0
        given = {d: rate * WEIGHTS[d] for d in family.detectors}
        return Rates(
            level=given.get("level", 0.0), spread=given.get("spread", 0.0), single=given.get("single", 0.0)
        )

    @property
    def expected_per_week(self) -> float:
        """False alarms to expect in a planned week, all streams and detectors together."""
        total = 0.0
        for f in self.families:
            rate = self.rates(f)
            total += f.streams * f.points * (rate.level + rate.spread + rate.single)
        return total


def scope_of(stream: Stream) -> str:
    """Return what a stream is: bore, distance, spindle or all."""
    if stream.bore is not None:
        return "bore" if stream.part_of == "itself" else "distance"
    return "all" if stream.spindle is None else "spindle"


def budget(sheet: Sheet) -> Budget:
    """Return what the sheet gives to each stream."""
    families = tuple(f for part in sheet.parts for f in _families(part, sheet))
    planned = bool(sheet.planning and sheet.planning.bores_per_shift)
    return Budget(
        per_week=(sheet.alarms or Alarms()).false_alarms_per_week, families=families, planned=planned
    )


def _families(part: Part, sheet: Sheet) -> list[Family]:
    routed: list[tuple[str | None, tuple[str, ...]]] = [
        (s.id, tuple(b for b in s.bores if b in part.bores)) for s in sheet.spindles
    ]
    routed = routed or [(None, part.bores)]
    alike = sheet.charted_parts(sheet.charted_as(part.number))
    one = {name: subgroups_per_week(sheet, name, len(bores)) for name, bores in routed if bores}
    rates = {
        name: subgroups_per_week(sheet, name, len(bores), alike=len(alike)) for name, bores in routed if bores
    }
    bores_of = {name: len(bores) for name, bores in routed if bores}
    whole, number = _of_blocks(rates, routed), sheet.charted_as(part.number)
    found: list[Family] = []
    for feature in part.charted if part is alike[0] else ():  # like parts share their streams
        found += _feature_families(feature, part, number, rates, bores_of, len(routed), whole)
    audits = (Family(**f) for f in audit_families(part, part.number, routed, sheet))
    process = _process_families(part.number, one, bores_of, sheet, _of_blocks(one, routed))
    return [*found, *process, *audits]


def _of_blocks(
    rates: Mapping[str | None, float], routed: Sequence[tuple[str | None, tuple[str, ...]]]
) -> float:
    """Return the planned subgroups a week of whole blocks: the slowest bore, by all spindles that hone it."""
    of_bores: dict[str, float] = {}
    for name, bores in routed:
        for bore in bores:
            of_bores[bore] = of_bores.get(bore, 0.0) + rates[name]
    return min(of_bores.values(), default=UNPLANNED_SUBGROUPS)


def _feature_families(
    feature: str,
    part: Part,
    number: str,
    rates: Mapping[str | None, float],
    bores: Mapping[str | None, int],
    spindles: int,
    whole: float,
) -> Iterator[Family]:
    """Yield what is watched of one feature: its bores, their distances, and means of spindles and of all."""
    both = ("level", "spread")
    for name, count in bores.items():
        place: dict[str, Any] = {"feature": feature, "part_number": number, "spindle": name}
        yield Family(**place, scope="bore", streams=count, points=rates[name], detectors=ALL)
        if len(part.bores) > 2:
            yield Family(
                **place, scope="distance", streams=count, points=min(rates[name], whole), detectors=("level",)
            )
        if spindles > 1 and count > 1:
            yield Family(**place, scope="spindle", streams=1, points=rates[name], detectors=both)
    if len(part.bores) > 1:
        place = {"feature": feature, "part_number": number, "spindle": None}
        # by turns blocks of several lines differ by what their spindles differ, which is no spread of any
        watched = ("level",) if sum(bores.values()) > len(part.bores) else both
        yield Family(**place, scope="all", streams=1, points=whole, detectors=watched)


def _process_families(
    part_number: str,
    rates: Mapping[str | None, float],
    bores: Mapping[str | None, int],
    sheet: Sheet,
    whole: float,
) -> Iterator[Family]:
    """Yield what is watched beside one part's bores; temperatures call nothing, so they have no share."""
    for name, points in rates.items():
        blocks = points * bores[name] * sheet.subgroups.step / BLOCK
        of_spindle = {**dict.fromkeys(OF_SPINDLE, points), OFFSETS: blocks}
        for feature, of_feature in of_spindle.items() if name is not None else ():
            yield Family(
                feature=feature,
                part_number=part_number,
                spindle=name,
                scope="spindle",
                streams=1,
                points=of_feature,
                detectors=("level",),
            )
    for feature in OF_ALL:
        yield Family(
            feature=feature,
            part_number=part_number,
            spindle=None,
            scope="all",
            streams=1,
            points=whole,
            detectors=(),
        )


ALL = ("level", "spread", "single")


def subgroups_per_week(sheet: Sheet, spindle: str | None, bores: int, *, alike: int = 1) -> float:
    """Return the planned subgroups a week of one bore position, of one part or so many like ones.

    The bores planned for a spindle are shared evenly by the parts it hones.
    """
    plan = sheet.planning.bores_per_shift if sheet.planning else {}
    if spindle is None or spindle not in plan:
        return UNPLANNED_SUBGROUPS
    shifts = sum(len(s.days) for s in sheet.shifts) if sheet.shifts else 7
    routed = set(sheet.spindle(spindle).bores)
    parts = sum(bool(routed & set(p.bores)) for p in sheet.parts)
    return plan[spindle] / bores * shifts / sheet.subgroups.step / max(parts, 1) * alike


def detector_limits(found: Budget, streams: Sequence[Stream], sizes: Sequence[int]) -> Limits:
    """Return the limits of some streams' detectors; inf where one is not watched.

    `sizes` is the usual size of each stream's subgroups.
    """
    level, spread = np.full((3, len(streams)), np.inf), np.full((3, len(streams)), np.inf)
    single, tells = np.full(len(streams), np.inf), np.zeros(len(streams), dtype=bool)
    for i, (stream, size) in enumerate(zip(streams, sizes, strict=True)):
        family = found.family_of(stream)
        if family is None or not family.detectors:
            continue
        rates = found.rates(family)
        if rates.level:
            level[:, i] = level_limits(log_rate(rates.level))
        if rates.spread and size > 1:
            spread[:, i] = spread_limits(log_rate(rates.spread), size - 1)
        if stream.feature != OFFSETS:  # one large offset is no bore to be left out
            single[i] = single_limit(rates.single or rates.level, size)
        tells[i] = rates.single > 0
    least = np.array([LEAST_OF_PROCESS if s.feature in OF_SPINDLE else 0.0 for s in streams])
    return Limits(level=level, spread=spread, single=single, tells_single=tells, least=least)


def log_rate(rate: float) -> float:
    """Return a rate as the logarithm under which its limits are kept."""
    return round(float(np.log(rate)), 3)


@lru_cache(maxsize=512)
def level_limits(log_rate: float) -> Numbers:
    """Return the limits of the level's CUSUMs whose first call comes at a rate, given as its logarithm."""
    alone = _alone(np.exp(-log_rate), LEVEL_UNION)
    return np.array([cusum_limit(float(k), 2 * alone) for k in LEVEL_K[:, 0]])


@lru_cache(maxsize=512)
def spread_limits(log_rate: float, df: int) -> Numbers:
    """Return the limits of the CUSUMs of the variance, likewise."""
    more = 1 + SPREAD_UNION_PER_DOUBLING * np.log2(df / 4)
    alone = more * _alone(np.exp(-log_rate), SPREAD_UNION)
    return np.array([variance_cusum_limit(float(k), float(df), alone) for k in SPREAD_K[:, 0]])


@lru_cache(maxsize=512)
def single_limit(rate: float, size: int) -> float:
    """Return how far the farthest of some bores lies, either side, at a rate; standard deviations."""
    from scipy.special import ndtri

    found = float(-ndtri(rate / (2 * size)))
    assert abs(float(share_above(found)) * 2 * size / rate - 1) < 1e-6
    return found


def _alone(together: float, union: Sequence[tuple[float, float]]) -> float:
    """Return the run length each of some detectors must have alone for one of all together."""
    known = np.log([run for run, _ in union])
    factors = [factor for _, factor in union]
    return float(together * np.interp(np.log(together), known, factors))
