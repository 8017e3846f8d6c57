"""The command `stones`: every set's wear, what is left of it and what to do; one set in full with `--set`."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from functools import partial

from cellmon.cli.arguments import last_argument, listing_arguments, newest, open_monitor
from cellmon.cli.showing import Look, show
from cellmon.cli.stone_plans import plan_arguments, plan_wanted, stone_plan
from cellmon.cli.terminal import figure, table, text
from cellmon.cli.wording import (
    assumed_line,
    count,
    far_range,
    interval,
    not_known_line,
    note_line,
    number,
    said,
    when,
)
from cellmon.errors import WrongUsage
from cellmon.monitor.answers import Estimate
from cellmon.monitor.stones import StonesAnswer
from cellmon.monitor.stones.laid_out import StoneNow
from cellmon.monitor.stones.lots import LotCompared
from cellmon.monitor.stones.ranges import BoresRange, GoodBores
from cellmon.monitor.stones.set_history import RoundOf, StayOf
from cellmon.monitor.stones.sets import StoneSetOf
from cellmon.words import say


def stones_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `stones`."""
    listing_arguments(parser)
    parser.add_argument("--set", metavar="ID", dest="stone_set", help="one set in full")
    plan_arguments(parser)
    last_argument(parser)


def stones(args: argparse.Namespace) -> int:
    """Print every set, or one in full, with the cautions that belong to work on stones."""
    monitor = open_monitor(args)
    if plan_wanted(args):
        if args.stone_set:
            raise WrongUsage(say("--set is one set in full; the plan is of all"))
        return stone_plan(args, monitor)
    answer = monitor.stones(stone_set=args.stone_set)
    lines = set_lines if args.stone_set else partial(stones_lines, last=args.last)
    show(args, monitor, answer, lines)
    return 0


def stones_lines(answer: StonesAnswer, look: Look, *, last: int) -> list[str]:
    """Return the sets on the machine, the others, the lots, what was assumed, and the cautions."""
    fitted = [s for s in answer.sets if s.state == "fitted"]
    others = [s for s in answer.sets if s.state != "fitted"]
    plan = [answer.plan.sentence] if answer.plan else []
    lines = [*plan, answer.sentence, ""]
    lines += table(_FITTED, [_fitted_row(s, look) for s in fitted], width=look.width)
    lines += [line for s in fitted for line in _beside(s)]
    if others:
        shown = others[:last] if last else others
        lines += ["", *table(_OTHERS, [_other_row(s, look) for s in shown], width=look.width)]
        lines += newest(len(others), last=last)[1:]
        lines += [line for s in shown if s.state != "ended" for line in _beside(s)]
    if answer.lots:
        lines += ["", *_lot_lines(answer.lots, look)]
    lines += ["", *(kind.sentence for kind in answer.kinds)]
    lines += [note_line(note) for note in answer.notes]
    return [*lines, "", *answer.cautions]


def set_lines(answer: StonesAnswer, look: Look) -> list[str]:
    """Return one set in full: where it was, its rounds, its stones, its face, what was assumed."""
    one = answer.sets[0]
    lines = [answer.sentence, "", _what_is_left(one)]
    if one.rests_on is not None:
        lines.append(say("The range rests on {sets} and its own rounds.", sets=one.rests_on))
    if one.face is not None:
        lines.append(say("Face: {face} ({why}).", face=say(one.face.face), why=one.face.why))
    lines += _beside(one, names=False)
    if one.stays:
        lines += ["", *table(_STAYS, [_stay_row(s, look) for s in one.stays], width=look.width)]
    if one.rounds:
        lines += ["", *table(_ROUNDS, [_round_row(r, look) for r in one.rounds], width=look.width)]
    if one.stones:
        lines += ["", say("At its last round:"), *_stone_table(one.stones, look)]
    return [*lines, "", *answer.cautions]


def _what_is_left(one: StoneSetOf) -> str:
    lot = one.lot and say("lot {lot}", lot=one.lot)
    of = ", ".join(word for word in (one.kind, one.maker, lot) if word) or say("kind not known")
    return say("{stone_set}: {of}; {left}.", stone_set=one.stone_set, of=of, left=_left(one))


def _stone_table(stones: Sequence[StoneNow], look: Look) -> list[str]:
    places = list(stones[0].places_um)
    columns = (
        text("stone"),
        text("holder"),
        text("way up"),
        *(figure(say("{name} um", name=place)) for place in places),
    )
    rows = [
        [s.stone, s.holder, s.way_up, *(number(s.places_um[p], decimals=0) for p in places)] for s in stones
    ]
    return table(columns, rows, width=look.width)


_FITTED = (
    text("spindle"),
    text("set"),
    text("kind", spare=True),
    text("lot", spare=True),
    text("fitted", spare=True),
    figure("bores"),
    figure("since dress"),
    figure("wear um"),
    figure("um per 1000", spare=True),
    figure("left um"),
    figure("uneven um", spare=True),
    figure("bores left"),
    figure("bores of good form", spare=True),
    text("due", spare=True),
    text("advice"),
    text("why", flexible=True),
)


def _fitted_row(s: StoneSetOf, look: Look) -> Sequence[str | None]:
    return [
        s.spindle,
        s.stone_set,
        s.kind,
        s.lot,
        when(s.fitted_at, look.zone),
        count(s.bores_since_fit),
        count(s.bores_since_dress),
        number(s.wear_um, decimals=0),
        interval(s.wear_um_per_1000_bores, decimals=0),
        number(s.thickness_left_um, decimals=0),
        number(s.parallelism_um, decimals=0),
        _bores(s.remaining_bores),
        _bores(s.good_bores),
        None if s.due_at is None else when(s.due_at.p05, look.zone),
        said(s.advice),
        s.why,
    ]


_OTHERS = (
    text("set"),
    text("kind", spare=True),
    text("maker", spare=True),
    text("lot"),
    text("spindle"),
    text("fitted", spare=True),
    text("removed"),
    text("why"),
    figure("bores"),
    figure("dressed", spare=True),
    figure("wear um"),
    figure("um per 1000"),
    figure("bores left"),
)


def _other_row(s: StoneSetOf, look: Look) -> Sequence[str | None]:
    return [
        s.stone_set,
        s.kind,
        s.maker,
        s.lot,
        s.spindle,
        when(s.fitted_at, look.zone),
        when(s.removed_at, look.zone),
        said(s.removed_why),
        count(s.bores_since_fit),
        count(s.dressed),
        number(s.wear_um, decimals=0),
        interval(s.wear_um_per_1000_bores, decimals=0),
        _bores(s.remaining_bores),
    ]


def _bores(left: BoresRange | GoodBores | None) -> str | None:
    """Return bores with their 90 % range, to two figures; 'far' is beyond the horizon."""
    return None if left is None else far_range(left.p05, left.p50, left.p95)


def _left(s: StoneSetOf) -> str:
    told = [say("{count} bores", count=count(s.bores_since_fit))]
    if s.bores_since_dress is not None:
        told.append(say("{count} since it was dressed", count=count(s.bores_since_dress)))
    if s.wear_um is not None:
        told.append(say("{um} um worn", um=number(s.wear_um, decimals=0)))
    if s.thickness_left_um is not None:
        left = number(s.thickness_left_um, decimals=0)
        told.append(say("{um} um left at the thinnest place", um=left))
    if s.remaining_bores is not None:
        by = said(s.limited_by)
        told.append(say("{bores} bores left, limited by {by}", bores=_bores(s.remaining_bores), by=by))
    return ", ".join(told)


def _beside(s: StoneSetOf, *, names: bool = True) -> list[str]:
    """Return what a set asks for beside its row: truing, questions, assumptions, and what is not known."""
    head = f"{s.stone_set}: " if names else ""
    lines = [] if s.truing is None else [f"{head}{s.truing}"]
    lines += [f"{head}{asked}" for asked in s.asked]
    lines += [f"{head}{assumed_line(words)}" for words in s.assumed]
    fields: dict[str, list[str]] = {}
    for field, why in s.why_not.items():
        fields.setdefault(why, []).append(field)
    if s.state == "fitted" or not names:
        lines += [f"{head}{not_known_line(', '.join(known), why)}" for why, known in fields.items()]
    return lines


_LOTS = (
    text("lot"),
    text("kind", spare=True),
    figure("sets"),
    figure("running", spare=True),
    figure("worn"),
    figure("chipped"),
    figure("half last"),
    text("life, times the others'"),
    text("wear, times the others'"),
    text("differs", flexible=True),
)


def _lot_lines(lots: Sequence[LotCompared], look: Look) -> list[str]:
    rows = [
        [
            one.lot,
            one.kind,
            count(one.sets),
            count(one.running),
            count(one.worn),
            count(one.chipped),
            count(one.median_bores),
            _ratio(one.life_ratio),
            _ratio(one.wear_ratio),
            one.sentence if one.differs else say("not shown"),
        ]
        for one in lots
    ]
    head = say("Lots, each against the others of its kind (95 % ranges):")
    return [head, *table(_LOTS, rows, width=look.width)]


def _ratio(estimate: Estimate | None) -> str | None:
    return interval(estimate, decimals=2)


_STAYS = (text("spindle"), text("fitted"), text("removed"), text("why"), text("by"))
_ROUNDS = (text("measured"), figure("bores"), figure("wear um"), figure("thinnest um"), text("seen"))


def _stay_row(s: StayOf, look: Look) -> Sequence[str | None]:
    return [s.spindle, when(s.fitted_at, look.zone), when(s.removed_at, look.zone), said(s.why), s.by]


def _round_row(r: RoundOf, look: Look) -> Sequence[str | None]:
    thin = number(r.thinnest_um, decimals=0)
    return [when(r.at, look.zone), count(r.bores), number(r.wear_um, decimals=0), thin, said(r.jump)]
