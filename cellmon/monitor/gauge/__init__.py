"""Can I believe the gauge? Master checks, studies, uncertainty, decisions near a limit, two gauges."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from cellmon import lengths
from cellmon.errors import NotFound
from cellmon.judged import Bores
from cellmon.local import moment, number
from cellmon.monitor.answers import Answer, Estimate
from cellmon.monitor.gauge.agree import FeatureAgreement, GaugesAgree, agreements
from cellmon.monitor.gauge.budgets import Budget, BudgetLine, budget
from cellmon.monitor.gauge.checks import (
    SHOWN,
    LastCheck,
    Linearity,
    MasterChecks,
    MasterMean,
    SuspectTime,
    master_checks,
)
from cellmon.monitor.gauge.decisions import DecisionRule, ReadByNoise, Zone, decision_rule, read_by_noise
from cellmon.monitor.gauge.studies import StudyAnswer, rows_aside, studies
from cellmon.monitor.gauge.study_feature import (
    ENOUGH,
    LIMITED,
    ONE_READING,
    SIGMAS,
    StudyFeature,
    VarianceLine,
)
from cellmon.monitor.view import View
from cellmon.words import say, to_say

CAUTION = to_say(
    "Advice only: a gauge is set by its maker's manual and the site's procedure, and a qualified person "
    "decides what becomes of suspect bores."
)
LOOKED_AT = np.timedelta64(7, "D")
"""Bores of so long tell the usual bore, the temperatures, and where two gauges read the same."""


@dataclass(frozen=True, kw_only=True)
class GaugeStanding:
    """One gauge: its checks and its budget."""

    gauge: str
    use: str
    resolution_um: float | None
    sentence: str
    on_masters: str
    """What its newest check means for the bores measured now."""
    checks: MasterChecks | None
    budget: Budget | None
    why_not: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class GaugeAnswer(Answer):
    """What the gauges are worth; the first sentence is about the one whose readings are charted."""

    sentence: str
    gauges: tuple[GaugeStanding, ...]
    studies: tuple[StudyAnswer, ...]
    study_rows_aside: int
    agreements: tuple[GaugesAgree, ...]
    rule: DecisionRule
    noise: tuple[ReadByNoise, ...]
    caution: str


def gauge(view: View, *, study: str | None = None) -> GaugeAnswer:
    """Answer with what each gauge is worth; with `study` only that study is worked.

    Raises
    ------
    NotFound
        When no study has that name.
    """
    found = studies(view, study=study)
    if study is not None and not found:
        others = sorted({s.study for s in studies(view)})
        known = ", ".join(others) or say("none yet")
        raise NotFound(say("no gauge study {study}; there are {known}", study=study, known=known))
    since = view.as_of - LOOKED_AT
    bores = view.session.bores(start=since, end=view.as_of)
    names = dict.fromkeys([*view.sheet.gauge_ids, *(s.gauge for s in found)])
    standings = tuple(_standing(view, name, found, bores) for name in names)
    why_not = {} if found else {"studies": say("no gauge study was taken")}
    return GaugeAnswer(
        **{**view.head(), "why_not": why_not},
        sentence=next(s.sentence for s in standings if s.gauge == view.sheet.measuring.gauge),
        gauges=standings,
        studies=found,
        study_rows_aside=rows_aside(view),
        agreements=agreements(view, bores, since),
        rule=decision_rule(view),
        noise=read_by_noise(view, bores),
        caution=say(CAUTION),
    )


def _standing(view: View, name: str, found: Sequence[StudyAnswer], bores: Bores) -> GaugeStanding:
    checks = master_checks(view, name)
    stated = view.sheet.gauge(name) if name in view.sheet.gauge_ids else None
    reads_sizes = checks is not None or any(s.gauge == name for s in found) or (bores.gauge == name).any()
    return GaugeStanding(
        gauge=name,
        use=stated.use if stated else say("not on the sheet"),
        resolution_um=stated.resolution_um if stated else None,
        sentence=_sentence(name, checks, found),
        on_masters=_checks_words(name, checks),
        checks=checks,
        budget=budget(view, name, checks, found, bores) if reads_sizes else None,
        why_not={} if reads_sizes else {"budget": say("it has read no size: no check, no study, no bore")},
    )


def _checks_words(name: str, checks: MasterChecks | None) -> str:
    """Say what the newest check of a gauge means for the bores measured now."""
    if checks is None:
        return say(
            "{name} was not seen on a master in the last {days} days, so nobody knows whether it reads "
            "right.",
            name=name,
            days=number(SHOWN / np.timedelta64(1, "D")),
        )
    last = checks.last
    found = {
        "name": name,
        "at": moment(last.at),
        "off": lengths.said(last.error_um, 1, sign=True),
    }
    if last.good is False:
        return say(
            "Do not believe {name}: on {at} it read its master {off} off. Set it right, then measure again.",
            **found,
        )
    if last.good is None:
        said = say(
            "{name} read its master {off} off on {at}; the sheet sets no limit (as_found_limit_um).", **found
        )
    else:
        said = say("{name} last read its master {off} off, on {at}.", **found)
    late = checks.due is not None and checks.due.overdue
    return " ".join([said, say("That check is overdue.")]) if late else said


SIZES = (ONE_READING, "diameter")


def _sentence(gauge: str, checks: MasterChecks | None, found: Sequence[StudyAnswer]) -> str:
    """Return the answer in some sentences: the checks, then size against its tolerance, then form."""
    worst = _worst(found, gauge)
    sizes = [worst[name] for name in SIZES if name in worst]
    if not sizes:
        unknown = say("How well it repeats is not known: no study of it with a tolerance was taken.")
        return f"{_checks_words(gauge, checks)} {unknown}"
    size = max(sizes, key=lambda one: one.value or 0.0)
    share = size.value or 0.0
    if size.high is None:
        takes = say("It takes {share} % of the tolerance of size.", share=number(share))
    else:
        takes = say(
            "It takes {share} % of the tolerance of size (95 %: up to {high} %).",
            share=number(share),
            high=number(size.high),
        )
    forms = _forms({k: v for k, v in worst.items() if k not in SIZES})
    return " ".join([_believed(gauge, checks, share), takes, *forms])


def _worst(found: Sequence[StudyAnswer], gauge: str) -> dict[str, Estimate]:
    """Return the largest share of the tolerance that a study of a gauge found for each feature, per cent."""
    worst: dict[str, Estimate] = {}
    for f in (f for s in found if s.gauge == gauge for f in s.features):
        share = f.of_tolerance
        if share is not None and share.value is not None:
            before = worst.get(f.feature)
            if before is None or share.value > (before.value or 0.0):
                worst[f.feature] = share
    return worst


def _believed(gauge: str, checks: MasterChecks | None, share: float) -> str:
    """Return the checks' sentence, with the answer in a word before it where they do not forbid one."""
    words = _checks_words(gauge, checks)
    if checks is None or checks.last.good is not True or (checks.due is not None and checks.due.overdue):
        return words
    if share <= ENOUGH:
        return say("Yes: {words}", words=words)
    return say("With care: {words}", words=words) if share <= LIMITED else say("No: {words}", words=words)


def _forms(worst: Mapping[str, Estimate]) -> list[str]:
    """Name the features of form for which the gauge is not good enough, or needs care."""
    care = [(n, v) for n, e in worst.items() if ENOUGH < (v := e.value or 0.0) <= LIMITED]
    bad = [(n, v) for n, e in worst.items() if (v := e.value or 0.0) > LIMITED]
    said = [say("Of form, use with care: {features}.", features=_named(care))] if care else []
    return said + ([say("Not good enough for {features}.", features=_named(bad))] if bad else [])


def _named(shares: Sequence[tuple[str, float]]) -> str:
    return ", ".join(f"{name} ({number(share)} %)" for name, share in shares)


__all__ = [
    "ENOUGH",
    "LIMITED",
    "ONE_READING",
    "SIGMAS",
    "Budget",
    "BudgetLine",
    "DecisionRule",
    "FeatureAgreement",
    "GaugeAnswer",
    "GaugeStanding",
    "GaugesAgree",
    "LastCheck",
    "Linearity",
    "MasterChecks",
    "MasterMean",
    "ReadByNoise",
    "StudyAnswer",
    "StudyFeature",
    "SuspectTime",
    "VarianceLine",
    "Zone",
    "gauge",
]
