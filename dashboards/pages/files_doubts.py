"""Doubted measurements: what is doubted, what is proposed, and the form in which a person decides."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, State, dcc, html

from cellmon import local
from cellmon.errors import CellmonError, WrongUsage
from cellmon.monitor.flags import FlagRow
from cellmon.monitor.row_words import DOUBTS
from cellmon.records import Flag
from cellmon.words import say, say_many
from dashboards.pages import asked, files_doubt_words, leafing, parts, written

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

BOX, LEAD, WHICH, LIST, SKIP, NEWER, OLDER = (
    "files-doubts",
    "files-doubts-lead",
    "files-doubts-which",
    "files-doubts-list",
    "files-doubts-skip",
    "files-doubts-newer",
    "files-doubts-older",
)
CHOSEN, FACTS, FORM, ALIKE, WHY, ACCEPT, KEEP, SAID = (
    "files-doubt",
    "files-doubt-facts",
    "files-doubt-form",
    "files-doubt-alike",
    "files-doubt-why",
    "files-doubt-accept",
    "files-doubt-keep",
    "files-doubt-said",
)
WHO = "files-doubt"
ALL_FLAGS = "all"
UNSEEN = {"display": "none"}


def section(chosen: str | None = None) -> html.Section:
    """Return the list and the form."""
    form = html.Div(
        [
            dcc.Checklist(id=ALIKE, value=[], options=[], className="choice"),
            html.Div(
                [
                    asked.who_field(WHO),
                    parts.field(say("Why"), dcc.Input(id=WHY, autoComplete="off"), wide=True),
                    html.Button(say("Accept the proposal"), id=ACCEPT, className="step"),
                    html.Button(say("Keep it as it was read"), id=KEEP, className="step"),
                ],
                className="controls",
            ),
        ],
        id=FORM,
        style=UNSEEN,
    )
    which = dcc.RadioItems(id=WHICH, value=ALL_FLAGS, options=[], inline=True, className="choice")
    said = written.below(SAID)
    return html.Section(
        [
            html.H2(say("Doubted measurements")),
            html.P(id=LEAD, className="told"),
            html.Div(parts.field(say("Which"), which), className="controls"),
            dcc.Store(id=SKIP, data=0),
            dcc.Store(id=CHOSEN, data=chosen),
            html.Div(
                [
                    html.Div([leafing.picks(LIST, CHOSEN), leafing.steps(NEWER, OLDER)]),
                    html.Article([html.Div(id=FACTS), form, said]),
                ],
                className="picked",
            ),
        ],
        id=BOX,
    )


def show(monitor: Monitor, which: str | None, skip: int | None, chosen: str | None) -> list[Any]:
    """Return the sentence, the flags to choose from, the list, and whether newer and older ones are left."""
    flag = None if which in (None, ALL_FLAGS) else which
    start = max(skip or 0, 0)
    try:
        # as the table of files asks, so that it is found once
        counts = monitor.files(last=leafing.SHOWN, before=None).doubts
        answer = monitor.flags(flag=flag, waiting=True, most=leafing.SHOWN, skip=start)
    except CellmonError as refusal:
        return [str(refusal), [], [], True, True]
    items = html.Ul([_entry(one, chosen) for one in answer.flags], className="picks")
    return [lead(counts), options(counts), items, start == 0, not answer.more]


def lead(counts: Mapping[str, int]) -> str:
    """Return how many measurements are doubted, and what that means for them."""
    count = sum(counts.values())
    if not count:
        return say("No measurement is doubted.")
    many = say_many("{n} doubt waits", "{n} doubts wait", count, n=local.number(count))
    return say(
        "{many}. They are judged, but kept out of limits and indices until somebody decides.", many=many
    )


def options(counts: Mapping[str, int]) -> list[dict[str, str]]:
    """Return the flags that wait as choices, all of them first."""
    total = sum(counts.values())
    found = [{"label": say("all {count}", count=local.number(total)), "value": ALL_FLAGS}]
    return found + [
        {"label": f"{say(DOUBTS[Flag(flag)])} ({local.number(n)})", "value": flag}
        for flag, n in counts.items()
    ]


def _entry(one: FlagRow, chosen: str | None) -> html.Li:
    here = one.id == chosen
    inside = [
        html.B(say("{part} bore {bore}, {spindle}", part=one.part, bore=one.bore, spindle=one.spindle)),
        html.Span(say("{at}: {words}", at=parts.when(one.at), words=one.words), className="more"),
    ]
    if one.proposal:
        inside.append(html.Span(say("Proposed: {proposal}", proposal=one.proposal), className="more"))
    return leafing.entry(inside, one.id, here=here)


def show_doubt(monitor: Monitor, chosen: str | None) -> list[Any]:
    """Return what is known of the chosen doubt, whether its form and acceptance show, and those like it."""
    if not chosen:
        hint = html.P(say("Choose a doubt to see what was read and to decide it."), className="aside")
        return [[hint], UNSEEN, UNSEEN, []]
    try:
        one = monitor.flag(chosen)
    except CellmonError as refusal:
        return [[parts.notice(str(refusal))], UNSEEN, UNSEEN, []]
    told = [*files_doubt_words.facts(one), *files_doubt_words.as_read(monitor, one.flag)]
    accept = {} if one.flag.proposal else UNSEEN
    return [told, {} if one.flag.state == "open" else UNSEEN, accept, files_doubt_words.alike(one)]


def decide(
    monitor: Monitor,
    chosen: str | None,
    with_alike: Sequence[str] | None,
    why: str | None,
    by: Any,
    code: Any,
    *,
    accept: bool,
) -> str:
    """Accept what a doubt proposes or keep the row, in a person's name; return what was done, or why not."""
    try:
        if not chosen:
            raise WrongUsage(say("Choose a doubt first."))
        if not (why or "").strip():
            raise WrongUsage(say("Say why."))
        who = asked.who_of(by, code)
        more = monitor.flag(chosen).alike if with_alike else 0
        row = monitor.correct(
            chosen, accept=accept, by=who, why=str(why).strip(), alike=bool(with_alike), knew=0
        )
    except CellmonError as refusal:
        return parts.capital(str(refusal))
    did = say("accepted") if row.state == "accepted" else say("kept as it was read")
    said = say(
        "{part} bore {bore}: {did}, by {by}; the row stands as it was read beside it.",
        part=row.part,
        bore=row.bore,
        did=did,
        by=who,
    )
    return written.Kept(said if not more else f"{said} {_others(more)}")


def _others(count: int) -> str:
    return say_many("So was {n} more like it.", "So were {n} more like it.", count, n=local.number(count))


def register(app: Dash, monitor: Monitor) -> None:
    """Wire the list and the form."""
    changed, chosen = Input(parts.CHANGE, "data"), Input(CHOSEN, "data")

    @app.callback(
        Output(LEAD, "children"),
        Output(WHICH, "options"),
        Output(LIST, "children"),
        Output(NEWER, "disabled"),
        Output(OLDER, "disabled"),
        changed,
        Input(WHICH, "value"),
        Input(SKIP, "data"),
        chosen,
    )
    def _(change: int, which: str | None, skip: int | None, doubt: str | None) -> list[Any]:
        return show(monitor, which, skip, doubt)

    @app.callback(
        Output(SKIP, "data"),
        Input(NEWER, "n_clicks"),
        Input(OLDER, "n_clicks"),
        Input(WHICH, "value"),
        State(SKIP, "data"),
        prevent_initial_call=True,
    )
    def _(newer: int | None, older: int | None, which: str | None, skip: int | None) -> int:
        return 0 if parts.pressed() == WHICH else leafing.step(skip, older=parts.pressed() == OLDER)

    @app.callback(
        Output(FACTS, "children"),
        Output(FORM, "style"),
        Output(ACCEPT, "style"),
        Output(ALIKE, "options"),
        changed,
        chosen,
    )
    def _(change: int, doubt: str | None) -> list[Any]:
        return show_doubt(monitor, doubt)

    def deed(*given: Any) -> str:
        return decide(*given, accept=parts.pressed() == ACCEPT)

    written.register(
        app,
        monitor,
        deed,
        said=SAID,
        who=WHO,
        presses=[ACCEPT, KEEP],
        about=CHOSEN,
        fields={ALIKE: [], WHY: ""},
    )
