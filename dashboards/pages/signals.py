"""Signals: what moved, since when, why it may be, and what was answered. For whoever answers."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, State, dcc, html, no_update

from cellmon.errors import CellmonError, NotFound, WrongUsage
from cellmon.export.tables import signals_table
from cellmon.monitor.hold import DISPOSITIONS
from cellmon.monitor.signals import WAITING, Signal
from cellmon.monitor.stream import StreamView
from cellmon.words import say, say_many, to_say
from dashboards import theme
from dashboards.figures import ribbon
from dashboards.figures.terms import term
from dashboards.pages import asked, extended, held, leafing, one_signal, parts
from dashboards.pages.signal_list import chosen_of, ordered, sentence

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

PATH = "/signals"
NAME = to_say("Signals")
SENTENCE, LIST, CHOSEN, SHEET = "signals-sentence", "signals-list", "signals-chosen", "signals-sheet"
TABLE, HEADING, FACTS, CAUSES, DRAWING = (
    "signals-table",
    "signals-heading",
    "signals-facts",
    "signals-causes",
    "signals-ribbon",
)
CAUTION, OFFERED, CAUSE, ACTION, WHO = (
    "signals-caution",
    "signals-offered",
    "signals-cause",
    "signals-action",
    "signals",
)
ANSWER, SEEN, SAID = "signals-answer", "signals-seen", "signals-said"
ANSWER_HERE = "signals-answer-here"
HOLD, HELD, WHICH, NAMED, AS, HOLD_WHO, WHY, RELEASE, RELEASED = (
    "signals-hold",
    "signals-held",
    "signals-which",
    "signals-named",
    "signals-as",
    "signals-hold",
    "signals-why",
    "signals-release",
    "signals-released",
)
DRAWING_BOX, UNDRAWN = "signals-drawing-box", "signals-undrawn"
BEFORE, AFTER = timedelta(hours=6), timedelta(hours=4)
LONGEST = timedelta(hours=30)
"""What is drawn round a signal: so much before its range and after its call, at most so long a time."""
SAID_WHY = 10
"""Of so many that wait the list says the likely cause; the others say it where they are opened."""


def layout(query: str | None = None) -> html.Main:
    """Return the page before its answers have come."""
    return html.Main(
        [
            parts.lead(SENTENCE),
            dcc.Store(id=CHOSEN, data=parts.query_values(query).get("signal")),
            html.Div(
                [
                    html.Div([html.Nav(id=LIST, **{"aria-label": say("Signals")}), parts.save_table(TABLE)]),
                    html.Article(_sheet(), id=SHEET, style={"display": "none"}),
                ],
                className="signals",
            ),
        ]
    )


def _sheet() -> list[Any]:
    return [
        html.H2(id=HEADING),
        html.Div(id=FACTS),
        html.H3(say("Answer"), id=ANSWER_HERE),
        html.Datalist(id=OFFERED),
        html.Div(
            [
                asked.who_field(WHO),
                html.Button(say("Seen, re-measuring"), id=SEEN, className="step"),
            ],
            className="controls",
        ),
        html.Div(
            [
                parts.field(say("Cause"), dcc.Input(id=CAUSE, list=OFFERED, autoComplete="off"), wide=True),
                parts.field(say("Action taken"), dcc.Input(id=ACTION, autoComplete="off"), wide=True),
                html.Button(say("Answer"), id=ANSWER, className="step"),
            ],
            className="controls",
        ),
        html.P(id=SAID, className="said", role="status"),
        html.P(id=UNDRAWN, className="aside"),
        html.Div(
            parts.figure_box(
                DRAWING,
                height=ribbon.SMALL.height,
                told_by=HEADING,
                caption=say(
                    "Ring: the subgroup that called. Darker upright band: when the change may have begun "
                    "(95 %), dotted: likeliest. Pale band: what was expected of a subgroup mean, by the wear."
                ),
            ),
            id=DRAWING_BOX,
        ),
        html.H3(say("Likely causes")),
        html.P(id=CAUTION, className="aside"),
        html.Div(id=CAUSES),
        html.P(html.A(say("To the answer"), href=f"#{ANSWER_HERE}")),
        html.H3(say("Hold list")),
        html.P(id=HOLD, className="held"),
        html.Div(_release(), className="release"),
        html.P(id=RELEASED, className="said", role="status"),
        extended.layout(),
        html.Div(id=HELD),
        parts.save_table(HELD),
    ]


def _release() -> list[Any]:
    which = dcc.RadioItems(
        id=WHICH,
        value="conform",
        className="choice",
        options=[{"label": say(words), "value": name} for name, words in held.WHICH.items()],
    )
    became = dcc.RadioItems(
        id=AS, className="choice", options=[{"label": term(word), "value": word} for word in DISPOSITIONS]
    )
    return [
        parts.field(say("Which parts"), which),
        parts.field(say("are"), became),
        html.Div(
            [
                parts.field(say("Serials, where named"), dcc.Input(id=NAMED, autoComplete="off")),
                asked.who_field(HOLD_WHO),
                parts.field(say("Why"), dcc.Input(id=WHY, autoComplete="off")),
                html.Button(say("Say so"), id=RELEASE, className="step"),
            ],
            className="stacked",
        ),
    ]


def show_list(monitor: Monitor, wanted: str | None, before: str | None = None) -> list[Any]:
    """Return the sentence, the caution, the list and the signal that is chosen.

    Where no link names one, that shown before stays: a newer one must not take a half-written answer away.
    """
    try:
        answer = monitor.signals(why=SAID_WHY)
        known = before if any(s.id == before for s in answer.signals) else None
        chosen = chosen_of(answer, wanted or known)
    except CellmonError as refusal:
        return [parts.notice(str(refusal)), "", [], None]
    waiting, answered, gone = ordered(answer)
    found: list[Any] = []
    if waiting:
        found += [html.H2(say("Waiting, {count}", count=len(waiting))), *entries(waiting, chosen)]
    if answered:
        found += [html.H2(say("Answered, {count}", count=len(answered))), *entries(answered, chosen)]
    if gone:
        head = html.Summary(say("Withdrawn, {count}", count=len(gone)))
        found.append(html.Details([head, *entries(gone, chosen)], open=chosen in gone))
    return [sentence(answer), answer.caution, found, chosen.id if chosen else None]


def entries(signals: Sequence[Signal], chosen: Signal | None) -> list[Any]:
    """Return the newest of some signals as a list, the chosen one among them, and how many are left out."""
    shown = [s for i, s in enumerate(signals) if i < leafing.SHOWN or s is chosen]
    rest = len(signals) - len(shown)
    text = say_many(
        "{count} older one is in the table below.", "{count} older ones are in the table below.", rest
    )
    older = [html.P(text, className="aside")] if rest else []
    return [html.Ul([entry(s, chosen) for s in shown]), *older]


def entry(signal: Signal, chosen: Signal | None) -> html.Li:
    """Return a signal as it stands in the list: what moved, since when, why, and whether it waits."""
    here = chosen is not None and chosen.id == signal.id
    likely = say("Likely: {cause}.", cause=signal.causes[0].title) if signal.causes else ""
    began = signal.change.at if signal.change else signal.raised_at
    link = dcc.Link(parts.capital(signal.words), href=link_to(signal.id), className="words")
    since = html.Span(f"{say('Since {at}.', at=parts.when(began))} {likely}", className="more")
    state = html.Span(
        one_signal.sentence(one_signal.state_words(signal)),
        className="state waits" if signal.state in WAITING else "state",
    )
    return html.Li([link, since, state], className="here" if here else "")


def link_to(signal: str) -> str:
    """Return the address of one signal."""
    return f"{PATH}?signal={signal}"


def show_signal(monitor: Monitor, wanted: str | None) -> list[Any]:
    """Return the heading, facts, causes and offered answers of one signal, and whether its sheet shows."""
    try:
        signal = chosen_of(monitor.signals(why=0, named=wanted), wanted) if wanted else None
    except CellmonError:
        signal = None
    if signal is None:
        return ["", [], [], [], {"display": "none"}]
    offered = [html.Option(value=cause.title) for cause in signal.causes]
    return [parts.capital(signal.words), one_signal.facts(signal), one_signal.causes(signal), offered, {}]


def view_around(monitor: Monitor, signal: Signal) -> StreamView:
    """Return the stream of a signal around its change, or of those that called the first that is drawn.

    Raises
    ------
    NotFound
        When none of its streams is made of subgroups.
    """
    change = signal.change
    since = (change.earliest_at if change else signal.raised_at) - BEFORE
    until = signal.raised_at + AFTER
    known = parts.every_stream(monitor)
    drawn = next((s for s in (signal.stream, *signal.streams) if s in known), None)
    if drawn is None:
        raise NotFound(say("This rests on single measurements; there is no stream of subgroups to draw."))
    since = max(since, until - LONGEST)
    return monitor.stream(**parts.names_of(drawn), since=since, until=until)


def show_drawing(monitor: Monitor, wanted: str | None) -> list[Any]:
    """Return the stream around one signal's change, whether it shows, and why there is none."""
    try:
        signal = chosen_of(monitor.signals(why=0, named=wanted), wanted) if wanted else None
        if signal is None:
            return [no_update, parts.HIDDEN, ""]
        drawn = ribbon.ribbon_figure(view_around(monitor, signal), room=ribbon.SMALL)
        return [theme.asked(drawn, wanted), {}, ""]
    except CellmonError as refusal:
        return [no_update, parts.HIDDEN, str(refusal)]


def drawn_rows(monitor: Monitor, wanted: str | None) -> dict[str, list[Any]]:
    """Return the bores of that drawing as columns."""
    signal = chosen_of(monitor.signals(why=0, named=wanted), wanted)
    return ribbon.rows(view_around(monitor, signal)) if signal else {}


def answer(
    monitor: Monitor,
    signal: str | None,
    cause: str | None,
    action: str | None,
    by: str | None,
    code: str | None = None,
    *,
    seen: bool,
) -> str:
    """Answer a signal, or say that it was seen; return what was kept, or why nothing was."""
    why, done = ((text or "").strip() for text in (cause, action))
    try:
        if signal is None or not asked.named(by):
            raise WrongUsage(say("Say who answers."))
        if not seen and not (why and done):
            raise WrongUsage(say("An answer needs a cause and an action; 'seen' acknowledges."))
        who = asked.who_of(by, code, lightly=seen)
        kept = monitor.respond(
            signal, by=who, cause=None if seen else why, action=None if seen else done, seen=seen
        )
    except CellmonError as refusal:
        return str(refusal)
    if not kept.response:
        return say("Kept.")
    return say("Kept: {answer}", answer=one_signal.response_words(kept.response))


def table_rows(monitor: Monitor) -> dict[str, Any]:
    """Return every signal as the exported table."""
    return parts.columns_of(signals_table(monitor.signals(), zone=parts.zone_of(monitor)))


def register(app: Dash, monitor: Monitor) -> None:
    """Wire the page."""
    changed, chosen, chosen_now = Input(parts.CHANGE, "data"), Input(CHOSEN, "data"), State(CHOSEN, "data")

    @app.callback(
        Output(SENTENCE, "children"),
        Output(CAUTION, "children"),
        Output(LIST, "children"),
        Output(CHOSEN, "data"),
        changed,
        Input(parts.URL, "search"),
        chosen_now,
    )
    def _(change: int, search: str | None, before: str | None) -> list[Any]:
        *shown, now = show_list(monitor, parts.query_values(search).get("signal"), before)
        return [*shown, no_update if now == before else now]

    @app.callback(
        Output(HEADING, "children"),
        Output(FACTS, "children"),
        Output(CAUSES, "children"),
        Output(OFFERED, "children"),
        Output(SHEET, "style"),
        changed,
        chosen,
    )
    def _(change: int, signal: str | None) -> list[Any]:
        return show_signal(monitor, signal)

    @app.callback(
        Output(DRAWING, "figure"),
        Output(DRAWING_BOX, "style"),
        Output(UNDRAWN, "children"),
        changed,
        chosen,
    )
    def _(change: int, signal: str | None) -> list[Any]:
        return show_drawing(monitor, signal)

    @app.callback(Output(HOLD, "children"), Output(HELD, "children"), changed, chosen)
    def _(change: int, signal: str | None) -> list[Any]:
        return held.show_hold(monitor, signal)

    _register_answers(app, monitor, chosen, chosen_now)
    parts.register_saving(app, DRAWING, lambda s: drawn_rows(monitor, s), chosen_now)
    parts.register_table(app, TABLE, lambda: table_rows(monitor))
    parts.register_table(app, HELD, lambda s: held.rows(monitor, s), chosen_now)


def _register_answers(app: Dash, monitor: Monitor, chosen: Input, chosen_now: State) -> None:
    """Wire what a person writes; nothing typed for one signal stays when another is chosen."""

    @app.callback(
        *(Output(field, "value") for field in (CAUSE, ACTION, NAMED, WHY)),
        *(Output(said, "children", allow_duplicate=True) for said in (SAID, RELEASED)),
        chosen,
        prevent_initial_call=True,
    )
    def _(signal: str | None) -> list[Any]:
        return ["", "", "", "", "", ""]

    @app.callback(
        Output(SAID, "children"),
        Output(parts.CHANGE, "data", allow_duplicate=True),
        asked.emptied(WHO),
        Input(ANSWER, "n_clicks"),
        Input(SEEN, "n_clicks"),
        chosen_now,
        State(CAUSE, "value"),
        State(ACTION, "value"),
        *asked.states(WHO),
        State(parts.CHANGE, "data"),
        prevent_initial_call=True,
    )
    def _(answered: int | None, seen: int | None, signal: str | None, *said: Any) -> list[Any]:
        if not (answered or seen):
            return [no_update, no_update, no_update]
        *typed, before = said
        told = answer(monitor, signal, *typed, seen=parts.pressed() == SEEN)
        return [told, parts.moved(monitor, before), ""]

    extended.register(app, monitor, CHOSEN)

    @app.callback(
        Output(RELEASED, "children"),
        Output(parts.CHANGE, "data", allow_duplicate=True),
        asked.emptied(HOLD_WHO),
        Input(RELEASE, "n_clicks"),
        chosen_now,
        *(State(field, "value") for field in (WHICH, NAMED, AS, WHY)),
        *asked.states(HOLD_WHO),
        State(parts.CHANGE, "data"),
        prevent_initial_call=True,
    )
    def _(clicks: int | None, signal: str | None, which: str, *said: Any) -> list[Any]:
        if not clicks:
            return [no_update, no_update, no_update]
        named, as_, why, by, code, before = said
        told = held.release(monitor, signal, which, named, as_, by, why, code)
        return [told, parts.moved(monitor, before), ""]
