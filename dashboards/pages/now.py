"""Now: may I keep running this spindle? For the machinist, two metres away."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, html

from cellmon.errors import CellmonError
from cellmon.monitor.answers import Due
from cellmon.monitor.now import Now, SpindleNow
from dashboards import theme
from dashboards.figures import block
from dashboards.pages import parts

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

PATH = "/"
NAME = "Now"
SPINDLES, BLOCK, NOTES = "now-spindles", "now-block", "now-notes"


def layout(query: str | None = None) -> html.Main:
    """Return the page before its answers have come."""
    return html.Main(
        [
            html.Div(id=SPINDLES, className="spindles"),
            parts.figure_box(BLOCK, height="clamp(480px, 41vw, 640px)"),
            html.Div(id=NOTES),
        ]
    )


def show_now(monitor: Monitor) -> list[Any]:
    """Return the sentences, the drawing and the notes."""
    try:
        now = monitor.now()
    except CellmonError as refusal:
        return [[parts.notice(str(refusal))], theme.notice(""), []]
    return [[spindle_words(s, now) for s in now.spindles], block.block_figure(now), notes(now)]


def spindle_words(spindle: SpindleNow, now: Now) -> html.Section:
    """Return what one spindle's machinist must know, the sentence largest."""
    sign = html.Span(className=f"sign {spindle.status.value.replace(' ', '-')}", **{"aria-hidden": "true"})
    head = html.P([sign, f"{spindle.spindle} · {spindle.status.value}"], className="status")
    since = "" if spindle.bores_since_dress is None else f", {spindle.bores_since_dress} bores since dressing"
    stones = [html.Li(f"Stones {spindle.stone_set}{since}")] if spindle.stone_set else []
    due = [due_words(one, now) for one in spindle.due]
    sentence = html.P(sentence_words(spindle), className="sentence")
    return html.Section([head, sentence, html.Ul(due + stones, className="due")], className="spindle")


def sentence_words(spindle: SpindleNow) -> str:
    """Return the sentence without the spindle and status that stand in the line above it."""
    said = spindle.sentence.removeprefix(f"{spindle.spindle}: ").removeprefix(f"{spindle.status.value}. ")
    return said[:1].upper() + said[1:]


def due_words(due: Due, now: Now) -> html.Li:
    """Return something that waits, with its time; overdue in so many words."""
    when = f" at {block.clock_words(due.at, now.as_of)}" if due.at else ""
    if due.overdue:
        return html.Li(f"Overdue: {due.what}{when.replace(' at ', ', since ')}", className="overdue")
    return html.Li(f"Due{when}: {due.what}")


def notes(now: Now) -> list[html.P]:
    """Return how to read the drawing, and what the figures cannot say."""
    lines = {
        0: "full line, dots",
        1: "dashed line, diamonds",
        2: "dotted line, squares",
        3: "dash-dot, triangles",
    }
    directions = "; ".join(f"{name}: {lines[i % 4]}" for i, name in enumerate(now.directions))
    key = (
        f"Each bore is cut open, top face upwards: {directions}; straight between the planes, where "
        "nothing was read. "
        "Tolerance: pale, between two full lines; guard band, where a bore is too close to say: hatched. "
        "Below: each bore from its least to its greatest size, its average as a dot, the newest at the right."
    )
    return [html.P(key, className="aside"), *(html.P(note, className="aside") for note in now.notes)]


def register(app: Dash, monitor: Monitor) -> None:
    """Wire the page."""

    @app.callback(
        Output(SPINDLES, "children"),
        Output(BLOCK, "figure"),
        Output(NOTES, "children"),
        Input(parts.CHANGE, "data"),
    )
    def _(change: int) -> list[Any]:
        return show_now(monitor)

    parts.register_saving(app, BLOCK, lambda: block.rows(monitor.now()))
