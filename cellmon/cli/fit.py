"""The command `fit`: clearance of bores and mating parts, by chance, by grades, and pair by pair."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from functools import partial

from cellmon import local
from cellmon.cli.arguments import (
    last_argument,
    listing_arguments,
    open_monitor,
    whole,
    window,
    window_arguments,
)
from cellmon.cli.showing import Look, show
from cellmon.cli.terminal import figure, table, text
from cellmon.cli.wording import count, counted_bores, listed, note_line, number, plain, signed
from cellmon.monitor.fit import FitAnswer, FitPair, Grade, Grading, PairList
from cellmon.words import say, say_many, to_say


def fit_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `fit`."""
    listing_arguments(parser)
    parser.add_argument("--grades", metavar="N", type=_some, help="so many grades (default: the sheet's)")
    parser.add_argument("--pairs", action="store_true", help="list which part goes into which bore")
    parser.add_argument(
        "--at-c", metavar="T", type=float, default=20.0, help="clearance at this temperature (default 20)"
    )
    parser.add_argument("--part-number", metavar="P", help="the drawing, where the sheet names several")
    window_arguments(parser)
    last_argument(parser)


def _some(typed: str) -> int:
    found = whole(typed)
    if found < 1:
        raise argparse.ArgumentTypeError("at least one grade")
    return found


def fit(args: argparse.Namespace) -> int:
    """Print the clearance, what grades do about it, and with `--pairs` the pairing list."""
    monitor = open_monitor(args)
    during = window(args, monitor)
    answer = monitor.fit(
        grades=args.grades,
        pairs=args.pairs,
        at_c=args.at_c,
        part_number=args.part_number,
        since=during["since"],
        until=during["until"],
    )
    show(args, monitor, answer, partial(fit_lines, last=args.last))
    return 0


def fit_lines(answer: FitAnswer, look: Look, *, last: int) -> list[str]:
    """Return the clearance, the grades in use and the best there are, the pairing list, what was assumed."""
    lines = [answer.sentence, "", *_populations(answer, look), *_shares(answer)]
    lines += ["", _grades_line(answer)]
    lines += table(_GRADE_COLUMNS, [_grade_row(g) for g in answer.grades.grades], width=look.width)
    if answer.misgraded is not None:
        share = _per_cent(answer.misgraded)
        lines.append(say("The gauge puts {share} of the bores into a wrong grade.", share=share))
    lines += ["", say("Best borders, whole um from nominal, bores and mating parts each with their own:")]
    lines += table(_BEST_COLUMNS, [_best_row(g) for g in answer.best], width=look.width)
    if answer.pairing is not None:
        lines += ["", *_pair_lines(answer.pairing, look, last=last)]
    if answer.notes:
        lines += ["", *(note_line(note) for note in answer.notes)]
    return [*lines, "", answer.caution]


def _grades_line(answer: FitAnswer) -> str:
    return say(
        "Grades, of the newest {bores} and {mates}: {left}.",
        bores=counted_bores(answer.at_hand_bores),
        mates=_mates(answer.at_hand_mates),
        left=_left(answer.grades),
    )


def _mates(n: int) -> str:
    return say_many("{n} mating part", "{n} mating parts", n, n=local.number(n))


def _pairs(n: int) -> str:
    return say_many("{n} pair", "{n} pairs", n, n=local.number(n))


def _populations(answer: FitAnswer, look: Look) -> list[str]:
    columns = (text("um from nominal, at 20 degrees"), figure("n"), figure("mean"), figure("sd"))
    bores = say("bores ({size})", size=say(answer.bore_size))
    rows = [
        [name, count(p.n), signed(p.mean_um, decimals=look.um), number(p.sd_um, decimals=2)]
        for name, p in ((bores, answer.bores), (say("mating parts"), answer.mates))
    ]
    rows.append(
        [
            say("clearance at {at} degrees", at=plain(answer.at_c)),
            None,
            number(answer.mean_um, decimals=look.um),
            number(answer.sd_um, decimals=2),
        ]
    )
    return table(columns, rows, width=look.width)


def _shares(answer: FitAnswer) -> list[str]:
    lines = [
        say(
            "Too tight {below}, too loose {above}; were both normal, {normal} outside.",
            below=_per_cent(answer.below),
            above=_per_cent(answer.above),
            normal=_per_cent(answer.outside_if_normal),
        ),
        say(
            "With the least two-point size of each bore {share} are too tight.",
            share=_per_cent(answer.below_at_least_size),
        ),
    ]
    if answer.growth_um:
        change = number(abs(answer.growth_um), decimals=1)
        grown = _LARGER if answer.growth_um > 0 else _SMALLER
        lines.append(say(grown, change=change, at=plain(answer.at_c)))
    return lines


_LARGER = to_say("Every clearance is {change} um larger at {at} degrees than at 20.")
_SMALLER = to_say("Every clearance is {change} um smaller at {at} degrees than at 20.")


def _per_cent(share: float) -> str:
    if 0 < share < 1e-4:
        return say("under {share} %", share=local.number(0.01, 2))
    return f"{number(100 * share, decimals=2 if share < 0.001 else 1)} %"


def _left(g: Grading) -> str:
    return say(
        "{pairs}, {bores} and {mates} left over, {share} of the pairs outside",
        pairs=_pairs(g.pairs),
        bores=counted_bores(g.left_bores),
        mates=_mates(g.left_mates),
        share=_per_cent(g.outside),
    )


_GRADE_COLUMNS = (
    text("bores um"),
    text("mating parts um"),
    figure("bores"),
    figure("mating parts"),
    figure("pairs"),
    figure("outside"),
)
_BEST_COLUMNS = (
    figure("grades"),
    text("bore borders"),
    text("mating borders"),
    figure("pairs"),
    figure("bores left"),
    figure("mating parts left"),
    figure("outside"),
)


def _grade_row(g: Grade) -> Sequence[str | None]:
    return [
        _stretch(g.bore_from_um, g.bore_to_um),
        _stretch(g.mate_from_um, g.mate_to_um),
        count(g.bores),
        count(g.mates),
        count(g.pairs),
        _per_cent(g.outside),
    ]


def _stretch(low: float | None, high: float | None) -> str:
    if low is None:
        return say("all") if high is None else say("under {least}", least=_border(high))
    if high is None:
        return say("{low} and more", low=_border(low))
    return say("{low} to under {high}", low=_border(low), high=_border(high))


def _border(um: float) -> str:
    return plain(round(um, 1))


def _best_row(g: Grading) -> Sequence[str | None]:
    return [
        str(len(g.grades)),
        " ".join(_border(b) for b in g.borders_um),
        " ".join(_border(b) for b in g.mate_borders_um),
        count(g.pairs),
        count(g.left_bores),
        count(g.left_mates),
        _per_cent(g.outside),
    ]


def _pair_lines(pairing: PairList, look: Look, *, last: int) -> list[str]:
    columns = (
        text("part"),
        text("bore"),
        figure("bore um", spare=True),
        text("mating part"),
        figure("mating um", spare=True),
        figure("clearance um"),
    )
    shown = pairing.pairs[-last:] if last else pairing.pairs
    pairs = _pairs(len(pairing.pairs))
    lines = [say("Pairing list: {pairs} inside the limits, the most there can be.", pairs=pairs)]
    lines += table(columns, [_pair_row(p, look) for p in shown], width=look.width)
    if len(shown) < len(pairing.pairs):
        of = len(pairing.pairs)
        lines.append(say("These are the last {shown} of {all}; --last 0 shows all.", shown=last, all=of))
    for text_, left in ((_BORES_LEFT, pairing.left_bores), (_MATES_LEFT, pairing.left_mates)):
        if left:
            names = listed(one.part if one.bore is None else f"{one.part} {one.bore}" for one in left)
            lines.append(say(text_, count=len(left), names=names))
    if not pairing.nearest:
        lines.append(say("So many parts are paired inside the limits only, not nearest to their middle."))
    return lines


_BORES_LEFT = to_say("Without a partner: {count} bores: {names}.")
_MATES_LEFT = to_say("Without a partner: {count} mating parts: {names}.")


def _pair_row(p: FitPair, look: Look) -> Sequence[str | None]:
    return [
        p.part,
        p.bore,
        signed(p.bore_um, decimals=look.um),
        p.mating_part,
        signed(p.mating_um, decimals=look.um),
        number(p.clearance_um, decimals=look.um),
    ]
