"""Rows set aside: why, what helps, and the form in which one is corrected and taken."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, State, dcc, html, no_update

from cellmon import local
from cellmon.errors import CellmonError, WrongUsage
from cellmon.monitor.aside import Aside, AsideRow
from cellmon.monitor.row_words import reason_words
from cellmon.units import LengthUnit
from cellmon.words import say, say_many
from dashboards.pages import asked, files_row_words, leafing, parts, written

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

BOX, LEAD, LIST, SKIP, NEWER, OLDER = (
    "files-rows",
    "files-rows-lead",
    "files-rows-list",
    "files-rows-skip",
    "files-rows-newer",
    "files-rows-older",
)
CHOSEN, FACTS, FORM, TEXT, UNIT, WHY, TAKE, SAID, RETRY, CAME = (
    "files-row",
    "files-row-facts",
    "files-row-form",
    "files-row-text",
    "files-row-unit",
    "files-row-why",
    "files-row-take",
    "files-row-said",
    "files-rows-retry",
    "files-rows-came",
)
WHO, AGAIN = "files-row", "files-rows-again"
UNSEEN = {"display": "none"}
OWN = ""
"""The choice of the unit in which a row stands by its header and gauge."""


def section(chosen: str | None = None) -> html.Section:
    """Return the list and the form; what is written in the form no refresh touches."""
    text = dcc.Textarea(id=TEXT, className="row-form", rows=4, spellCheck=False, maxLength=20_000)
    options = [{"label": say("their own unit"), "value": OWN}]
    options += [{"label": unit.value, "value": unit.value} for unit in LengthUnit]
    units = dcc.RadioItems(id=UNIT, value=OWN, inline=True, className="choice", options=options)
    form = html.Div(
        [
            parts.field(say("The row as it should be, in the order of the header"), text, wide=True),
            html.Div(parts.field(say("Its sizes are in"), units), className="controls"),
            html.Div(
                [
                    asked.who_field(WHO),
                    parts.field(say("Why"), dcc.Input(id=WHY, autoComplete="off"), wide=True),
                    html.Button(say("Take this row"), id=TAKE, className="step"),
                ],
                className="controls",
            ),
        ],
        id=FORM,
        style=UNSEEN,
    )
    return html.Section(
        [
            html.H2(say("Rows set aside")),
            html.P(id=LEAD, className="told"),
            dcc.Store(id=SKIP, data=0),
            dcc.Store(id=CHOSEN, data=chosen),
            html.Div(
                [
                    html.Div([leafing.picks(LIST, CHOSEN), leafing.steps(NEWER, OLDER)]),
                    html.Article(
                        [
                            html.Div(id=FACTS),
                            form,
                            written.below(SAID),
                            html.Div(asked.tablet_field(AGAIN), className="controls"),
                            html.Button(say("Take all waiting rows again"), id=RETRY, className="step"),
                            html.P(id=CAME, className="said", role="status"),
                            html.P(
                                say(
                                    "Again as they stand: what the sheet has learned since lets some in; the "
                                    "others go on waiting."
                                ),
                                className="aside",
                            ),
                        ]
                    ),
                ],
                className="picked",
            ),
        ],
        id=BOX,
    )


def show(monitor: Monitor, skip: int | None, chosen: str | None) -> list[Any]:
    """Return the sentence, the list, and whether there are newer and older rows than those shown."""
    start = max(skip or 0, 0)
    try:
        answer = monitor.aside(waiting=True, most=leafing.SHOWN, skip=start)
    except CellmonError as refusal:
        return [str(refusal), [], True, True]
    return [lead(answer), rows_list(answer.rows, chosen), start == 0, not answer.more]


def lead(answer: Aside) -> str:
    """Return how many rows wait, by reason."""
    count = sum(answer.waiting.values())
    if not count:
        return say("No row set aside waits.")
    many = say_many("{n} row waits", "{n} rows wait", count, n=local.number(count))
    reasons = " ".join(
        say("{reason}: {n}.", reason=reason_words(reason).means.rstrip("."), n=local.number(n))
        for reason, n in answer.waiting.items()
    )
    return say("{many}; what waits counts nowhere. {reasons}", many=many, reasons=reasons)


def rows_list(rows: Sequence[AsideRow], chosen: str | None) -> html.Ul:
    """Return rows to choose from."""
    return html.Ul([_entry(row, chosen) for row in rows], className="picks")


def _entry(row: AsideRow, chosen: str | None) -> html.Li:
    here = str(row.id) == chosen
    inside = [
        html.B(say("{file}, line {line}", file=row.file, line=row.line)),
        html.Span(row.means, className="more"),
        html.Code(row.text, className="row-text"),
    ]
    return leafing.entry(inside, str(row.id), here=here)


def show_row(monitor: Monitor, chosen: str | None) -> list[Any]:
    """Return what is known of the chosen row, and whether its form shows."""
    if not chosen:
        return [[html.P(say("Choose a row to see it whole and to correct it."), className="aside")], UNSEEN]
    try:
        row = monitor.aside_row(chosen)
    except CellmonError as refusal:
        return [[parts.notice(str(refusal))], UNSEEN]
    return [files_row_words.facts(row), {} if row.state == "waiting" else UNSEEN]


def text_of(monitor: Monitor, chosen: str | None) -> str:
    """Return the text to begin the correction with, when another row is chosen."""
    try:
        row = monitor.aside_row(chosen) if chosen else None
    except CellmonError:
        row = None
    return (row.as_read or row.text) if row is not None and row.cells else ""


def take(
    monitor: Monitor,
    chosen: str | None,
    text: str | None,
    unit: str | None,
    why: str | None,
    by: Any,
    code: Any,
) -> str:
    """Take a row as it was written, in the name of a person; return what was done, or why not."""
    try:
        if not chosen:
            raise WrongUsage(say("Choose a row first."))
        if not (why or "").strip():
            raise WrongUsage(say("Say why the row is to be read so."))
        who = asked.who_of(by, code)
        taken = monitor.take_row(chosen, text=text or "", unit=unit or None, by=who, why=str(why).strip())
    except CellmonError as refusal:
        return parts.capital(str(refusal))
    if taken.notes:
        return parts.capital(f"{taken.notes[0]}.")
    if taken.taken:
        told = say("Taken as {by} wrote it; the row as it was stands beside it.", by=who)
        doubted = say("What it says is doubted: look among the doubted measurements below.")
        return written.Kept(f"{told} {doubted}" if taken.flagged else told)
    return written.Kept(say("As {by} wrote it, it was known already; nothing was added.", by=who))


def retry(monitor: Monitor, by: Any = None, code: Any = None) -> str:
    """Take every waiting row again; return what came in."""
    try:
        asked.tablet_knows(by, code)
        done = monitor.retry_aside().files
    except CellmonError as refusal:
        return str(refusal)
    came = sum(f.taken + f.known for f in done)
    if not came:
        return say("None of the waiting rows can be used yet.")
    return say_many("{n} row came in.", "{n} rows came in.", came, n=local.number(came))


def register(app: Dash, monitor: Monitor) -> None:
    """Wire the list and the form."""
    changed, chosen = Input(parts.CHANGE, "data"), Input(CHOSEN, "data")

    @app.callback(
        Output(LEAD, "children"),
        Output(LIST, "children"),
        Output(NEWER, "disabled"),
        Output(OLDER, "disabled"),
        changed,
        Input(SKIP, "data"),
        chosen,
    )
    def _(change: int, skip: int | None, row: str | None) -> list[Any]:
        return show(monitor, skip, row)

    @app.callback(
        Output(SKIP, "data"),
        Input(NEWER, "n_clicks"),
        Input(OLDER, "n_clicks"),
        State(SKIP, "data"),
        prevent_initial_call=True,
    )
    def _(newer: int | None, older: int | None, skip: int | None) -> int:
        return leafing.step(skip, older=parts.pressed() == OLDER)

    @app.callback(Output(FACTS, "children"), Output(FORM, "style"), changed, chosen)
    def _(change: int, row: str | None) -> list[Any]:
        return show_row(monitor, row)

    @app.callback(Output(TEXT, "value"), chosen)
    def _(row: str | None) -> str:
        return text_of(monitor, row)

    _register_deeds(app, monitor)


def _register_deeds(app: Dash, monitor: Monitor) -> None:
    """Wire what a person does."""

    written.register(
        app,
        monitor,
        take,
        said=SAID,
        who=WHO,
        presses=[TAKE],
        about=CHOSEN,
        fields={TEXT: "", UNIT: OWN, WHY: ""},
    )

    @app.callback(
        Output(CAME, "children"),
        Output(parts.CHANGE, "data", allow_duplicate=True),
        asked.emptied(AGAIN),
        Input(RETRY, "n_clicks"),
        *asked.states(AGAIN),
        State(parts.CHANGE, "data"),
        prevent_initial_call=True,
    )
    def _(clicks: int | None, by: Any, code: Any, before: int | None) -> list[Any]:
        if not clicks:
            return [no_update] * 3
        return [retry(monitor, by, code), parts.moved(monitor, before), ""]
