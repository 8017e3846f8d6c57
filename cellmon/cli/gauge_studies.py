"""The lines about gauge studies, and about two gauges on the same bores."""

from __future__ import annotations

from typing import TYPE_CHECKING

from cellmon.cli.showing import Look
from cellmon.cli.terminal import figure, table, text
from cellmon.cli.wording import (
    count,
    counted_bores,
    interval,
    not_known_line,
    note_line,
    number,
    plain,
    when,
)
from cellmon.words import say, say_many, to_say

if TYPE_CHECKING:
    from cellmon.monitor.gauge import GaugesAgree, StudyAnswer, StudyFeature
    from cellmon.monitor.gauge.checks import Linearity


def study_section(study: StudyAnswer, look: Look) -> list[str]:
    """Return one study: what it was, a row a feature, its steps, what is not known."""
    lines = [f"{_study_head(study)} {_shares_of(study)}"]
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
    lines += [f"  {say('left out: {words}', words=words)}" for words in study.left_out]
    lines += [f"  {note_line(words)}" for words in study.notes]
    lines += [f"  {say(f.feature)}: {words}" for f in study.features if (words := _step(f))]
    if study.linearity is not None:
        lines.append(f"  {_across(study.linearity)}")
    return lines + _whys(study)


def _study_head(study: StudyAnswer) -> str:
    return say_many(
        "Study {study} of {gauge}: {design}, {n} reading.",
        "Study {study} of {gauge}: {design}, {n} readings.",
        study.readings,
        study=study.study,
        gauge=study.gauge,
        design=say(study.design),
        n=count(study.readings),
    )


def _shares_of(study: StudyAnswer) -> str:
    return say("Shares are of {sigmas} standard deviations.", sigmas=plain(study.sigmas))


def _across(linearity: Linearity) -> str:
    return say(
        "error across the tolerance, by regression over {count} masters: {error} um",
        count=len(linearity.masters),
        error=interval(linearity.over_tolerance_um, decimals=2),
    )


def _feature_row(f: StudyFeature, study: StudyAnswer) -> list[str | None]:
    biased = any(one.bias_um is not None for one in study.features)
    shape = " x ".join(str(n) for n in (f.parts, f.operators, f.trials) if n)
    return [
        say(f.feature),
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
    told = [say("read in steps of {step} um", step=plain(test.step, digits=3))]
    if test.of_tolerance is not None:
        share = number(100 * test.of_tolerance, decimals=1)
        told.append(say(_FINE_FOR_LIMITS if test.fine_for_tolerance else _COARSE_FOR_LIMITS, share=share))
    if test.of_sigma is not None:
        sigmas = number(test.of_sigma, decimals=1)
        told.append(say(_FINE_TO_REPEAT if test.fine_for_sigma else _COARSE_TO_REPEAT, sigmas=sigmas))
    return ", ".join(told)


_FINE_FOR_LIMITS = to_say("{share} % of the tolerance (fine enough)")
_COARSE_FOR_LIMITS = to_say("{share} % of the tolerance (too coarse, a tenth is the least)")
_FINE_TO_REPEAT = to_say("{sigmas} standard deviations of repetition (fine enough)")
_COARSE_TO_REPEAT = to_say(
    "{sigmas} standard deviations of repetition (too coarse to show how well it repeats)"
)


def _whys(study: StudyAnswer) -> list[str]:
    told: dict[str, dict[str, None]] = {}
    for f in study.features:
        for name, why in f.why_not.items():
            told.setdefault(why, {})[name] = None
    return [f"  {not_known_line(', '.join(names), why)}" for why, names in told.items()]


def variance_tables(study: StudyAnswer, look: Look) -> list[str]:
    """Return the table of variance of every feature that has one."""
    lines: list[str] = []
    for f in study.features:
        if not f.table:
            continue
        columns = (
            text(say("variance of {feature}", feature=say(f.feature))),
            figure("df"),
            figure("sum of squares"),
            figure("mean square"),
        )
        rows = [
            [say(v.source), str(v.df), number(v.ss, decimals=4), number(v.ms, decimals=5)] for v in f.table
        ]
        lines += ["", *table(columns, rows, width=look.width), f"  {_interaction(f)}"]
    return lines


def _interaction(f: StudyFeature) -> str:
    told = say(f.feature)
    if f.p_interaction is not None:
        chance = number(f.p_interaction, decimals=3)
        told = say("{feature}, interaction by chance {chance}", feature=told, chance=chance)
    if f.pooled:
        least = number(0.25, decimals=2)
        told = say("{feature} (pooled into the repeats: above {least})", feature=told, least=least)
    return told


def agreement_section(pair: GaugesAgree, look: Look) -> list[str]:
    """Return how two gauges compare on the bores both measured, a row a feature."""
    lines = [_agreement_head(pair, look)]
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
            say(f.feature),
            count(f.n),
            interval(f.difference_um, decimals=2),
            interval(f.lower_um, decimals=1),
            interval(f.upper_um, decimals=1),
            interval(f.slope, decimals=3),
            f.sentence,
        ]
        for f in pair.features
    ]
    return [*lines, *table(columns, rows, width=look.width)]


def _agreement_head(pair: GaugesAgree, look: Look) -> str:
    what = {
        "first": pair.first,
        "second": pair.second,
        "bores": counted_bores(len(pair.part)),
        "since": when(pair.since, look.zone),
        "until": when(pair.until, look.zone),
    }
    if not pair.left_out:
        return say("{first} less {second} on the {bores} both measured, {since} to {until}:", **what)
    return say_many(
        "{first} less {second} on the {bores} both measured, {since} to {until}; {n} pair left out, doubted "
        "or not whole:",
        "{first} less {second} on the {bores} both measured, {since} to {until}; {n} pairs left out, doubted "
        "or not whole:",
        pair.left_out,
        n=count(pair.left_out),
        **what,
    )
