"""Stream: one stream in depth, with everything that was done to it on the same time axis."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, State, ctx, dcc, html, no_update

from cellmon.errors import CellmonError
from cellmon.words import say, to_say
from dashboards import theme
from dashboards.figures import mean_range, promised, ribbon, together
from dashboards.pages import (
    audited,
    by_hand,
    freeze,
    parts,
    promise,
    saving,
    stream_asked,
    stream_link,
    stream_words,
    strips,
)

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

PATH = "/stream"
NAME = to_say("Stream")
SENTENCE, STREAM, SPAN, PAIRED = "stream-sentence", "stream-stream", "stream-span", "stream-paired"
LIMITS, UNAIDED = "stream-limits", "stream-unaided"
UNTIL, EARLIER, LATER = "stream-until", "stream-earlier", "stream-later"
LED = "stream-led"
"""Where an address led, until the page has moved there."""
RIBBON, PAIR, PAIR_BOX, WORDS = "stream-ribbon", "stream-mean-range", "stream-pair-box", "stream-words"
RIBBON_BOX = "stream-ribbon-box"
SPAN_AT_FIRST = "two"
PAIR_WORDS = {
    "none": to_say("nothing"),
    strips.KIND: to_say("size and form"),
    "range": to_say("means and ranges"),
    "sd": to_say("means and deviations"),
    "single": to_say("single bores"),
    "ewma": to_say("a moving average"),
    "cusum": to_say("cumulative sums"),
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
    "Level above, spread below; all pairs rest on the same centre and sigma. A moving average of the means "
    "(newest counts a tenth) and the sums of what they exceed half a standard error by, up above and down "
    "below, begin at the first subgroup shown, are passed once in 370 subgroups when nothing moves, and do "
    "not follow the wear. Features together: how far each "
    "subgroup lies out in all features of the bore at once, in standard errors (root of T-squared) above, "
    "smoothed (MEWMA) below; size less what was expected. Ring: beyond, with the features it comes from."
)


def layout(query: str | None = None) -> html.Main:
    """Return the page before its answers have come; the query names the stream and the end of its time."""
    until = stream_link.until_of(query)
    pair = parts.figure_box(
        PAIR,
        height=mean_range.HEIGHT,
        caption=say(PAIR_CAPTION),
    )
    return html.Main(
        [
            parts.lead(SENTENCE),
            html.Div(
                [*_controls(), dcc.Store(id=UNTIL, data=until), dcc.Store(id=LED)], className="controls"
            ),
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


def pair_asked(monitor: Monitor, kind: str, *asked: Any) -> mean_range.Pair:
    """Return the pair of charts of the stream and time asked for; refusals as `asked_for`."""
    return mean_range.pair_of(monitor.pair(kind=kind, **stream_asked.asked_for(monitor, *asked)))


def below(monitor: Monitor, kind: str, *asked: Any) -> tuple[theme.Figure, list[Any]] | None:
    """Return what is drawn below the ribbon and the words on it; None where nothing was asked for."""
    if kind not in PAIR_WORDS or kind in ("none", strips.KIND):
        return None
    try:
        if kind != "joint":
            return classic(monitor, kind, *asked)
        answer = stream_asked.joint_asked(monitor, *asked)
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
        return together.rows(stream_asked.joint_asked(monitor, *asked))
    return mean_range.rows(pair_asked(monitor, kind, *asked))


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
        view = stream_asked.view_of(monitor, query, span, until)
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


def choose(monitor: Monitor, value: str | None, search: str | None) -> list[Any]:
    """Return the streams to choose from and the one chosen here or by the link."""
    try:
        streams = parts.every_stream(monitor)
        chosen = parts.stream_query(parts.stream_named(streams, value or stream_link.named_by(search)))
    except CellmonError:
        return [[], no_update]
    return [parts.stream_options(streams), no_update if value else chosen]


def register(app: Dash, monitor: Monitor) -> None:
    """Wire the page."""
    names = (STREAM, "value"), (SPAN, "value"), (UNTIL, "data")
    _register_choice(app, monitor)
    _register_drawn(app, monitor)
    _register_saving(app, monitor, *(State(*name) for name in names))
    strips.register(app, monitor, stream_asked.asked_for, PAIRED, *names)
    by_hand.register(app, monitor, stream_asked.time_by_hand, RIBBON_BOX, *names[1:])
    freeze.register(app, monitor, STREAM)
    audited.register(app, monitor)


def _register_choice(app: Dash, monitor: Monitor) -> None:
    """Wire the stream that is chosen, the time that is shown, and the link to both."""

    @app.callback(
        Output(STREAM, "options"),
        Output(STREAM, "value"),
        Input(parts.CHANGE, "data"),
        State(STREAM, "value"),
        State(parts.URL, "search"),
    )
    def _(change: int, value: str | None, search: str | None) -> list[Any]:
        return choose(monitor, value, search)

    @app.callback(
        Output(UNTIL, "data"),
        Input(EARLIER, "n_clicks"),
        Input(LATER, "n_clicks"),
        State(SPAN, "value"),
        State(UNTIL, "data"),
        prevent_initial_call=True,
    )
    def _(earlier: int | None, later: int | None, span: str, until: str | None) -> Any:
        return stream_asked.step_until(monitor, span, until, back=ctx.triggered_id == EARLIER)

    @app.callback(
        Output(parts.URL, "search"),
        Output(LED, "data", allow_duplicate=True),
        Input(STREAM, "value"),
        Input(UNTIL, "data"),
        State(LED, "data"),
        prevent_initial_call=True,
    )
    def _(query: str | None, until: str | None, led: list[str | None] | None) -> Any:
        return [stream_link.link_of(query, until, led), None]

    @app.callback(
        Output(STREAM, "value", allow_duplicate=True),
        Output(UNTIL, "data", allow_duplicate=True),
        Output(LED, "data"),
        Input(parts.URL, "search"),
        State(parts.URL, "pathname"),
        State(STREAM, "value"),
        State(UNTIL, "data"),
        prevent_initial_call=True,
    )
    def _(search: str | None, path: str | None, query: str | None, until: str | None) -> list[Any]:
        here = path == PATH  # else it is another page's address
        return stream_link.linked(monitor, search, query, until) if here else [no_update] * 3


def _register_drawn(app: Dash, monitor: Monitor) -> None:
    """Wire the sentence, the drawings and the words below them."""

    @app.callback(
        Output(SENTENCE, "children"),
        Output(RIBBON, "figure"),
        Output(PAIR, "figure"),
        Output(PAIR_BOX, "style"),
        Output(WORDS, "children"),
        Input(parts.CHANGE, "data"),
        Input(STREAM, "value"),
        Input(SPAN, "value"),
        Input(UNTIL, "data"),
        Input(PAIRED, "value"),
        Input(LIMITS, "value"),
        Input(UNAIDED, "value"),
        State(parts.URL, "search"),
    )
    def _(change: int, query: str | None, *shown: Any) -> Any:
        span, until, kind, limits, more, search = shown
        asked = query or stream_link.named_by(search), span, until, kind
        return show_stream(monitor, *asked, plain=limits == "plain", unaided=bool(more))


def _register_saving(app: Dash, monitor: Monitor, *states: State) -> None:
    """Wire what is saved of the drawings."""

    def of_ribbon(*asked: Any) -> Mapping[str, Any]:
        return ribbon.rows(stream_asked.view_of(monitor, *asked))

    def of_pair(kind: str, *asked: Any) -> Mapping[str, Any]:
        return below_rows(monitor, kind, *asked)

    saving.register_saving(app, RIBBON, of_ribbon, *states)
    saving.register_saving(app, PAIR, of_pair, State(PAIRED, "value"), *states)
