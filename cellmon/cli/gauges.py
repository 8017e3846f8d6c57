"""The command `gauge`, and its lines: checks, studies, budget, decisions, two gauges compared."""

from __future__ import annotations

import argparse
import textwrap
from typing import TYPE_CHECKING

from cellmon.cli.arguments import listing_arguments, open_monitor
from cellmon.cli.showing import Look, show
from cellmon.cli.terminal import figure, table, text
from cellmon.cli.wording import interval, number, plural, signed, when

if TYPE_CHECKING:
    from cellmon.monitor.gauge import (
        GaugeAnswer,
        GaugesAgree,
        GaugeStanding,
        StudyAnswer,
        StudyFeature,
        Zone,
    )

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
    lines = [
        answer.sentence,
        answer.caution,
        f"As of {when(answer.as_of, look.zone)}, sheet version {answer.sheet}.",
    ]
    for one in answer.gauges:
        lines += ["", *_standing(one, look)]
    for study in answer.studies:
        lines += ["", *_study(study, look)]
    lines += ["", *_aside(answer)] if answer.study_rows_aside else []
    for pair in answer.agreements:
        lines += ["", *_agreement(pair, look)]
    lines += ["", *_wrapped(answer.rule.sentence, look), "", *_zones(answer, look)]
    if answer.noise:
        lines += [
            "",
            "What noise alone adds (simulated with the sheet's uncertainties):",
            *_noise(answer, look),
        ]
    return lines + [f"not known: {name}: {why}" for name, why in answer.why_not.items()]


def study_lines(answer: GaugeAnswer, look: Look) -> list[str]:
    """Return one study with its tables of variance, and the budget of its gauge."""
    lines: list[str] = []
    for study in answer.studies:
        lines += [*_study(study, look), *_tables(study, look), ""]
    measured = {s.gauge for s in answer.studies}
    for one in answer.gauges:
        if one.gauge in measured and one.budget is not None:
            lines += [*_budget(one, look), ""]
    return lines[:-1]


def _wrapped(words: str, look: Look, *, indent: str = "") -> list[str]:
    return textwrap.wrap(words, width=look.width or NO_WRAP, initial_indent=indent, subsequent_indent=indent)


def _aside(answer: GaugeAnswer) -> list[str]:
    rows = plural(answer.study_rows_aside, "row of study files waits", "rows of study files wait")
    return [f"{rows} aside, in no study; cellmon aside lists each with its reason."]


def _standing(one: GaugeStanding, look: Look) -> list[str]:
    step = "" if one.resolution_um is None else f", reads in steps of {one.resolution_um:g} um"
    use = "its readings are charted" if one.use == "streams" else one.use
    lines = [f"{one.gauge} ({use}{step})", *_wrapped(one.on_masters, look, indent="  ")]
    checks = one.checks
    if checks is not None:
        limit = "" if checks.limit_um is None else f" within {checks.limit_um:g} um"
        rows = [
            [f"zero, as found{limit}", interval(checks.zero_um, decimals=2), "um", f"{checks.zero_n} checks"],
            ["spread of the zero", interval(checks.zero_sd_um, decimals=2), "um", "standard deviation"],
            ["drift", interval(checks.drift_um_per_day, decimals=3), "um a day", _since(one, look)],
        ]
        if checks.linearity is not None:
            masters = ", ".join(f"{m.master_mm:.4f} mm" for m in checks.linearity.masters)
            error = interval(checks.linearity.over_tolerance_um, decimals=2)
            rows.append(["error across the tolerance", error, "um", f"by regression over {masters}"])
        columns = (text("on masters"), figure("value (95 %)"), text("unit"), text("from", flexible=True))
        lines += table(columns, rows, width=look.width)
        lines += [f"  not known: {name}: {why}" for name, why in checks.why_not.items()]
        lines += _suspects(one, look)
    if one.budget is not None:
        lines += _budget(one, look)
    return lines + [f"  not known: {name}: {why}" for name, why in one.why_not.items()]


def _since(one: GaugeStanding, look: Look) -> str:
    checks = one.checks
    if checks is None:
        return ""
    since = "" if checks.drift_since is None else f" since it was set, {when(checks.drift_since, look.zone)}"
    return f"{checks.drift_n} checks{since}"


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
            when(s.until, look.zone) if s.ended else "not yet put right",
            f"{s.bores:,}",
            f"{s.blocks:,}",
            f"{s.waiting:,}",
            None if s.first_part is None else f"{s.first_part} to {s.last_part}",
        ]
        for s in one.checks.suspect
    ]
    head = "  Found off: the bores since the last good check are suspect until measured again or decided."
    return [head, *table(columns, rows, width=look.width)]


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
            "by the bore" if line.part == "common" else "no",
            "yes" if line.counted else "no",
            line.source,
        ]
        for line in found.lines
    ]
    return [*_wrapped(found.sentence, look, indent="  "), *table(columns, rows, width=look.width)]


def _study(study: StudyAnswer, look: Look) -> list[str]:
    lines = [
        f"Study {study.study} of {study.gauge}: {study.design}, {plural(study.readings, 'reading')}. "
        f"Shares are of {study.sigmas:g} standard deviations."
    ]
    columns = (
        text("feature"),
        text("size"),
        figure("repeats um"),
        figure("persons um"),
        figure("gauge um"),
        figure("parts um"),
        figure("% of tolerance"),
        figure("% of study", spare=True),
        figure("categories"),
        text("verdict", flexible=True),
    )
    if any(f.bias_um is not None for f in study.features):
        columns = (*columns[:3], figure("bias um"), *columns[4:])
    lines += table(columns, [_feature_row(f, study) for f in study.features], width=look.width)
    lines += [f"  left out: {words}" for words in study.left_out]
    lines += [f"  note: {words}" for words in study.notes]
    lines += [f"  {f.feature}: {words}" for f in study.features if (words := _step(f))]
    if study.linearity is not None:
        lines.append(
            f"  error across the tolerance, by regression over {len(study.linearity.masters)} masters: "
            f"{interval(study.linearity.over_tolerance_um, decimals=2)} um"
        )
    return lines + _whys(study)


def _feature_row(f: StudyFeature, study: StudyAnswer) -> list[str | None]:
    biased = any(one.bias_um is not None for one in study.features)
    shape = " x ".join(str(n) for n in (f.parts, f.operators, f.trials) if n)
    return [
        f.feature,
        shape,
        interval(f.repeatability_um, decimals=2),
        interval(f.bias_um if biased else f.reproducibility_um, decimals=2),
        interval(f.gauge_um, decimals=2),
        interval(f.part_um, decimals=2),
        interval(f.of_tolerance, decimals=0),
        interval(f.of_study, decimals=0),
        None if f.categories_claimed is None else f"{f.categories_claimed}",
        f.verdict,
    ]


def _step(f: StudyFeature) -> str:
    """Say how the steps of the readings compare with the tolerance and with what repeats."""
    test = f.resolution
    if test is None:
        return ""
    said = [f"read in steps of {test.step:.3g} um"]
    if test.of_tolerance is not None:
        enough = "fine enough" if test.fine_for_tolerance else "too coarse, a tenth is the least"
        said.append(f"{100 * test.of_tolerance:.1f} % of the tolerance ({enough})")
    if test.of_sigma is not None:
        enough = "fine enough" if test.fine_for_sigma else "too coarse to show how well it repeats"
        said.append(f"{test.of_sigma:.1f} standard deviations of repetition ({enough})")
    return ", ".join(said)


def _whys(study: StudyAnswer) -> list[str]:
    said: dict[str, dict[str, None]] = {}
    for f in study.features:
        for name, why in f.why_not.items():
            said.setdefault(why, {})[name] = None
    return [f"  not known: {', '.join(names)}: {why}" for why, names in said.items()]


def _tables(study: StudyAnswer, look: Look) -> list[str]:
    lines: list[str] = []
    for f in study.features:
        if not f.table:
            continue
        chance = "" if f.p_interaction is None else f", interaction by chance {f.p_interaction:.3f}"
        pooled = " (pooled into the repeats: above 0.25)" if f.pooled else ""
        columns = (
            text(f"variance of {f.feature}"),
            figure("df"),
            figure("sum of squares"),
            figure("mean square"),
        )
        rows = [[v.source, str(v.df), number(v.ss, decimals=4), number(v.ms, decimals=5)] for v in f.table]
        lines += ["", *table(columns, rows, width=look.width), f"  {f.feature}{chance}{pooled}"]
    return lines


def _agreement(pair: GaugesAgree, look: Look) -> list[str]:
    out = "" if not pair.left_out else f"; {plural(pair.left_out, 'pair')} left out, doubted or not whole"
    since, until = when(pair.since, look.zone), when(pair.until, look.zone)
    lines = [
        f"{pair.first} less {pair.second} on the {plural(len(pair.part), 'bore')} both measured, "
        f"{since} to {until}{out}:"
    ]
    columns = (
        text("feature"),
        figure("bores"),
        figure("difference um (95 %)"),
        figure("95 % of bores from"),
        figure("to"),
        figure("slope", spare=True),
        text("what it says", flexible=True),
    )
    rows = [
        [
            f.feature,
            f"{f.n:,}",
            interval(f.difference_um, decimals=2),
            interval(f.lower_um, decimals=1),
            interval(f.upper_um, decimals=1),
            interval(f.slope, decimals=3),
            f.sentence,
        ]
        for f in pair.features
    ]
    return [*lines, *table(columns, rows, width=look.width)]


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
            z.feature,
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
            n.figure,
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
