"""What the page of stones says: the first sentence, advice for each set, shape, orders, sets and lots."""

from __future__ import annotations

from typing import Any

from dash import html

from cellmon import lengths, local
from cellmon.monitor.stone_picture import StonePicture
from cellmon.monitor.stone_plan import StonePlan
from cellmon.monitor.stone_plan.words import change_words, order_words, shortage_words
from cellmon.monitor.stones import StonesAnswer
from cellmon.monitor.stones.sets import StoneSetOf
from cellmon.words import say, say_many

ASSUMED = 4
"""So much of what was assumed of a set stands beside its advice; all of it where the set is told in full."""


def first_words(answer: StonesAnswer) -> str:
    """Return the sentence that answers first: what to order, or that nothing is; else what the sets say."""
    return answer.sentence if answer.plan is None else order_words(answer.plan)


def next_words(answer: StonesAnswer) -> str:
    """Return when stones are changed next and when they run out, or why there is no plan."""
    if answer.plan is None:
        why = answer.why_not.get("plan")
        return "" if why is None else say("There is no plan of changes and orders: {why}.", why=why)
    return " ".join(said for said in (change_words(answer.plan), shortage_words(answer.plan)) if said)


def advice_list(answer: StonesAnswer) -> list[Any]:
    """Return one sentence for every set that is fitted, and what is asked of a person beside it."""
    fitted = [one for one in answer.sets if one.state == "fitted"]
    if not fitted:
        return [html.P(say("No stone set is logged as fitted."), className="told")]
    return [html.Ul([_advised(one) for one in fitted], className="lines")]


def _advised(one: StoneSetOf) -> html.Li:
    pressing = one.advice != "run" or one.truing is not None or bool(one.asked)
    head = say(
        "{spindle}, {set}: {advice}.", spindle=one.spindle, set=one.stone_set, advice=_advice_word(one)
    )
    said: list[Any] = [html.B(head), f" {one.why}"]
    if one.truing is not None:
        said.append(" " + say("Truing is due: see the shape of its stones."))
    beside = [html.Div(words, className="aside") for words in (*one.asked, *_assumed(one))]
    return html.Li([*said, *beside], className="waits" if pressing else "")


def _assumed(one: StoneSetOf) -> list[str]:
    """Return what was assumed of a set last; of a log that is in doubt for years, how much more there is."""
    more, last = len(one.assumed) - ASSUMED, list(one.assumed[-ASSUMED:])
    if more <= 0:
        return last
    earlier = say_many(
        "{count} more was assumed before: cellmon stones --set {set} says it.",
        "{count} more were assumed before: cellmon stones --set {set} says them.",
        more,
        set=one.stone_set,
    )
    return [earlier, *last]


def _advice_word(one: StoneSetOf) -> str:
    words = {"run": say("run"), "dress": say("dress"), "replace": say("replace")}
    return words.get(one.advice or "", say("look"))


def caution_list(answer: StonesAnswer) -> list[Any]:
    """Return the cautions that belong to work on stones; what stands over every page is not said again."""
    texts = [*answer.cautions[1:], *(() if answer.plan is None else (answer.plan.caution,))]
    return [html.P(text, className="aside") for text in texts]


def set_words(picture: StonePicture, chosen: str | None) -> list[Any]:
    """Return how a set stands in a few lines: what is left and what that rests on."""
    one = named(picture, chosen)
    if one is None:
        return []
    said = [_standing(one)]
    if one.remaining_bores is not None:
        left = one.remaining_bores
        said.append(
            say(
                "{p50} bores left: 1 of 20 such sets has {p05} or fewer, 1 of 20 {p95} or more.",
                p50=local.number(left.p50),
                p05=local.number(left.p05),
                p95=local.number(left.p95),
            )
        )
    if one.rests_on is not None:
        said.append(say("The range rests on {what} and its own rounds.", what=one.rests_on))
    if one.remaining_bores is None and one.state != "ended" and "remaining_bores" in one.why_not:
        said.append(say("What is left is not known: {why}.", why=one.why_not["remaining_bores"]))
    return [html.P(" ".join(said), className="told")]


def _standing(one: StoneSetOf) -> str:
    of = ", ".join(part for part in (one.kind, one.maker, one.lot and say("lot {lot}", lot=one.lot)) if part)
    honed = say_many(
        "{bores} bore honed",
        "{bores} bores honed",
        one.bores_since_fit,
        bores=local.number(one.bores_since_fit),
    )
    state = {
        "fitted": say("on {spindle}", spindle=one.spindle),
        "off": say("off the machine"),
        "ended": say("ended: {why}", why=one.removed_why or ""),
        "new": say("never fitted"),
    }[one.state]
    return f"{one.stone_set} ({of}), {state}, {honed}."


def shape_words(picture: StonePicture, chosen: str | None) -> list[Any]:
    """Return how evenly a set is worn, what that prints into a bore, and whether truing is due."""
    one = named(picture, chosen)
    if one is None or not one.stones:
        return []
    shape = one.shape
    lines: list[Any] = []
    if one.truing is not None:
        lines.append(html.Li(_sentence(one.truing), className="waits"))
    elif one.state != "ended":
        lines.append(html.Li(say("Truing is not due by the limits of the sheet.")))
    if shape is not None:
        lines += [html.Li(text) for text in _printed(one)]
    elif "parallelism_um" in one.why_not:
        lines.append(html.Li(say("Not known: {why}.", why=one.why_not["parallelism_um"])))
    lines += [html.Li(_sentence(text).rstrip("."), className="waits") for text in one.asked]
    return [html.Ul(lines, className="lines")]


def _printed(one: StoneSetOf) -> list[str]:
    shape, said = one.shape, []
    if shape is None:
        return []
    if shape.taper_um is not None:
        wide = say("top") if shape.taper_um > 0 else say("bottom")
        said.append(
            say(
                "Prints a taper of up to {um} into a bore, wider at the {end}; strokes take a part away.",
                um=lengths.said(abs(shape.taper_um), 0),
                end=wide,
            )
        )
    else:
        said.append(say("Prints no taper that readings could tell."))
    if shape.barrel_um is not None:
        wide = (
            say("wider in its middle (barrel)")
            if shape.barrel_um > 0
            else say("narrower in its middle (hourglass)")
        )
        said.append(
            say("Prints a bore up to {um} {how}.", um=lengths.said(abs(shape.barrel_um), 0), how=wide)
        )
    else:
        said.append(say("Prints no barrel that readings could tell."))
    if shape.matched_um is not None:
        said.append(
            say(
                "The tallest stone stands {um} over the shortest: the tall ones work first.",
                um=lengths.said(shape.matched_um, 0),
            )
        )
    said.append(say("Stroke and overrun first, then true the stones; each stone back into its own holder."))
    return said


def named(picture: StonePicture, chosen: str | None) -> StoneSetOf | None:
    """Return the set that is shown."""
    return next((one for one in picture.stones.sets if one.stone_set == chosen), None)


def orders_list(plan: StonePlan | None) -> list[Any]:
    """Return the order list, the stock it starts from, and what a bore costs."""
    if plan is None:
        return []
    lines = [html.Li(_order_line(line), className="waits" if line.late else "") for line in plan.order_list]
    for kind in plan.kinds:
        if kind.stock is None:
            continue
        there = say(
            "{kind}: {count} usable on the shelf", kind=kind.kind, count=local.number(kind.stock.usable)
        )
        due = [
            say("{count} on order, due {at}", count=local.number(o.sets), at=local.day(o.due))
            for o in kind.stock.orders
        ]
        past = (
            [say("{count} past their shelf life", count=local.number(kind.stock.past_use))]
            if kind.stock.past_use
            else []
        )
        lines.append(html.Li("; ".join([there, *due, *past]) + "."))
    if plan.cost is not None:
        c = plan.cost
        lines.append(
            html.Li(
                say(
                    "A bore costs {total} in stones, in the currency of the sheet: sets {stones}, "
                    "downtime {downtime}, scrap {scrap}.",
                    total=local.number(c.total, 3),
                    stones=local.number(c.stones, 4),
                    downtime=local.number(c.downtime, 4),
                    scrap=local.number(c.scrap, 4),
                )
            )
        )
    lines += [html.Li(one.sentence) for one in plan.dressing]
    return [html.Ul(lines, className="lines")]


def _order_line(line: Any) -> str:
    text = say_many("{count} set of {kind}", "{count} sets of {kind}", line.sets, kind=line.kind)
    by = (
        say("order now; the last moment was {at}", at=local.day(line.order_by))
        if line.late
        else say("order by {at}", at=local.moment(line.order_by))
    )
    cost = (
        ""
        if line.cost is None
        else ", " + say("{cost} in the sheet's currency", cost=local.number(line.cost))
    )
    return f"{text}: {by}{cost}."


def _sentence(text: str) -> str:
    """Return the monitor's words as a sentence of a page, with the sign that terminals may lack."""
    return f"{text[:1].upper()}{text[1:]}.".replace(" um", " µm")
