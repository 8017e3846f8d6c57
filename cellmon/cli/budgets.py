"""The lines of the alarm budget: what each detector may cost, and what common rules would."""

from __future__ import annotations

from collections.abc import Sequence

from cellmon.cli.showing import Look
from cellmon.cli.terminal import figure, table, text
from cellmon.cli.wording import as_of_line, count, not_known_lines, number, plain, yes_no
from cellmon.monitor.alarms import Alarms, DetectorBudget, FamilyBudget, RulePrice
from cellmon.words import say, to_say

SCOPES = {
    "bore": to_say("each bore"),
    "distance": to_say("each bore's distance from all"),
    "spindle": to_say("mean of the spindle"),
    "all": to_say("mean of all"),
    "audit": to_say("each bore, audited"),
    "finding": to_say("share of bores"),
}
DETECTORS = (to_say("level"), to_say("spread"), to_say("single"))
PLANNED = to_say(
    "Wanted on the sheet: {wanted} a week. {streams} streams make {subgroups} subgroups a week, as planned."
)
ASSUMED = to_say(
    "Wanted on the sheet: {wanted} a week. {streams} streams make {subgroups} subgroups a week, assumed."
)


def alarms_lines(answer: Alarms, look: Look) -> list[str]:
    """Return the promise in a sentence, a row a family of streams, a row a rule set."""
    b = answer.budget
    rate = {
        "wanted": plain(b.wanted_per_week),
        "streams": count(b.streams),
        "subgroups": count(b.subgroups_per_week),
    }
    lines = [
        b.sentence,
        say(PLANNED if b.planned else ASSUMED, **rate),
        as_of_line(answer.as_of, answer.sheet, look.zone),
        "",
        say(
            "What each detector is allowed: one false alarm of a stream in so many subgroups, and its limits."
        ),
        *_families(answer, look),
        "",
        say("What rule sets would cost, on the charts of each bore:"),
        *_rules(b.rules, look),
    ]
    return lines + not_known_lines(answer.why_not)


def _families(answer: Alarms, look: Look) -> list[str]:
    columns = (
        text("feature"),
        text("of"),
        text("spindles"),
        figure("streams"),
        figure("subgroups/week"),
        figure("false alarms/week"),
        *(figure(say("{detector}: one in", detector=say(name))) for name in DETECTORS),
        *(text(say("{detector} limits", detector=say(name)), spare=True) for name in DETECTORS),
        text("part number", spare=True),
    )
    alike: dict[tuple[object, ...], list[FamilyBudget]] = {}
    for f in answer.families:
        key = (f.part_number, f.feature, f.scope, f.subgroups_per_week, f.detectors)
        alike.setdefault(key, []).append(f)
    rows = [_family_row(families) for families in alike.values()]
    return table(columns, rows, width=look.width) or [say("No stream is watched.")]


def _family_row(alike: Sequence[FamilyBudget]) -> list[str | None]:
    """Return the row of families that differ in their spindle only."""
    f = alike[0]
    found = {d.detector: d for d in f.detectors}
    streams = sum(one.streams for one in alike)
    return [
        say(f.feature),
        say(SCOPES.get(f.scope, f.scope)),
        ", ".join(one.spindle for one in alike if one.spindle),
        count(streams),
        count(streams * f.subgroups_per_week),
        number(sum(one.false_alarms_per_week for one in alike), decimals=2),
        *(count(found[name].run_length) if name in found else None for name in DETECTORS),
        *(_limits(found.get(name)) for name in DETECTORS),
        f.part_number,
    ]


def _limits(detector: DetectorBudget | None) -> str | None:
    if detector is None:
        return None
    return " ".join(str(number(limit, decimals=2)) for limit in detector.limits)


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
            yes_no(rule.switched_on),
        ]
        for rule in rules
    ]
    return table(columns, rows, width=look.width)
