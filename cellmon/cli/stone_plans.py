"""`stones --plan`: changes of stones to come, what to order by when, what a bore costs, and what if."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import fields
from functools import partial
from typing import TYPE_CHECKING

from cellmon import local
from cellmon.cli.showing import Look, show
from cellmon.cli.terminal import figure, table, text
from cellmon.cli.wording import assumed_line, count, not_known_line, note_line, number, ranged, when
from cellmon.monitor.stone_plan import (
    ChangeChoices,
    KindPlan,
    PlannedChange,
    PlanRequest,
    SpindleRate,
    StonePlan,
)
from cellmon.words import say, to_say

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

_OPTIONS = (
    ("horizon-days", "N", "look so many days ahead (default: twice the longest lead time, 28 at least)"),
    ("rate", "BORES", "what if: bores per shift of every spindle"),
    ("lead-time-days", "N", "what if: days from order to shelf; their spread goes with them"),
    ("life", "BORES", "what if: bores that half of the new sets outlive"),
    ("price", "X", "what if: price of a set"),
    ("stock", "N", "what if: sets on the shelf now"),
    ("service-level", "P", "what if: chance of no shortage per order, such as 0.98"),
)


def plan_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare `--plan` and what it may be asked; each of them asks for the plan."""
    parser.add_argument("--plan", action="store_true", help="changes to come, order dates and costs")
    for name, shown, help_ in _OPTIONS:
        parser.add_argument(f"--{name}", metavar=shown, type=float, help=help_)
    parser.add_argument(
        "--spindle-rate",
        dest="rates",
        metavar="S=BORES",
        action="append",
        type=_spindle_rate,
        help="what if: bores per shift of one spindle, such as S1=500; may be given again",
    )
    parser.add_argument("--kind", metavar="ID", help="plan one kind of stones only")


def plan_request(args: argparse.Namespace) -> PlanRequest:
    """Return what was asked of the plan."""
    asked = {f.name: getattr(args, f.name) for f in fields(PlanRequest)}
    return PlanRequest(**{**asked, "rates": tuple(asked["rates"] or ())})


def _spindle_rate(typed: str) -> SpindleRate:
    """Read `S1=500`."""
    spindle, is_one, bores = typed.rpartition("=")
    try:
        rate = float(bores)
    except ValueError:
        is_one = ""
    if not is_one:
        raise argparse.ArgumentTypeError(f"{typed!r} is not a spindle and its bores, as S1=500")
    return SpindleRate(spindle=spindle, bores=rate)


def plan_wanted(args: argparse.Namespace) -> bool:
    """Return whether the plan is asked for, by its name or by what only it answers."""
    return bool(args.plan) or plan_request(args) != PlanRequest()


def stone_plan(args: argparse.Namespace, monitor: Monitor) -> int:
    """Print the plan of stones, or what it would be otherwise."""
    show(args, monitor, monitor.stone_plan(plan_request(args)), partial(plan_lines, last=args.last))
    return 0


def plan_lines(plan: StonePlan, look: Look, *, last: int) -> list[str]:
    """Return what to order, the changes to come, each kind's stock and cost, how often to dress, cautions."""
    lines = [plan.sentence, *_asked(plan.asked)]
    if plan.changes:
        shown = plan.changes[:last] if last else plan.changes
        lines += ["", *table(_CHANGES, [_change_row(c, look) for c in shown], width=look.width)]
        if len(shown) < len(plan.changes):
            of = len(plan.changes)
            lines.append(say("These are the next {shown} of {all}; --last 0 shows all.", shown=last, all=of))
    lines += ["", *table(_KINDS, [_kind_row(k, look) for k in plan.kinds], width=look.width)]
    lines += _cost_lines(plan)
    lines += [_choice_line(k.kind, k.choices) for k in plan.kinds if k.choices is not None]
    lines += [one.sentence for one in plan.dressing]
    assumed = dict.fromkeys(one.assumed for one in plan.dressing)
    lines += [assumed_line(words) for words in assumed if words]
    reasons = {(k.kind, why): None for k in plan.kinds for why in k.why_not.values()}
    lines += [not_known_line(kind, why) for kind, why in reasons]
    lines += [note_line(note) for note in plan.notes]
    return [*lines, "", plan.caution]


_ASKED = {
    "rate": to_say("rate {value}"),
    "lead_time_days": to_say("lead time days {value}"),
    "life": to_say("life {value}"),
    "price": to_say("price {value}"),
    "stock": to_say("stock {value}"),
    "service_level": to_say("service level {value}"),
}


def _asked(asked: PlanRequest) -> list[str]:
    """Say which figures are not those of the sheet and the facts."""
    told = [
        say(text_, value=local.significant(value))
        for name, text_ in _ASKED.items()
        if (value := getattr(asked, name)) is not None
    ]
    for one in asked.rates:
        told.append(say("rate of {spindle} {value}", spindle=one.spindle, value=local.significant(one.bores)))
    what = ", ".join(told)
    return [say("What if: {what}. The rest is as the sheet and the log say.", what=what)] if told else []


_CHANGES = (
    text("change"),
    text("spindle"),
    text("stage", spare=True),
    text("kind", spare=True),
    text("comes off"),
    figure("in bores"),
    text("earliest"),
    text("latest"),
    text("same stop as"),
)
_KINDS = (
    text("kind"),
    figure("usable"),
    figure("on order"),
    figure("sets needed"),
    text("runs out"),
    text("order by"),
    figure("order"),
    figure("new set lasts"),
    figure("changed at", spare=True),
    figure("cost a bore"),
)


def _change_row(c: PlannedChange, look: Look) -> Sequence[str | None]:
    return [
        when(c.at, look.zone),
        c.spindle,
        c.stage,
        c.kind,
        c.stone_set,
        count(c.bores),
        when(c.earliest, look.zone),
        when(c.latest, look.zone) or say("later"),
        c.with_spindle,
    ]


def _kind_row(k: KindPlan, look: Look) -> Sequence[str | None]:
    short, life, needed = k.first_shortage_at, k.life_bores, k.sets_needed
    return [
        k.kind,
        None if k.stock is None else local.significant(k.stock.usable),
        None if k.stock is None else local.significant(k.stock.ordered),
        ranged(str(needed.p50), str(needed.p05), str(needed.p95)),
        None if short is None else when(short.p50, look.zone) or say("later"),
        when(k.order_by, look.zone),
        count(k.order_sets),
        ranged(_hundreds(life["p50"]), _hundreds(life["p05"]), _hundreds(life["p95"])),
        _hundreds(k.changed_at_bores),
        None if k.cost is None else number(k.cost.total, decimals=3),
    ]


def _hundreds(bores: float) -> str:
    """Return bores to the hundred where there are thousands: more is not known."""
    return local.number(round(bores, -2 if bores >= 1000 else 0))


def _choice_line(kind: str, found: ChangeChoices) -> str:
    return say(
        "{kind}, changes alone, a bore: {advised} looked at every stop as advised; {fixed} with every set "
        "changed at {age} bores, {share} % of them at their end before; {end} with every set run to its end.",
        kind=kind,
        advised=number(found.looked_ahead, decimals=3),
        fixed=number(found.at_that_age, decimals=3),
        age=_hundreds(found.age_bores),
        share=local.significant(100 * found.ended_first, 2),
        end=number(found.run_to_the_end, decimals=3),
    )


def _cost_lines(plan: StonePlan) -> list[str]:
    if plan.cost is None:
        return []
    c = plan.cost
    return [
        say(
            "A bore costs {total} in stones, in the currency of the sheet: sets {stones}, "
            "downtime {downtime}, scrap {scrap}.",
            total=number(c.total, decimals=3),
            stones=number(c.stones, decimals=4),
            downtime=number(c.downtime, decimals=4),
            scrap=number(c.scrap, decimals=4),
        )
    ]
