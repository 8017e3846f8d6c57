"""Stream: one stream in depth, with everything that was done to it on the same time axis."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from dash import Dash, Input, Output, State, ctx, dcc, html, no_update

from cellmon.errors import CellmonError, WrongUsage
from cellmon.monitor.joint import Joint
from cellmon.monitor.stream import StreamView
from cellmon.words import say, to_say
from dashboards import theme
from dashboards.figures import mean_range, promised, ribbon, together
from dashboards.pages import audited, by_hand, freeze, parts, promise, stream_words, strips

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

PATH = "/stream"
NAME = to_say("Stream")
SENTENCE, STREAM, SPAN, PAIRED = "stream-sentence", "stream-stream", "stream-span", "stream-paired"
LIMITS, UNAIDED = "stream-limits", "stream-unaided"
UNTIL, EARLIER, LATER = "stream-until", "stream-earlier", "stream-later"
RIBBON, PAIR, PAIR_BOX, WORDS = "stream-ribbon", "stream-mean-range", "stream-pair-box", "stream-words"
RIBBON_BOX = "stream-ribbon-box"
SPANS = {"shift": 8, "day": 24, "two": 48, "week": 168, "all": None}
SPAN_AT_FIRST = "two"
PAIR_WORDS = {
    "none": to_say("nothing"),
    strips.KIND: to_say("size and form"),
    "range": to_say("means and ranges"),
    "sd": to_say("means and deviations"),
    "single": to_say("single bores"),
    "joint": to_say("features together"),
}
LIMIT_WORDS = {"wear": to_say("follow the wear"), "plain": to_say("plain")}
SPAN_WORDS = {
    "shift": to_say("a shift"),
    "day": to_say("a day"),
    "two": to_say("two days"),
    "week": to_say("a week"),
    "all": to_say("all"),
}
CAPTION = to_say(
    "Bar: a subgroup, as high as its range, notched at its mean. Dash: a bore. Thin line in the pale band: "
    "what was expected of each mean, and its limits (three standard errors), by the wear or plain. Full "
    "lines: tolerance. Hatched: guard band. Ring: a subgroup that called a signal, or with plain limits a "
    "mean beyond one (square: a range); small: a bore that does not conform, in any feature. Darker upright "
    "band under a bracket: when the signal's change may have begun (95 %), dotted: likeliest. Cross, or bar "
    "along the floor: doubted. Triangle at an edge: a bore beyond the drawing."
)
PAIR_CAPTION = to_say(
    "Level above, spread below; all pairs rest on the same centre and sigma. Features together: how far each "
    "subgroup lies out in all features of the bore at once, in standard errors (root of T-squared) above, "
    "smoothed (MEWMA) below; size less what was expected. Ring: beyond, with the features it comes from."
)


def layout(query: str | None = None) -> html.Main:
    """Return the page before its answers have come; the query names the stream and the end of its time."""
    until = parts.query_values(query).get("until")
    pair = parts.figure_box(
        PAIR,
        height=mean_range.HEIGHT,
        caption=say(PAIR_CAPTION),
    )
    return html.Main(
        [
            parts.lead(SENTENCE),
            html.Div([*_controls(), dcc.Store(id=UNTIL, data=until)], className="controls"),
            html.Div(
                parts.figure_box(RIBBON, height=ribbon.HEIGHT, caption=say(CAPTION), told_by=SENTENCE),
                id=RIBBON_BOX,
            ),
            strips.layout(),
            html.Div(pair, id=PAIR_BOX, style=parts.HIDDEN),
            html.Div(id=WORDS),
            by_hand.section(),
            freeze.layout(),
            audited.section(),
        ]
    )


def _controls() -> list[Any]:
    """Return what is chosen above the drawing: stream, time, limits, what else is drawn."""
    unaided = dcc.Checklist(
        id=UNAIDED,
        value=[],
        inline=True,
        className="choice",
        options=[{"label": say("size without offsets"), "value": "unaided"}],
    )
    steps = html.Div(
        [
            html.Button(f"‹ {say('earlier')}", id=EARLIER, className="step"),
            html.Button(f"{say('later')} ›", id=LATER, className="step"),
        ]
    )
    return [
        parts.field(say("Stream"), parts.dropdown(STREAM, clearable=False), wide=True),
        parts.field(say("Time shown"), _one_of(SPAN, SPAN_AT_FIRST, SPAN_WORDS)),
        steps,
        parts.field(say("Limits"), _one_of(LIMITS, "wear", LIMIT_WORDS)),
        parts.field(say("Draw the"), unaided),
        parts.field(say("Also draw"), _one_of(PAIRED, "none", PAIR_WORDS)),
    ]


def _one_of(name: str, value: str, words: Mapping[str, str]) -> dcc.RadioItems:
    options = [{"label": say(label), "value": key} for key, label in words.items()]
    return dcc.RadioItems(id=name, value=value, inline=True, className="choice", options=options)


def view_of(monitor: Monitor, query: str | None, span: str, until: str | None) -> StreamView:
    """Return the stream a query names, over the time that is wanted; refusals as `asked_for`."""
    return monitor.stream(**asked_for(monitor, query, span, until))


def pair_asked(monitor: Monitor, kind: str, *asked: Any) -> mean_range.Pair:
    """Return the pair of charts of the stream and time asked for; refusals as `asked_for`."""
    return mean_range.pair_of(monitor.pair(kind=kind, **asked_for(monitor, *asked)))


def joint_asked(monitor: Monitor, *asked: Any) -> Joint:
    """Return the features together of the bore whose stream is asked for; refusals as `asked_for`.

    Raises
    ------
    CellmonError
        When the stream is a mean or a distance, or its features cannot be judged together.
    """
    wanted = asked_for(monitor, *asked)
    if wanted["bore"] is None or "part_of" in wanted:
        raise WrongUsage(say("Features are judged together on one bore: choose a stream of a bore."))
    names = ("spindle", "bore", "part_number", "since", "until")
    return monitor.joint(**{name: wanted[name] for name in names})


def below(monitor: Monitor, kind: str, *asked: Any) -> tuple[theme.Figure, list[Any]] | None:
    """Return what is drawn below the ribbon and the words on it; None where nothing was asked for."""
    if kind not in PAIR_WORDS or kind in ("none", strips.KIND):
        return None
    if kind != "joint":
        return classic(monitor, kind, *asked)
    try:
        answer = joint_asked(monitor, *asked)
    except CellmonError as refusal:
        return theme.notice("", height=together.HEIGHT), [parts.notice(str(refusal))]
    return together.joint_figure(answer), stream_words.together_words(answer)


def classic(monitor: Monitor, kind: str, *asked: Any) -> tuple[theme.Figure, list[Any]]:
    """Return a classic pair and, of means and ranges, how far its limits keep their promise."""
    figure = mean_range.mean_range_figure(pair_asked(monitor, kind, *asked))
    if kind != "range":
        return figure, []
    chosen = parts.stream_named(parts.every_stream(monitor), asked[0])
    found = promise.trust_in(monitor, chosen)
    return promised.with_probability(figure, promise.skew_of(found)), promise.promise_words(found)


def below_rows(monitor: Monitor, kind: str, *asked: Any) -> Mapping[str, Any]:
    """Return the data of what is drawn below the ribbon; refusals as `asked_for`."""
    if kind == "joint":
        return together.rows(joint_asked(monitor, *asked))
    return mean_range.rows(pair_asked(monitor, kind, *asked))


def asked_for(monitor: Monitor, query: str | None, span: str, until: str | None) -> dict[str, Any]:
    """Return the names of the stream a query names, and the time that is wanted.

    Raises
    ------
    CellmonError
        When there is no such stream, or the time is not a time.
    """
    stream = parts.stream_named(parts.every_stream(monitor), query)
    hours = SPANS.get(span, 48)
    named = parts.names_of(stream)
    end = moment(until) if until else monitor.waiting_signals().as_of + timedelta(seconds=1)
    since = end - timedelta(hours=hours) if hours else first_shift(monitor, end)
    return {**named, "since": since, "until": end}


def time_by_hand(monitor: Monitor, span: str, until: str | None) -> tuple[datetime, datetime | None]:
    """Return the time in which bores finished by hand are shown: as the drawing's, whatever the stream."""
    end = moment(until) if until else None
    hours = SPANS.get(span, 48)
    newest = end or monitor.waiting_signals().as_of
    return newest - timedelta(hours=hours) if hours else by_hand.EVER, end


def first_shift(monitor: Monitor, end: datetime) -> datetime:
    """Return the start of the first shift that has bores; the end itself where none has."""
    known = monitor.shifts_made().known
    return known[0].starts if known else end


def moment(text: str) -> datetime:
    """Return a time from a link, or refuse it."""
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        raise WrongUsage(
            say("{text} is not a time such as 2026-10-21T22:00:00+02:00.", text=repr(text))
        ) from None
    if found.tzinfo is None:
        raise WrongUsage(say("{text} lacks its offset from UTC, such as +02:00.", text=repr(text)))
    return found


def show_stream(
    monitor: Monitor,
    query: str | None,
    span: str,
    until: str | None,
    kind: str,
    *,
    plain: bool = False,
    unaided: bool = False,
) -> list[Any]:
    """Return sentence, ribbon, pair (where asked for), whether it shows, and the words below."""
    try:
        view = view_of(monitor, query, span, until)
        drawn = below(monitor, kind, query, span, until)
    except CellmonError as refusal:
        return [
            parts.notice(str(refusal)),
            theme.notice("", height=ribbon.HEIGHT),
            no_update,
            parts.HIDDEN,
            [],
        ]
    figure, more = drawn or (no_update, [])
    asked = query, span, until
    if drawn:
        figure = theme.asked(figure, *asked, kind)
    drawn_as = theme.asked(ribbon.ribbon_figure(view, plain=plain, unaided=unaided), *asked)
    said = [*more, *stream_words.ahead(monitor, view), *stream_words.words(view)]
    return [parts.capital(view.sentence), drawn_as, figure, {} if drawn else parts.HIDDEN, said]


def step_until(monitor: Monitor, span: str, until: str | None, *, back: bool) -> Any:
    """Return the new end of the time shown, half a span earlier or later; never past the newest row."""
    hours = SPANS.get(span, 48)
    if hours is None:
        return no_update
    try:
        newest = monitor.waiting_signals().as_of
        end = moment(until) if until else newest
    except CellmonError:
        return None
    moved = end + timedelta(hours=-hours / 2 if back else hours / 2)
    return None if moved >= newest else moved.isoformat()


def link_of(query: str | None, until: str | None) -> Any:
    """Return the query that brings a person back to this view."""
    if not query:
        return no_update
    plain = "&".join(p for p in query.lstrip("?").split("&") if not p.startswith("until="))
    return f"?{plain}" + (f"&until={until.replace('+', '%2B')}" if until else "")


def choose(monitor: Monitor, value: str | None, search: str | None) -> list[Any]:
    """Return the streams to choose from and the one chosen here or by the link."""
    try:
        streams = parts.every_stream(monitor)
        chosen = parts.stream_query(parts.stream_named(streams, value or named_by(search)))
    except CellmonError:
        return [[], no_update]
    return [parts.stream_options(streams), no_update if value else chosen]


def named_by(search: str | None) -> str | None:
    """Return the stream that a link names, as the choice that would name it; None where it names none."""
    named = {k: v for k, v in parts.query_values(search).items() if k in parts.STREAM_KEYS}
    return urlencode(named) if "feature" in named else None


def register(app: Dash, monitor: Monitor) -> None:
    """Wire the page."""
    stream, span, until = Input(STREAM, "value"), Input(SPAN, "value"), Input(UNTIL, "data")
    states = State(STREAM, "value"), State(SPAN, "value"), State(UNTIL, "data")

    @app.callback(
        Output(STREAM, "options"),
        Output(STREAM, "value"),
        Input(parts.CHANGE, "data"),
        states[0],
        State(parts.URL, "search"),
    )
    def _(change: int, value: str | None, search: str | None) -> list[Any]:
        return choose(monitor, value, search)

    @app.callback(
        Output(SENTENCE, "children"),
        Output(RIBBON, "figure"),
        Output(PAIR, "figure"),
        Output(PAIR_BOX, "style"),
        Output(WORDS, "children"),
        Input(parts.CHANGE, "data"),
        stream,
        span,
        until,
        Input(PAIRED, "value"),
        Input(LIMITS, "value"),
        Input(UNAIDED, "value"),
        State(parts.URL, "search"),
    )
    def _(change: int, query: str | None, *shown: Any) -> Any:
        span, until, kind, limits, more, search = shown
        asked = query or named_by(search), span, until, kind
        return show_stream(monitor, *asked, plain=limits == "plain", unaided=bool(more))

    @app.callback(
        Output(UNTIL, "data"),
        Input(EARLIER, "n_clicks"),
        Input(LATER, "n_clicks"),
        *states[1:],
        prevent_initial_call=True,
    )
    def _(earlier: int | None, later: int | None, span: str, until: str | None) -> Any:
        return step_until(monitor, span, until, back=ctx.triggered_id == EARLIER)

    @app.callback(Output(parts.URL, "search"), stream, until, prevent_initial_call=True)
    def _(query: str | None, until: str | None) -> Any:
        return link_of(query, until)

    parts.register_saving(app, RIBBON, lambda *asked: ribbon.rows(view_of(monitor, *asked)), *states)
    parts.register_saving(
        app,
        PAIR,
        lambda kind, *asked: below_rows(monitor, kind, *asked),
        State(PAIRED, "value"),
        *states,
    )
    names = (STREAM, "value"), (SPAN, "value"), (UNTIL, "data")
    strips.register(app, monitor, asked_for, PAIRED, *names)
    by_hand.register(app, monitor, time_by_hand, RIBBON_BOX, *names[1:])
    freeze.register(app, monitor, STREAM)
    audited.register(app, monitor)
