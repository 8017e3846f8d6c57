"""What waits for the name of a second person: a quiet line, and a form that signs or refuses."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, State, dcc, html

from cellmon import lengths
from cellmon.errors import CellmonError, WrongUsage
from cellmon.monitor.proposals import CLAIMS, LIMITS, what_of
from cellmon.records import stream_names
from cellmon.words import say, say_many
from dashboards import theme
from dashboards.pages import asked, parts, written

if TYPE_CHECKING:
    from cellmon.monitor import Monitor
    from cellmon.monitor.proposals import Proposal, ProposedChange

BOX, LINES, WHICH, WHY, SIGN, REFUSE, SAID = ("box", "lines", "which", "why", "sign", "refuse", "said")
NONE = ""
"""What is chosen where it was decided meanwhile."""
FORMS = {LIMITS: "freeze", CLAIMS: "claims"}
"""The form of each kind, by the name that tells its ids apart."""
NAMED = 8
"""So many streams of a proposal are named."""


def layout(prefix: str) -> html.Div:
    """Return the line and its form, unseen until something waits; `prefix` tells the ids of pages apart."""
    buttons = [
        html.Button(say("Sign"), id=_id(prefix, SIGN), className="step"),
        html.Button(say("Refuse"), id=_id(prefix, REFUSE), className="step"),
    ]
    form = [
        parts.field(say("Which"), dcc.RadioItems(id=_id(prefix, WHICH), inline=True, className="choice")),
        asked.who_field(_id(prefix, "who")),
        parts.field(say("Why"), dcc.Input(id=_id(prefix, WHY), autoComplete="off"), wide=True),
        *buttons,
    ]
    folded = [
        html.Summary(say("Sign or refuse, by name and with a reason")),
        html.Div(form, className="controls"),
    ]
    inside = [html.Div(id=_id(prefix, LINES)), html.Details(folded)]
    return html.Div(
        [
            html.Div(inside, id=_id(prefix, BOX), style=asked.UNSEEN),
            written.below(_id(prefix, SAID)),
        ]
    )


def _id(prefix: str, name: str) -> str:
    return f"{prefix}-second-{name}"


def show(monitor: Monitor, of: str, chosen: str | None) -> list[Any]:
    """Return what waits of one kind: lines, what to choose from, the choice, and whether it is seen.

    Where another person decided the one that was chosen none is until one is: what was written is of that.
    """
    try:
        found = [one for one in monitor.proposals().proposals if one.of == of and one.state == "waits"]
    except CellmonError:
        found = []
    ids = [one.id for one in found]
    if not ids:
        return [[], [], None, asked.UNSEEN]
    return [
        [part for one in found for part in (html.P(line(one), className="told"), changes(one))],
        [{"label": id_, "value": id_} for id_ in ids],
        ids[-1] if chosen is None else chosen if chosen in ids else NONE,
        {},
    ]


def elsewhere(monitor: Monitor) -> list[Any]:
    """Return what waits for a second person, each a link to where it is signed."""
    if not monitor.sheet.people.second_person:
        return []
    try:
        found = [one for one in monitor.proposals().proposals if one.state == "waits"]
    except CellmonError:
        return []
    return [html.P(dcc.Link(line(one), href=f"{_page(one.of)}#{_id(FORMS[one.of], BOX)}")) for one in found]


def _page(of: str) -> str:
    return "/stream" if of == LIMITS else "/claims"


def line(one: Proposal) -> str:
    """Return that a proposal waits, who made it, when and why."""
    return say(
        "{id}, {what}, proposed by {by}, {when}: {why}. It waits for a second name.",
        id=one.id,
        what=what_of(one.of, len(one.streams)),
        by=one.by,
        when=parts.when(one.at),
        why=one.why.rstrip("."),
    )


def changes(one: Proposal) -> html.Ul:
    """Return whose limits or figures a proposal holds, each a link to where they are looked at."""
    names = stream_names([change.stream for change in one.changes])
    shown = list(zip(names, one.changes, strict=True))[:NAMED]
    lines = [
        html.Li(
            [
                dcc.Link(name, href=f"{_page(one.of)}?{parts.stream_query(change.stream)}"),
                _moved(one.of, change),
            ]
        )
        for name, change in shown
    ]
    rest = len(one.changes) - len(shown)
    more = say_many("and {count} stream more", "and {count} streams more", rest)
    return html.Ul([*lines, *([html.Li(more)] if rest else [])], className="lines")


def _moved(of: str, change: ProposedChange) -> str:
    """Return what would change of limits; of figures signed nothing: they stand above."""
    if of != LIMITS:
        return ""
    after = {
        "centre": theme.um_said(change.after["centre"], 2),
        "sigma": lengths.said(change.after["sigma"], 2),
    }
    if change.before is None:
        return say(": centre {centre}, sigma {sigma}; nothing is in force", **after)
    before, was = theme.um_said(change.before["centre"], 2), lengths.said(change.before["sigma"], 2)
    return say(": centre {before} to {centre}, sigma {was} to {sigma}", before=before, was=was, **after)


def decide(
    monitor: Monitor, which: str | None, why: str | None, by: str | None, code: str | None, *, refuse: bool
) -> str:
    """Sign or refuse a proposal in the name of a person; return what became of it, or why not."""
    reason = (why or "").strip()
    try:
        if not (which and asked.named(by) and reason):
            raise WrongUsage(say("Say which one, who signs or refuses it, and why."))
        who = asked.who_of(by, code)
        found = monitor.sign(which, by=who, why=reason, refuse=refuse).proposals
    except CellmonError as refusal:
        return str(refusal)
    return written.Kept(next(one.sentence for one in found if one.id == which))


def register(app: Dash, monitor: Monitor, prefix: str, of: str) -> None:
    """Wire the line and the form of one page for `limits` or `claims`."""
    shown = [(LINES, "children"), (WHICH, "options"), (WHICH, "value"), (BOX, "style")]

    @app.callback(
        *(Output(_id(prefix, name), what) for name, what in shown),
        Input(parts.CHANGE, "data"),
        State(_id(prefix, WHICH), "value"),
    )
    def _(change: int, chosen: str | None) -> list[Any]:
        return show(monitor, of, chosen)

    def deed(*given: Any) -> str:
        return decide(*given, refuse=parts.pressed() == _id(prefix, REFUSE))

    written.register(
        app,
        monitor,
        deed,
        said=_id(prefix, SAID),
        who=_id(prefix, "who"),
        presses=[_id(prefix, SIGN), _id(prefix, REFUSE)],
        of=[State(_id(prefix, WHICH), "value")],
        fields={_id(prefix, WHY): ""},
    )
