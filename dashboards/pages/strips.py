"""Size and form of the bore whose stream is shown, on one time axis: drawn where a person asks for it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, State, html, no_update

from cellmon.errors import CellmonError
from cellmon.monitor.stream import StreamView
from cellmon.records import Stream
from cellmon.words import say, to_say
from dashboards import theme
from dashboards.figures import strips
from dashboards.pages import parts, saving

if TYPE_CHECKING:
    from collections.abc import Callable

    from cellmon.monitor import Monitor

    Asked = Callable[..., dict[str, Any]]

FIGURE, BOX = "stream-strips", "stream-strips-box"
KIND = "form"
"""What is chosen to be drawn below."""
CAPTION = to_say(
    "Dash: a bore. Thin line: means of subgroups. Pale, between two full lines: tolerance. Ring: a bore that "
    "does not conform, in any feature; cross: doubted; triangle at an edge: a bore beyond the drawing. "
    "Upright through all: stones, set-up, gauge; palest: a good master check. Offsets: in their lane."
)


def layout() -> html.Div:
    """Return the drawing's box, out of sight until it is asked for."""
    box = parts.figure_box(FIGURE, height=strips.HEIGHT, caption=say(CAPTION))
    return html.Div(box, id=BOX, style=parts.HIDDEN)


def views_of(monitor: Monitor, chosen: Stream, **time: Any) -> list[StreamView]:
    """Return the features of the bore of a stream over a time, size first; refusals as `Monitor.stream`."""
    every = parts.every_stream(monitor)
    found = [fits for f in strips.FEATURES if (fits := beside(every, chosen, f)) is not None]
    return [monitor.stream(**parts.names_of(one), **time) for one in found]


def beside(every: tuple[Stream, ...], chosen: Stream, feature: str) -> Stream | None:
    """Return the stream of another feature of the same bore; of several fixtures that of the chosen one."""

    def place(one: Stream) -> tuple[Any, ...]:
        return one.spindle, one.bore, one.part_number, one.part_of

    fits = [one for one in every if one.feature == feature and place(one) == place(chosen)]
    return next((one for one in fits if one.fixture == chosen.fixture), fits[0] if fits else None)


def views_asked(monitor: Monitor, asked_for: Asked, *asked: Any) -> list[StreamView]:
    """Return the features of the bore whose stream is asked for; refusals as `asked_for` of page Stream."""
    named = asked_for(monitor, *asked)
    chosen = parts.stream_named(parts.every_stream(monitor), asked[0])
    return views_of(monitor, chosen, since=named["since"], until=named["until"])


def show(monitor: Monitor, asked_for: Asked, kind: str, *asked: Any) -> list[Any]:
    """Return the drawing and whether it is seen."""
    if kind != KIND:
        return [no_update, parts.HIDDEN]
    try:
        views = views_asked(monitor, asked_for, *asked)
    except CellmonError as refusal:
        return [theme.notice(str(refusal), height=strips.HEIGHT), {}]
    return [theme.asked(strips.strips_figure(views), *asked), {}]


def data(monitor: Monitor, asked_for: Asked, *asked: Any) -> Mapping[str, Any]:
    """Return the data of the drawing; refusals as `views_asked`."""
    return strips.rows(views_asked(monitor, asked_for, *asked))


def register(app: Dash, monitor: Monitor, asked_for: Asked, kind: str, *names: tuple[str, str]) -> None:
    """Wire the drawing: what kind is drawn below, and what is asked, each as name and property."""

    @app.callback(
        Output(FIGURE, "figure"),
        Output(BOX, "style"),
        Input(parts.CHANGE, "data"),
        Input(kind, "value"),
        *(Input(*name) for name in names),
    )
    def _(change: int, kind: str, *asked: Any) -> list[Any]:
        return show(monitor, asked_for, kind, *asked)

    states = [State(*name) for name in names]
    saving.register_saving(app, FIGURE, lambda *asked: data(monitor, asked_for, *asked), *states)
