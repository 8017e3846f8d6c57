"""The command `gauge`, and its lines: checks, budget, decisions; studies and pairs stand beside it."""

from __future__ import annotations

import argparse
import textwrap
from typing import TYPE_CHECKING

from cellmon.cli.arguments import listing_arguments, open_monitor
from cellmon.cli.gauge_studies import agreement_section, study_section, variance_tables
from cellmon.cli.showing import Look, show
from cellmon.cli.terminal import figure, table, text
from cellmon.cli.wording import (
    as_of_line,
    count,
    interval,
    not_known_lines,
    number,
    plain,
    signed,
    when,
    yes_no,
)
from cellmon.words import say, say_many

if TYPE_CHECKING:
    from cellmon.monitor.gauge import GaugeAnswer, GaugeStanding, Zone
    from cellmon.monitor.gauge.checks import MasterChecks

NO_WRAP = 10_000


def gauge_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `gauge`."""
    listing_arguments(parser)
    parser.add_argument("--study", metavar="NAME", help="one study in full, with its table of variance")


def gauge(args: argparse.Namespace) -> int:
    """Print whether the gauges can be believed and what they are worth, or one study of them."""
    monitor = open_monitor(args)
    answer = monitor.gauge(study=args.study)
    show(args, monitor, answer, gauge_lines if args.study is None else study_lines)
    return 0


def gauge_lines(answer: GaugeAnswer, look: Look) -> list[str]:
    """Return the answer in a sentence, then a section on each gauge, each study and the decisions."""
    lines = [answer.sentence, answer.caution, as_of_line(answer.as_of, answer.sheet, look.zone)]
    for one in answer.gauges:
        lines += ["", *_standing(one, look)]
    for study in answer.studies:
        lines += ["", *study_section(study, look)]
    lines += ["", *_aside(answer)] if answer.study_rows_aside else []
    for pair in answer.agreements:
        lines += ["", *agreement_section(pair, look)]
    lines += ["", *_wrapped(answer.rule.sentence, look), "", *_zones(answer, look)]
    if answer.noise:
        lines += ["", say("What noise alone adds (simulated with the sheet's uncertainties):")]
        lines += _noise(answer, look)
    return lines + not_known_lines(answer.why_not)


def study_lines(answer: GaugeAnswer, look: Look) -> list[str]:
    """Return one study with its tables of variance, and the budget of its gauge."""
    lines: list[str] = []
    for study in answer.studies:
        lines += [*study_section(study, look), *variance_tables(study, look), ""]
    measured = {s.gauge for s in answer.studies}
    for one in answer.gauges:
        if one.gauge in measured and one.budget is not None:
            lines += [*_budget(one, look), ""]
    return lines[:-1]


def _wrapped(words: str, look: Look, *, indent: str = "") -> list[str]:
    return textwrap.wrap(words, width=look.width or NO_WRAP, initial_indent=indent, subsequent_indent=indent)


def _aside(answer: GaugeAnswer) -> list[str]:
    rows = answer.study_rows_aside
    return [
        say_many(
            "{n} row of study files waits aside, in no study; cellmon aside lists each with its reason.",
            "{n} rows of study files wait aside, in no study; cellmon aside lists each with its reason.",
            rows,
            n=count(rows),
        )
    ]


def _standing(one: GaugeStanding, look: Look) -> list[str]:
    lines = [_use_line(one), *_wrapped(one.on_masters, look, indent="  ")]
    if one.checks is not None:
        columns = (text("on masters"), figure("value (95 %)"), text("unit"), text("from", flexible=True))
        lines += table(columns, _check_rows(one.checks, look), width=look.width)
        lines += [f"  {line}" for line in not_known_lines(one.checks.why_not)]
        lines += _suspects(one, look)
    if one.budget is not None:
        lines += _budget(one, look)
    return lines + [f"  {line}" for line in not_known_lines(one.why_not)]


def _use_line(one: GaugeStanding) -> str:
    use = say("its readings are charted") if one.use == "streams" else say(one.use)
    if one.resolution_um is None:
        return f"{one.gauge} ({use})"
    step = plain(one.resolution_um)
    return say("{gauge} ({use}, reads in steps of {step} um)", gauge=one.gauge, use=use, step=step)


def _check_rows(checks: MasterChecks, look: Look) -> list[list[str | None]]:
    rows = [
        [_zero(checks), interval(checks.zero_um, decimals=2), "um", _checks(checks.zero_n)],
        [say("spread of the zero"), interval(checks.zero_sd_um, decimals=2), "um", say("standard deviation")],
        [say("drift"), interval(checks.drift_um_per_day, decimals=3), say("um a day"), _since(checks, look)],
    ]
    if checks.linearity is not None:
        masters = ", ".join(f"{number(m.master_mm, decimals=4)} mm" for m in checks.linearity.masters)
        error = interval(checks.linearity.over_tolerance_um, decimals=2)
        how = say("by regression over {masters}", masters=masters)
        rows.append([say("error across the tolerance"), error, "um", how])
    return rows


def _zero(checks: MasterChecks) -> str:
    if checks.limit_um is None:
        return say("zero, as found")
    return say("zero, as found within {limit} um", limit=plain(checks.limit_um))


def _checks(n: int) -> str:
    return say("{count} checks", count=n)


def _since(checks: MasterChecks, look: Look) -> str:
    if checks.drift_since is None:
        return _checks(checks.drift_n)
    at = when(checks.drift_since, look.zone)
    return say("{count} checks since it was set, {at}", count=checks.drift_n, at=at)


def _suspects(one: GaugeStanding, look: Look) -> list[str]:
    if one.checks is None or not one.checks.suspect:
        return []
    columns = (
        text("found off"),
        figure("by um"),
        text("suspect from"),
        text("to"),
        figure("bores"),
        figure("blocks"),
        figure("waiting"),
        text("blocks from to", flexible=True),
    )
    rows = [
        [
            when(s.found_at, look.zone),
            signed(s.by_um, decimals=1),
            when(s.after, look.zone),
            when(s.until, look.zone) if s.ended else say("not yet put right"),
            count(s.bores),
            count(s.blocks),
            count(s.waiting),
            None if s.first_part is None else say("{first} to {last}", first=s.first_part, last=s.last_part),
        ]
        for s in one.checks.suspect
    ]
    head = say("Found off: the bores since the last good check are suspect until measured again or decided.")
    return [f"  {head}", *table(columns, rows, width=look.width)]


def _budget(one: GaugeStanding, look: Look) -> list[str]:
    found = one.budget
    if found is None:
        return []
    columns = (
        text("uncertainty of one reading"),
        figure("u um"),
        text("shared"),
        text("counted"),
        text("from", flexible=True),
    )
    rows = [
        [
            line.name,
            number(line.u_um, decimals=2),
            say("by the bore") if line.part == "common" else say("no"),
            yes_no(line.counted),
            line.source,
        ]
        for line in found.lines
    ]
    return [*_wrapped(found.sentence, look, indent="  "), *table(columns, rows, width=look.width)]


def _zones(answer: GaugeAnswer, look: Look) -> list[str]:
    columns = (
        text("feature"),
        figure("u um"),
        figure("guard um"),
        figure("conforms from"),
        figure("to"),
        figure("does not conform below"),
        figure("above"),
    )
    rows = [
        [
            say(z.feature),
            number(z.u_um, decimals=2),
            number(z.guard_um, decimals=2),
            *(signed(v, decimals=1) for v in _ends(z)),
        ]
        for z in answer.rule.zones
    ]
    return table(columns, rows, width=look.width)


def _ends(z: Zone) -> tuple[float | None, ...]:
    return z.conforms_from_um, z.conforms_to_um, z.fails_below_um, z.fails_above_um


def _noise(answer: GaugeAnswer, look: Look) -> list[str]:
    columns = (
        text("figure"),
        figure("u of the verdict um"),
        figure("perfect bore reads um"),
        figure("95 % of it from"),
        figure("to"),
        figure("usual bore reads too much um"),
        figure("spread um"),
    )
    rows = [
        [
            say(n.figure),
            number(n.u_sheet_um, decimals=2),
            number(n.perfect_um.mean, decimals=2),
            number(n.perfect_um.low, decimals=2),
            number(n.perfect_um.high, decimals=2),
            None if n.usual_um is None else number(n.usual_um.too_much, decimals=2),
            None if n.usual_um is None else number(n.usual_um.sd, decimals=2),
        ]
        for n in answer.noise
    ]
    return table(columns, rows, width=look.width)
