"""The lines of the alarm budget: what each detector may cost, and what common rules would."""

from __future__ import annotations

from collections.abc import Sequence

from cellmon.cli.showing import Look
from cellmon.cli.terminal import figure, table, text
from cellmon.cli.wording import count, when
from cellmon.monitor.alarms import Alarms, DetectorBudget, FamilyBudget, RulePrice

SCOPES = {
    "bore": "each bore",
    "distance": "each bore's distance from all",
    "spindle": "mean of the spindle",
    "all": "mean of all",
    "audit": "each bore, audited",
    "finding": "share of bores",
}
DETECTORS = ("level", "spread", "single")


def alarms_lines(answer: Alarms, look: Look) -> list[str]:
    """Return the promise in a sentence, a row a family of streams, a row a rule set."""
    b = answer.budget
    rate = "as planned" if b.planned else "assumed"
    wanted = f"Wanted on the sheet: {b.wanted_per_week:g} a week. "
    lines = [
        b.sentence,
        f"{wanted}{b.streams:,} streams make {b.subgroups_per_week:,.0f} subgroups a week, {rate}.",
        f"As of {when(answer.as_of, look.zone)}, sheet version {answer.sheet}.",
        "",
        "What each detector is allowed: one false alarm of a stream in so many subgroups, and its limits.",
        *_families(answer, look),
        "",
        "What rule sets would cost, on the charts of each bore:",
        *_rules(b.rules, look),
    ]
    return lines + [f"not known: {name}: {why}" for name, why in answer.why_not.items()]


def _families(answer: Alarms, look: Look) -> list[str]:
    columns = (
        text("feature"),
        text("of"),
        text("spindles"),
        figure("streams"),
        figure("subgroups/week"),
        figure("false alarms/week"),
        *(figure(f"{name}: one in") for name in DETECTORS),
        *(text(f"{name} limits", spare=True) for name in DETECTORS),
        text("part number", spare=True),
    )
    alike: dict[tuple[object, ...], list[FamilyBudget]] = {}
    for f in answer.families:
        key = (f.part_number, f.feature, f.scope, f.subgroups_per_week, f.detectors)
        alike.setdefault(key, []).append(f)
    rows = [_family_row(families) for families in alike.values()]
    return table(columns, rows, width=look.width) or ["No stream is watched."]


def _family_row(alike: Sequence[FamilyBudget]) -> list[str | None]:
    """Return the row of families that differ in their spindle only."""
    f = alike[0]
    found = {d.detector: d for d in f.detectors}
    streams = sum(one.streams for one in alike)
    return [
        f.feature,
        SCOPES.get(f.scope, f.scope),
        ", ".join(one.spindle for one in alike if one.spindle),
        count(streams),
        count(streams * f.subgroups_per_week),
        f"{sum(one.false_alarms_per_week for one in alike):.2f}",
        *(count(found[name].run_length) if name in found else None for name in DETECTORS),
        *(_limits(found.get(name)) for name in DETECTORS),
        f.part_number,
    ]


def _limits(detector: DetectorBudget | None) -> str | None:
    return None if detector is None else " ".join(f"{limit:.2f}" for limit in detector.limits)


def _rules(rules: tuple[RulePrice, ...], look: Look) -> list[str]:
    columns = (
        text("rule set"),
        text("signals at", flexible=True),
        figure("one in"),
        figure("false alarms/week"),
        text("switched on"),
    )
    rows = [
        [
            rule.name,
            rule.words,
            count(rule.run_length),
            count(rule.false_alarms_per_week),
            "yes" if rule.switched_on else "no",
        ]
        for rule in rules
    ]
    return table(columns, rows, width=look.width)
