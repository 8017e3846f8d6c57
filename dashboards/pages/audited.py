"""Audits and findings on demand: what other instruments and eyes found, stream by stream."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, State, dcc, html, no_update

from cellmon import local
from cellmon.errors import CellmonError, NotFound
from cellmon.monitor.audits import AuditStream, FindingStream
from cellmon.shifts import to_local
from cellmon.words import say, to_say
from dashboards import theme
from dashboards.figures import audited, mean_range
from dashboards.pages import parts, saving, signal_list

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

CHOICE, FIGURE, WORDS, LEAD = "audited-stream", "audited-figure", "audited-words", "audited-lead"
UNFOLDED = "audited-unfolded"
CAPTION = to_say(
    "Audits: single values above their moving ranges (for sizes that cannot fall below nought the ratio to "
    "the value before); pale band: limits by probability, each passed by chance once in 370, ringed but no "
    "signal by itself. Findings: bores with it in each shift, up to the most that chance explains, above "
    "the bores there were."
)


def section() -> html.Details:
    """Return the section before its answers have come; closed until it is wanted."""
    return parts.asked_open(
        UNFOLDED,
        say("Audits and findings"),
        [
            html.P(id=LEAD, className="told"),
            html.Div(
                parts.field(say("Audited stream"), parts.dropdown(CHOICE, clearable=False), wide=True),
                className="controls",
            ),
            parts.figure_box(FIGURE, height=mean_range.HEIGHT, caption=say(CAPTION), told_by=LEAD),
            html.Div(id=WORDS),
        ],
    )


def choose(monitor: Monitor, value: str | None) -> list[Any]:
    """Return the sentence of all streams, those to choose from, and one that called where none is chosen."""
    try:
        answer = monitor.audits()
    except CellmonError as refusal:
        return [str(refusal), [], no_update]
    every = (*answer.audits, *answer.findings)
    options = parts.stream_options([s.stream for s in every])
    values = [option["value"] for option in options]
    called = [v for v, s in zip(values, every, strict=True) if s.signals]
    first = (called or values or [no_update])[0]
    said = [f"{parts.capital(answer.sentence)}."]
    said += [say("Not known: {why}.", why=why) for why in answer.why_not.values()]
    return [" ".join(said), options, no_update if value in values else first]


def stream_of(monitor: Monitor, query: str | None) -> AuditStream | FindingStream:
    """Return the stream a choice names.

    Raises
    ------
    NotFound
        When nothing was audited or found under that name.
    """
    answer = monitor.audits()
    every = (*answer.audits, *answer.findings)
    if not query or not every:
        raise NotFound(say("No audit of a feature of the sheet and no finding was taken yet."))
    named = parts.stream_named([s.stream for s in every], query)
    return next(s for s in every if s.stream == named)


def show(monitor: Monitor, query: str | None) -> list[Any]:
    """Return the drawing of one stream, and what its limits rest on in words."""
    try:
        stream = stream_of(monitor, query)
    except CellmonError as refusal:
        return [theme.notice(str(refusal), height=mean_range.HEIGHT), []]
    return [
        theme.asked(audited.audited_figure(stream, parts.zone_of(monitor).key), query),
        words(stream, monitor),
    ]


def words(stream: AuditStream | FindingStream, monitor: Monitor) -> list[Any]:
    """Return what a stream's limits rest on, what was left out, and its signals."""
    said = [_of_audit(stream, monitor) if isinstance(stream, AuditStream) else _of_finding(stream)]
    said += [say("No limits: {why}.", why=why) for why in stream.why_not.values()]
    said += [f"{parts.capital(note)}." for note in stream.notes]
    found: list[Any] = [html.P(one, className="aside") for one in said if one]
    if stream.signals:
        links = [html.Li(dcc.Link(name, href=signal_list.link_to(name))) for name in stream.signals]
        found += [html.P(say("Signals in which it called:")), html.Ul(links)]
    return found


def _of_audit(s: AuditStream, monitor: Monitor) -> str:
    if s.baseline_n is None:
        return ""
    scale = say("log scale") if s.scale == "log" else say("plain scale")
    last = parts.when(to_local(s.at[-1], parts.zone_of(monitor)))
    return say(
        "Limits from {n} values on the {scale}; the last value is of {last}, block {part}.",
        n=s.baseline_n,
        scale=scale,
        last=last,
        part=s.part[-1],
    )


def _of_finding(s: FindingStream) -> str:
    if s.why_not:
        return say("Shares are of the {what}.", what=s.of)
    return say(
        "Shares are of the {what}. The newest limit rests on {found} of {bores} bores in the shifts before.",
        what=s.of,
        found=local.number(s.baseline_found or 0),
        bores=local.number(s.baseline_bores or 0),
    )


def register(app: Dash, monitor: Monitor) -> None:
    """Wire the section; its answers read every audit there is, and are asked for while it is unfolded."""
    asked = parts.wanted(app, UNFOLDED, Input(UNFOLDED, "data"))

    @app.callback(
        Output(LEAD, "children"),
        Output(CHOICE, "options"),
        Output(CHOICE, "value"),
        asked,
        State(CHOICE, "value"),
        prevent_initial_call=True,
    )
    def _(asked: int, value: str | None) -> list[Any]:
        return choose(monitor, value)

    @app.callback(
        Output(FIGURE, "figure"),
        Output(WORDS, "children"),
        asked,
        Input(CHOICE, "value"),
        prevent_initial_call=True,
    )
    def _(asked: int, query: str | None) -> list[Any]:
        return show(monitor, query) if query else [no_update] * 2

    def saved(query: str | None) -> dict[str, list[Any]]:
        return audited.rows(stream_of(monitor, query), parts.zone_of(monitor).key)

    saving.register_saving(app, FIGURE, saved, State(CHOICE, "value"))
