"""What is told below the lines of a shift: its signals, streams to be split, and false alarms."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, State, dcc, html

from cellmon.errors import CellmonError
from cellmon.monitor.signals import Signal
from cellmon.words import say
from dashboards.pages import (
    against,
    by_hand,
    decided,
    one_signal,
    papers,
    parts,
    saving,
    shift_tables,
    signal_list,
)

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

CALLED, BUDGET, RULES, SPLITS = "shifts-called", "shifts-budget", "shifts-rules", "shifts-splits"
HANDOVER = "shifts-handover"


def layout() -> list[Any]:
    """Return where splits and false alarms are told; signals (`CALLED`) stand before them."""
    rules = [html.Summary(say("What other rules would cost")), html.Div(id=RULES), saving.save_table(RULES)]
    return [
        papers.saves(HANDOVER, say("Save the handover of this shift, to be signed")),
        html.Div(id=SPLITS),
        html.H2(say("False alarms")),
        html.P(id=BUDGET, className="told"),
        html.Details(rules),
        against.layout(),
        decided.layout(),
    ]


def show_called(monitor: Monitor, shift: str | None) -> list[Any]:
    """Return the signals called in one shift, in words, each a link to all that is known of it."""
    try:
        found = by_hand.shift_answer(monitor, shift)
    except CellmonError:
        return []
    if found.shift is None:
        return []
    mine, loudest = found.called, shift_tables.loudest_words(found)
    if not mine:
        none = html.P(say("None was called."), className="aside")
        return [html.H2(say("Signals of the shift")), none, *loudest]
    return [
        html.H2(say("Signals of the shift: {count}", count=len(mine))),
        html.Ul([called_line(s) for s in mine], className="lines"),
        *loudest,
    ]


def show_splits(monitor: Monitor) -> list[Any]:
    """Return each split that is proposed, with what to write in the sheet; nothing where none is."""
    try:
        proposed = monitor.splits().proposed
    except CellmonError:
        return []
    if not proposed:
        return []
    lines = [
        html.Li(
            f"{s.words} "
            + say("First see whether it can be mended. If it is to stay: {write}.", write=s.write)
        )
        for s in proposed
    ]
    return [html.H2(say("Streams to be split")), html.Ul(lines, className="lines")]


def called_line(signal: Signal) -> html.Li:
    """Return one signal in a line: what moved, since when, its likely cause, and whether it waits."""
    link = dcc.Link(signal.words, href=signal_list.link_to(signal.id))
    likely = " " + say("Likely: {cause}.", cause=signal.causes[0].title) if signal.causes else ""
    state = one_signal.sentence(one_signal.state_words(signal))
    return html.Li([link, f", {one_signal.since_words(signal)}.{likely} {state}"])


def show_budget(monitor: Monitor) -> list[Any]:
    """Return what is promised in false alarms, and what other rule sets would make."""
    try:
        budget = monitor.alarms().budget
    except CellmonError as refusal:
        return [str(refusal), []]
    return [budget.sentence, parts.across(shift_tables.rules_table(budget))]


def register(app: Dash, monitor: Monitor, shift: str) -> None:
    """Wire it; `shift` is the id of the control that names the shift."""
    changed = Input(parts.CHANGE, "data")

    @app.callback(Output(CALLED, "children"), changed, Input(shift, "value"))
    def _(change: int, shift: str | None) -> list[Any]:
        return show_called(monitor, shift)

    @app.callback(Output(SPLITS, "children"), changed)
    def _(change: int) -> list[Any]:
        return show_splits(monitor)

    @app.callback(Output(BUDGET, "children"), Output(RULES, "children"), changed)
    def _(change: int) -> list[Any]:
        return show_budget(monitor)

    against.register(app, monitor)
    decided.register(app, monitor)
    papers.register(app, HANDOVER, lambda name: papers.handover(monitor, name), State(shift, "value"))
    saving.register_table(app, RULES, lambda: shift_tables.rules_rows(monitor.alarms().budget))
