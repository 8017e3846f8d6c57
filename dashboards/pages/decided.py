"""What was decided last, by whom and why: the newest entries of the journal, asked for when unfolded."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, dcc, html

from cellmon import local
from cellmon.errors import CellmonError
from cellmon.monitor.journal import KINDS, Entry, Journal
from cellmon.words import say, say_many, to_say
from dashboards.figures.terms import term
from dashboards.pages import parts, signal_list

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

NEWEST, FOLD = "decided-newest", "decided-unfolded"
SHOWN = 20
"""So many entries stand on the page; the command holds all."""


def layout() -> html.Details:
    """Return the fold."""
    summary = say("The journal: what was decided last, by whom and why")
    return parts.asked_open(FOLD, summary, [html.Div(id=NEWEST)])


def show(monitor: Monitor) -> list[Any]:
    """Return the newest decisions as a table, the newest first, and whether the journal is whole."""
    try:
        answer = monitor.journal()
    except CellmonError as refusal:
        return [parts.notice(str(refusal))]
    names = (say("when"), say("by"), say("what"), say("about"), say("why"))
    head = html.Thead(html.Tr([html.Th(name, scope="col") for name in names]))
    body = html.Tbody([_row(one) for one in reversed(answer.entries[-SHOWN:])])
    listed = html.Table([head, body], className="words")
    return [html.P(sentence(answer), className="told"), parts.across(listed, say("The journal"))]


def sentence(answer: Journal) -> str:
    """Return how many decisions there are, and whether each is as it was written."""
    if not answer.whole:
        broken = to_say("Entry {number} was changed after it was written, or the one before it is missing.")
        return say(broken, number=answer.broken_at)
    if not answer.entries:
        return say("Nothing was decided yet.")
    return say_many(
        "{entries} decision, as it was written. `cellmon journal` shows what held before and after.",
        "{entries} decisions, each as it was written; the newest stand here. `cellmon journal` shows all, "
        "with what held before and after.",
        len(answer.entries),
        entries=local.number(len(answer.entries)),
    )


def _row(one: Entry) -> html.Tr:
    return html.Tr([html.Td(cell) for cell in (parts.when(one.at), one.by, what(one), _about(one), one.why)])


def what(one: Entry) -> str:
    """Return what was done, in words."""
    if one.kind == "release":
        many = len(one.after["parts"])
        parts_said = say_many("1 part", "{parts} parts", many, parts=local.number(many))
        return say("{parts}: {became}", parts=parts_said, became=term(one.after["as"]))
    return say(KINDS[one.kind]) if one.kind in KINDS else one.kind


def _about(one: Entry) -> Any:
    """Return the subject as people name it; a signal is a link."""
    if one.kind in ("respond", "release", "extend"):
        return dcc.Link(one.about, href=signal_list.link_to(one.subject))
    return one.about


def register(app: Dash, monitor: Monitor) -> None:
    """Wire the fold."""
    asked_for = parts.wanted(app, FOLD, Input(FOLD, "data"))

    @app.callback(Output(NEWEST, "children"), asked_for, prevent_initial_call=True)
    def _(asked: int) -> list[Any]:
        return show(monitor)
