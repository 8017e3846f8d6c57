"""The command `fit`: clearance of bores and mating parts, by chance, by grades, and pair by pair."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from functools import partial

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
from cellmon.cli.wording import count, listed, number, plural, signed
from cellmon.monitor.fit import FitAnswer, FitPair, Grade, Grading, PairList


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
    hand = (
        f"the newest {plural(answer.at_hand_bores, 'bore')} and {plural(answer.at_hand_mates, 'mating part')}"
    )
    lines += ["", f"Grades, of {hand}: {_left(answer.grades)}."]
    lines += table(_GRADE_COLUMNS, [_grade_row(g) for g in answer.grades.grades], width=look.width)
    if answer.misgraded is not None:
        lines.append(f"The gauge puts {_per_cent(answer.misgraded)} of the bores into a wrong grade.")
    lines += ["", "Best borders, whole um from nominal, bores and mating parts each with their own:"]
    lines += table(_BEST_COLUMNS, [_best_row(g) for g in answer.best], width=look.width)
    if answer.pairing is not None:
        lines += ["", *_pair_lines(answer.pairing, look, last=last)]
    if answer.notes:
        lines += ["", *(f"note: {note}" for note in answer.notes)]
    return [*lines, "", answer.caution]


def _populations(answer: FitAnswer, look: Look) -> list[str]:
    columns = (text("um from nominal, at 20 degrees"), figure("n"), figure("mean"), figure("sd"))
    rows = [
        [name, count(p.n), signed(p.mean_um, decimals=look.um), number(p.sd_um, decimals=2)]
        for name, p in ((f"bores ({answer.bore_size})", answer.bores), ("mating parts", answer.mates))
    ]
    rows.append(
        [
            f"clearance at {answer.at_c:g} degrees",
            None,
            number(answer.mean_um, decimals=look.um),
            number(answer.sd_um, decimals=2),
        ]
    )
    return table(columns, rows, width=look.width)


def _shares(answer: FitAnswer) -> list[str]:
    lines = [
        f"Too tight {_per_cent(answer.below)}, too loose {_per_cent(answer.above)}; were both normal, "
        f"{_per_cent(answer.outside_if_normal)} outside.",
        f"With the least two-point size of each bore {_per_cent(answer.below_at_least_size)} are too tight.",
    ]
    if answer.growth_um:
        word = "larger" if answer.growth_um > 0 else "smaller"
        change = number(abs(answer.growth_um), decimals=1)
        lines.append(f"Every clearance is {change} um {word} at {answer.at_c:g} degrees than at 20.")
    return lines


def _per_cent(share: float) -> str:
    return "under 0.01 %" if 0 < share < 1e-4 else f"{100 * share:.{2 if share < 0.001 else 1}f} %"


def _left(g: Grading) -> str:
    left = f"{plural(g.left_bores, 'bore')} and {plural(g.left_mates, 'mating part')} left over"
    return f"{plural(g.pairs, 'pair')}, {left}, {_per_cent(g.outside)} of the pairs outside"


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
        return "all" if high is None else f"under {_border(high)}"
    return f"{_border(low)} and more" if high is None else f"{_border(low)} to under {_border(high)}"


def _border(um: float) -> str:
    return f"{round(um, 1):g}"


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
    lines = [f"Pairing list: {plural(len(pairing.pairs), 'pair')} inside the limits, the most there can be."]
    lines += table(columns, [_pair_row(p, look) for p in shown], width=look.width)
    if len(shown) < len(pairing.pairs):
        lines.append(f"These are the last {len(shown)} of {len(pairing.pairs)}; --last 0 shows all.")
    for name, left in (("bores", pairing.left_bores), ("mating parts", pairing.left_mates)):
        if left:
            names = listed(one.part if one.bore is None else f"{one.part} {one.bore}" for one in left)
            lines.append(f"Without a partner: {len(left)} {name}: {names}.")
    if not pairing.nearest:
        lines.append("So many parts are paired inside the limits only, not nearest to their middle.")
    return lines


def _pair_row(p: FitPair, look: Look) -> Sequence[str | None]:
    return [
        p.part,
        p.bore,
        signed(p.bore_um, decimals=look.um),
        p.mating_part,
        signed(p.mating_um, decimals=look.um),
        number(p.clearance_um, decimals=look.um),
    ]
