"""Now: may I keep running this spindle? For the machinist, two metres away."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, dcc, html

from cellmon import lengths, local
from cellmon.errors import CellmonError
from cellmon.monitor.answers import Due
from cellmon.monitor.first_bores import FirstBores
from cellmon.monitor.now import Ahead, Now, SpindleNow
from cellmon.monitor.signals_listed import Newest
from cellmon.records.words import feature_words
from cellmon.words import say, say_many, to_say
from dashboards import theme
from dashboards.figures import block
from dashboards.figures.terms import each, term
from dashboards.pages import (
    bore_layout,
    first_bores,
    outlook,
    parts,
    saving,
    screen,
    signal_list,
    stone_log,
    written,
)

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

PATH = "/"
NAME = to_say("Now")
SPINDLES, BLOCK, NOTES, CAUTIONS = "now-spindles", "now-block", "now-notes", "now-cautions"
SIGNALS_SAID = 1


def layout(query: str | None = None) -> html.Main:
    """Return the page before its answers have come."""
    return html.Main(
        [
            screen.above(),
            html.Div(id=SPINDLES, className="spindles"),
            html.Div(id=CAUTIONS, className="not-on-screen"),
            parts.figure_box(BLOCK, height="clamp(480px, 41vw, 640px)", told_by=f"{SPINDLES} {NOTES}"),
            html.Div([first_bores.layout(), screen.button()], className="row not-on-screen"),
            html.Div(id=NOTES, className="not-on-screen"),
        ],
        className="now",
    )


def show_now(monitor: Monitor) -> list[Any]:
    """Return the sentences, the cautions, the drawing, the notes, and what first bores say, for whom."""
    try:
        now, first = monitor.now(), monitor.first_bores()
        waiting = monitor.waiting_signals(most=SIGNALS_SAID).spindles
    except CellmonError as refusal:
        return [[parts.notice(str(refusal))], [], theme.notice(""), [], [], [], {}]
    sections = [spindle_words(s, now, first, waiting[s.spindle]) for s in now.spindles]
    sections = sections or [no_spindle()]
    return [sections, cautions(now), block.block_figure(now), notes(now), *first_bores.show(first)]


def no_spindle() -> html.Section:
    """Return the way to the bores in the hand, where the sheet names no spindle."""
    words = say("The sheet names no spindle. Bores that are honed by hand stand on page Bore.")
    link = dcc.Link(words, href=bore_layout.PATH)
    return html.Section(html.P(link, className="sentence", **{"aria-live": "polite"}), className="spindle")


def spindle_words(spindle: SpindleNow, now: Now, first: FirstBores, waiting: Newest) -> html.Section:
    """Return what one spindle's machinist must know, the sentence largest."""
    sign = html.Span(className=f"sign {spindle.status.value.replace(' ', '-')}", **{"aria-hidden": "true"})
    head = html.P([sign, f"{spindle.spindle} · {term(spindle.status.value)}"], className="status")
    sentence = html.P(sentence_words(spindle), className="sentence", **{"aria-live": "polite"})
    lines = [
        (say("Bores left"), left_words(spindle.ahead)),
        (say("Correction"), correction_words(spindle.ahead)),
    ]
    lines += [
        (say("First bores"), html.A(c, href=f"#{first_bores.BOX}"))
        for c in first_words(spindle.spindle, first)
    ]
    lines += [(say("Signals"), signal_words(waiting))]
    ahead = html.Dl(
        [one for name, said in lines for one in (html.Dt(name), html.Dd(said))], className="ahead"
    )
    stones = [html.Li(stones_words(spindle))] if spindle.stone_set else []
    stones.append(html.Li(log_link(spindle.spindle), className="not-on-screen"))
    due = [due_words(one, now) for one in spindle.due]
    return html.Section([head, sentence, ahead, html.Ul(due + stones, className="due")], className="spindle")


def log_link(spindle: str) -> dcc.Link:
    """Return the way to log what was done to the stones of a spindle."""
    return dcc.Link(say("Log stones of {spindle}", spindle=spindle), href=stone_log.link_to(spindle))


def stones_words(spindle: SpindleNow) -> str:
    """Return which stones a spindle wears, and for how many bores since they were dressed."""
    if spindle.bores_since_dress is None:
        return say("Stones {set}", set=spindle.stone_set)
    count = local.number(spindle.bores_since_dress)
    return say("Stones {set}, {count} bores since dressing", set=spindle.stone_set, count=count)


def left_words(streams: Sequence[Ahead]) -> str:
    """Return which stream of a spindle reaches a limit first, and after how many bores."""
    found = [(s, s.bores_to_limit) for s in streams if s.bores_to_limit is not None]
    soon = [(s, left) for s, left in found if left.p05 is not None]
    if not soon:
        return say("no limit in sight: no drift shows that would reach one.")
    stream, left = min(soon, key=lambda one: one[1].p05 or 0.0)
    return say(
        "{half} to the {side} limit of bore {bore} {feature}; 1 in 20: only {few}.",
        half=outlook.count(left.p50),
        side=term(left.side),
        bore=stream.stream.bore,
        feature=feature_words(stream.stream.feature),
        few=outlook.count(left.p05),
    )


def correction_words(streams: Sequence[Ahead]) -> str:
    """Return the corrections that pay, or to leave it alone."""
    advice = [(s.stream.bore, one) for s in streams for one in s.advice]
    if not advice:
        return say("none is worked out: too few subgroups.")
    steps = [
        say("bore {bore}: {step}", bore=bore, step=theme.um_said(one.by_um))
        for bore, one in advice
        if one.by_um is not None
    ]
    alone = [f"{bore}" for bore, one in advice if one.by_um is None]
    said = ", ".join(steps)
    if not steps:
        return say("leave it alone.")
    return say("{steps}; leave bore {bores} alone.", steps=said, bores=each(alone)) if alone else f"{said}."


def first_words(spindle: str, first: FirstBores) -> list[str]:
    """Return what the first bores of a spindle's newest change say, while nobody has released it."""
    waiting = [c for c in first_bores.waiting(first) if c.spindle == spindle]
    return [c.sentence.removeprefix(f"{spindle}, first bores ") for c in waiting]


def signal_words(waiting: Newest) -> list[Any]:
    """Return the newest signals that wait, each with its likely cause."""
    if not waiting.count:
        return [say("none waits.")]
    said: list[Any] = []
    for signal in waiting.signals:
        likely = f": {local.within(signal.causes[0].title)}?" if signal.causes else ""
        said.append(html.Div([dcc.Link(signal.words, href=signal_list.link_to(signal.id)), likely]))
    rest = waiting.count - len(waiting.signals)
    if rest > 0:
        more = say_many("{count} more waits for an answer", "{count} more wait for an answer", rest)
        said.append(html.Div(dcc.Link(more, href=signal_list.PATH)))
    return said


def sentence_words(spindle: SpindleNow) -> str:
    """Return the sentence without the spindle and status that stand in the line above it."""
    said = spindle.sentence.removeprefix(f"{spindle.spindle}: ").removeprefix(
        f"{term(spindle.status.value)}. "
    )
    return said[:1].upper() + said[1:]


def due_words(due: Due, now: Now) -> html.Li:
    """Return something that waits, with its time; overdue in so many words."""
    at = block.clock_words(due.at, now.as_of) if due.at else None
    if due.overdue:
        late = say("Overdue: {what}", what=due.what)
        late = say("Overdue: {what}, since {at}", what=due.what, at=at) if at else late
        return html.Li(late, className="overdue")
    return html.Li(
        say("Due at {at}: {what}", at=at, what=due.what) if at else say("Due: {what}", what=due.what)
    )


def cautions(now: Now) -> list[html.P]:
    """Return what stands beside every correction."""
    ahead = (one for spindle in now.spindles for one in spindle.ahead)
    said = dict.fromkeys(advice.caution for one in ahead for advice in one.advice)
    return [html.P(caution, className="aside") for caution in said]


def notes(now: Now) -> list[html.P]:
    """Return how to read the drawing, and what the figures cannot say."""
    lines = (
        say("full line, dots"),
        say("dashed line, diamonds"),
        say("dotted line, squares"),
        say("dash-dot, triangles"),
    )
    directions = "; ".join(f"{name}: {lines[i % 4]}" for i, name in enumerate(now.directions))
    key = say(
        "Each bore is cut open, top face upwards: {directions}; straight between the planes, where "
        "nothing was read. "
        "Tolerance: pale, between two full lines; guard band, where a bore is undecided: hatched. "
        "Below: each bore from its least to its greatest size, its average as a dot, in {unit} from "
        "nominal, the newest at the right.",
        directions=directions,
        unit=lengths.axis_unit(),
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
        written.looked_at(first_bores.SAID),
        Input(parts.CHANGE, "data"),
    )
    def _(change: int) -> list[Any]:
        return show_now(monitor)

    first_bores.register(app, monitor)
    saving.register_saving(app, BLOCK, lambda: block.rows(monitor.now()))
