"""Now: may I keep running this spindle? For the machinist, two metres away."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, dcc, html

from cellmon.errors import CellmonError
from cellmon.monitor.answers import Due
from cellmon.monitor.first_bores import FirstBores
from cellmon.monitor.now import Now, SpindleNow
from cellmon.monitor.signals import WAITING, Signal
from cellmon.monitor.state import State, StreamState
from dashboards import theme
from dashboards.figures import block
from dashboards.pages import first_bores, outlook, parts, signals

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

PATH = "/"
NAME = "Now"
SPINDLES, BLOCK, NOTES, CAUTIONS = "now-spindles", "now-block", "now-notes", "now-cautions"
SIGNALS_SAID = 1


def layout(query: str | None = None) -> html.Main:
    """Return the page before its answers have come."""
    return html.Main(
        [
            html.Div(id=SPINDLES, className="spindles"),
            html.Div(id=CAUTIONS),
            first_bores.layout(),
            parts.figure_box(BLOCK, height="clamp(480px, 41vw, 640px)"),
            html.Div(id=NOTES),
        ]
    )


def show_now(monitor: Monitor) -> list[Any]:
    """Return the sentences, the cautions, the drawing, the notes, and what first bores say."""
    try:
        now, state, first, found = monitor.now(), monitor.state(), monitor.first_bores(), monitor.signals()
    except CellmonError as refusal:
        return [[parts.notice(str(refusal))], [], theme.notice(""), [], [], []]
    waiting = [s for s in found.signals if s.state in WAITING]
    sections = [spindle_words(s, now, state, first, waiting) for s in now.spindles]
    checks, spindles = first_bores.show(first)
    return [sections, cautions(state), block.block_figure(now), notes(now), checks, spindles]


def spindle_words(
    spindle: SpindleNow, now: Now, state: State, first: FirstBores, waiting: Sequence[Signal]
) -> html.Section:
    """Return what one spindle's machinist must know, the sentence largest."""
    sign = html.Span(className=f"sign {spindle.status.value.replace(' ', '-')}", **{"aria-hidden": "true"})
    head = html.P([sign, f"{spindle.spindle} · {spindle.status.value}"], className="status")
    sentence = html.P(sentence_words(spindle), className="sentence")
    mine = [s for s in state.streams if s.stream.spindle == spindle.spindle and s.running]
    lines = [("Bores left", left_words(mine)), ("Correction", correction_words(mine))]
    lines += [("First bores", c) for c in first_words(spindle.spindle, first)]
    lines += [("Signals", signal_words([s for s in waiting if s.stream.spindle in (None, spindle.spindle)]))]
    ahead = html.Dl(
        [one for name, said in lines for one in (html.Dt(name), html.Dd(said))], className="ahead"
    )
    since = "" if spindle.bores_since_dress is None else f", {spindle.bores_since_dress} bores since dressing"
    stones = [html.Li(f"Stones {spindle.stone_set}{since}")] if spindle.stone_set else []
    due = [due_words(one, now) for one in spindle.due]
    return html.Section([head, sentence, ahead, html.Ul(due + stones, className="due")], className="spindle")


def left_words(streams: Sequence[StreamState]) -> str:
    """Return which stream of a spindle reaches a limit first, and after how many bores."""
    found = [(s, s.bores_to_limit) for s in streams if s.bores_to_limit is not None]
    soon = [(s, left) for s, left in found if left.p05 is not None]
    if not soon:
        return "no limit in sight: no drift shows that would reach one."
    stream, left = min(soon, key=lambda one: one[1].p05 or 0.0)
    of = f"bore {stream.stream.bore} {stream.stream.feature}"
    half, few = outlook.count(left.p50), outlook.count(left.p05)
    return f"{half} to the {left.side} limit of {of}; 1 in 20: only {few}."


def correction_words(streams: Sequence[StreamState]) -> str:
    """Return the corrections that pay, or to leave it alone."""
    advice = [(s.stream.bore, one) for s in streams for one in s.advice]
    if not advice:
        return "none is worked out: too few subgroups."
    steps = [f"bore {bore}: {theme.um(one.by_um)} µm" for bore, one in advice if one.by_um is not None]
    alone = [f"{bore}" for bore, one in advice if one.by_um is None]
    said = ", ".join(steps)
    if not steps:
        return "leave it alone."
    return f"{said}; leave bore {' and '.join(alone)} alone." if alone else f"{said}."


def first_words(spindle: str, first: FirstBores) -> list[str]:
    """Return what the first bores of a spindle's newest change say, while nobody has released it."""
    waiting = [c for c in first_bores.waiting(first) if c.spindle == spindle]
    return [c.sentence.removeprefix(f"{spindle}, first bores ") for c in waiting]


def signal_words(waiting: Sequence[Signal]) -> list[Any]:
    """Return the newest signals that wait, each with its likely cause."""
    if not waiting:
        return ["none waits."]
    said: list[Any] = []
    for signal in waiting[:SIGNALS_SAID]:
        likely = f": {signal.causes[0].title.lower()}?" if signal.causes else ""
        said.append(html.Div([dcc.Link(signal.words, href=signals.link_to(signal.id)), likely]))
    rest = len(waiting) - SIGNALS_SAID
    if rest > 0:
        more = "1 more waits" if rest == 1 else f"{rest} more wait"
        said.append(html.Div(dcc.Link(f"{more} for an answer", href=signals.PATH)))
    return said


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


def cautions(state: State) -> list[html.P]:
    """Return what stands beside every correction."""
    said = dict.fromkeys(one.caution for stream in state.streams for one in stream.advice)
    return [html.P(caution, className="aside") for caution in said]


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
    return [html.P(said, className="aside") for said in (key, *now.notes)]


def register(app: Dash, monitor: Monitor) -> None:
    """Wire the page."""

    @app.callback(
        Output(SPINDLES, "children"),
        Output(CAUTIONS, "children"),
        Output(BLOCK, "figure"),
        Output(NOTES, "children"),
        Output(first_bores.TABLE, "children"),
        Output(first_bores.SPINDLE, "options"),
        Input(parts.CHANGE, "data"),
    )
    def _(change: int) -> list[Any]:
        return show_now(monitor)

    first_bores.register(app, monitor)
    parts.register_saving(app, BLOCK, lambda: block.rows(monitor.now()))
