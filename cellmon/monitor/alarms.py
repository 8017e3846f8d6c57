"""What the number of false alarms a week gives each detector, and what other rules would cost."""

from __future__ import annotations

from dataclasses import dataclass

from cellmon import local
from cellmon.monitor.answers import Answer
from cellmon.monitor.judge.audit_plan import FINDING
from cellmon.monitor.judge.budget import (
    UNPLANNED_SUBGROUPS,
    Budget,
    Family,
    budget,
    level_limits,
    log_rate,
    single_limit,
    spread_limits,
)
from cellmon.monitor.rule_sets import RULE_SETS
from cellmon.monitor.view import View
from cellmon.words import say, to_say


@dataclass(frozen=True, kw_only=True)
class DetectorBudget:
    """One detector of some streams: its run length in subgroups, and its limits."""

    detector: str
    run_length: float
    limits: tuple[float, ...]
    """Of the cumulative sums in standard deviations of a mean (level) or variance ratios (spread); of a
    single bore in its standard deviations."""


@dataclass(frozen=True, kw_only=True)
class FamilyBudget:
    """Streams that share a rate; `scope` is bore, distance, spindle or all."""

    part_number: str
    feature: str
    scope: str
    spindle: str | None
    streams: int
    subgroups_per_week: float
    false_alarms_per_week: float
    detectors: tuple[DetectorBudget, ...]


@dataclass(frozen=True, kw_only=True)
class RulePrice:
    """What a rule set would cost on the bores' own charts, in all features."""

    name: str
    words: str
    run_length: float
    """Subgroups of one stream until a false alarm, process unmoved, limits known."""
    false_alarms_per_week: float
    """Of the whole cell."""
    switched_on: bool


@dataclass(frozen=True, kw_only=True)
class AlarmBudget:
    """The false alarms a cell is promised, and how other rules compare."""

    wanted_per_week: float
    expected_per_week: float
    """Of the detectors, at the planned rate; a switched-on rule set comes on top."""
    rules_per_week: float
    streams: int
    subgroups_per_week: float
    planned: bool
    rules: tuple[RulePrice, ...]
    sentence: str


@dataclass(frozen=True, kw_only=True)
class Alarms(Answer):
    """The alarm budget in full."""

    budget: AlarmBudget
    families: tuple[FamilyBudget, ...]


NOT_PLANNED = to_say(
    "the sheet plans no bores ([planning] bores_per_shift), so {count} subgroups a week are taken for each "
    "stream"
)
OF_DETECTORS = to_say(
    "{expected} false alarms a week are expected of all detectors together; means and ranges at three sigma "
    "would make {classic}, the eight tests of 1984 {eight}."
)
WITH_RULES = to_say(
    "{expected} false alarms a week are expected of all detectors together and {extra} more by the rule sets "
    "switched on; means and ranges at three sigma would make {classic}, the eight tests of 1984 {eight}."
)


def alarms(view: View) -> Alarms:
    """Answer with the run length and the limits of every detector, and the price of each rule set."""
    found = budget(view.sheet)
    return Alarms(
        **view.head(),
        budget=alarm_budget(view),
        families=tuple(_family(found, f, view.sheet.subgroups.size) for f in found.families),
        why_not={} if found.planned else {"planned": _not_planned()},
    )


def alarm_budget(view: View) -> AlarmBudget:
    """Return what is promised, and what the common rule sets would cost on this cell's bores."""
    found = budget(view.sheet)
    own = [f for f in found.families if f.scope == "bore"]
    points = sum(f.streams * f.points for f in own)
    switched_on = view.sheet.alarms.rules if view.sheet.alarms else ()
    size = view.sheet.subgroups.size
    prices = tuple(
        RulePrice(
            name=rules.name,
            words=say(rules.words),
            run_length=rules.points(size),
            false_alarms_per_week=points / rules.points(size),
            switched_on=rules.name in switched_on,
        )
        for rules in RULE_SETS
    )
    extra = sum(p.false_alarms_per_week for p in prices if p.switched_on)
    expected = found.expected_per_week
    return AlarmBudget(
        wanted_per_week=found.per_week,
        expected_per_week=expected,
        rules_per_week=extra,
        streams=sum(f.streams for f in found.families),
        subgroups_per_week=sum(f.streams * f.points for f in found.families),
        planned=found.planned,
        rules=prices,
        sentence=_sentence(found, expected, extra, prices),
    )


def _not_planned() -> str:
    return say(NOT_PLANNED, count=local.number(UNPLANNED_SUBGROUPS))


def _sentence(found: Budget, expected: float, extra: float, prices: tuple[RulePrice, ...]) -> str:
    classic = next(p for p in prices if p.name == "mean-range")
    eight = next(p for p in prices if p.name == "eight-1984")
    text = say(
        WITH_RULES if extra else OF_DETECTORS,
        expected=local.number(expected, 1),
        extra=local.number(extra),
        classic=local.number(classic.false_alarms_per_week),
        eight=local.number(eight.false_alarms_per_week),
    )
    return text if found.planned else say("{text} Note: {note}.", text=text, note=_not_planned())


def _family(found: Budget, family: Family, size: int) -> FamilyBudget:
    rates = found.rates(family)
    detectors = []
    for name in family.detectors:
        rate = getattr(rates, name)
        if name == "level":
            limits = tuple(map(float, level_limits(log_rate(rate))))
        elif name == "spread":
            limits = tuple(map(float, spread_limits(log_rate(rate), size - 1)))
        elif family.scope == FINDING:  # a count of bores: its limit depends on how many there are
            limits = ()
        else:
            limits = (single_limit(rate, size),)
        detectors.append(DetectorBudget(detector=name, run_length=1 / rate, limits=limits))
    total = rates.level + rates.spread + rates.single
    return FamilyBudget(
        part_number=family.part_number,
        feature=family.feature,
        scope=family.scope,
        spindle=family.spindle,
        streams=family.streams,
        subgroups_per_week=family.points,
        false_alarms_per_week=family.streams * family.points * total,
        detectors=tuple(detectors),
    )
