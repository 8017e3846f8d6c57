"""The history of stone sets and lots as tables, each figure with its interval."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from dash import html

from cellmon import lengths, local
from cellmon.monitor.answers import Estimate
from cellmon.monitor.stones import StonesAnswer
from cellmon.monitor.stones.lots import LotCompared
from cellmon.monitor.stones.sets import StoneSetOf
from cellmon.words import say

NEWEST = 12
"""Sets and lots shown in their tables before the rest is asked for."""
NO_FIGURE = "–"


def sets_table(answer: StonesAnswer, *, every: bool = False) -> html.Table:
    """Return the sets, fitted ones first, the newest before the older."""
    shown = answer.sets if every else answer.sets[:NEWEST]
    heads = [
        say("set"),
        say("kind"),
        say("lot"),
        say("spindle"),
        say("fitted"),
        say("came off"),
        say("bores"),
        say("dressed"),
        say("wear, {unit} per 1,000 bores (90 %)", unit=lengths.unit()),
        say("ends apart, {unit}", unit=lengths.unit()),
    ]
    return html.Table(
        [
            html.Thead(
                html.Tr(
                    [
                        html.Th(head, scope="col", className="figure" if i > 5 else "")
                        for i, head in enumerate(heads)
                    ]
                )
            ),
            html.Tbody([_set_row(one) for one in shown]),
        ],
        className="told-of",
    )


def _set_row(one: StoneSetOf) -> html.Tr:
    off = (
        NO_FIGURE
        if one.removed_at is None
        else f"{local.day(one.removed_at)}, {one.removed_why or say('no reason logged')}"
    )
    cells = [
        one.stone_set,
        one.kind or NO_FIGURE,
        one.lot or NO_FIGURE,
        one.spindle or NO_FIGURE,
        NO_FIGURE if one.fitted_at is None else local.day(one.fitted_at),
        say("runs") if one.state == "fitted" else off,
    ]
    figures = [
        local.number(one.bores_since_fit),
        local.number(one.dressed),
        _interval(one.wear_um_per_1000_bores, 0, lengths.bare),
        NO_FIGURE if one.parallelism_um is None else lengths.bare(one.parallelism_um, 0),
    ]
    return html.Tr([*(html.Td(c) for c in cells), *(html.Td(f, className="figure") for f in figures)])


def lots_table(lots: Sequence[LotCompared], *, every: bool = False) -> html.Table:
    """Return the lots, each against the others of its kind, the least alike first."""
    shown = lots if every else lots[:NEWEST]
    heads = [
        say("lot"),
        say("maker"),
        say("sets"),
        say("running"),
        say("worn"),
        say("chipped"),
        say("half last, bores"),
        say("life against the others (95 %)"),
        say("wear against the others (95 %)"),
        say("found"),
    ]
    return html.Table(
        [
            html.Thead(
                html.Tr(
                    [
                        html.Th(h, scope="col", className="figure" if 1 < i < 9 else "")
                        for i, h in enumerate(heads)
                    ]
                )
            ),
            html.Tbody([_lot_row(one) for one in shown]),
        ],
        className="told-of",
    )


def _lot_row(one: LotCompared) -> html.Tr:
    figures = [local.number(n) for n in (one.sets, one.running, one.worn, one.chipped)]
    figures += [
        NO_FIGURE if one.median_bores is None else local.number(one.median_bores),
        _times(one.life_ratio),
        _times(one.wear_ratio),
    ]
    found = one.sentence if one.differs else say("not shown to differ")
    return html.Tr(
        [
            html.Td(one.lot),
            html.Td(one.maker or NO_FIGURE),
            *(html.Td(f, className="figure") for f in figures),
            html.Td(found, className="moved" if one.differs else "", style={"minWidth": "10rem"}),
        ]
    )


def _interval(e: Estimate | None, digits: int, written: Callable[[float, int], str] = local.number) -> str:
    if e is None or e.value is None or e.low is None or e.high is None:
        return NO_FIGURE
    value, low, high = (written(one, digits) for one in (e.value, e.low, e.high))
    return say("{value} ({low} to {high})", value=value, low=low, high=high)


def _times(e: Estimate | None) -> str:
    """Return a ratio with its range, or the one bound that is known."""
    if e is None:
        return NO_FIGURE
    if e.value is not None and e.low is not None and e.high is not None:
        return _interval(e, 2)
    if e.low is not None:
        return say("at least {low}", low=local.number(e.low, 2))
    return NO_FIGURE if e.high is None else say("at most {high}", high=local.number(e.high, 2))
