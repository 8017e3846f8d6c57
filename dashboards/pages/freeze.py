"""Freezing limits: what is in force, what a freeze would make of it, and the form that does it by name."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, State, dcc, html

from cellmon import lengths, local
from cellmon.errors import CellmonError, WrongUsage
from cellmon.monitor.answers import BaselineSummary
from cellmon.monitor.baseline import StreamBaseline
from cellmon.monitor.proposals import LIMITS
from cellmon.records import Stream, stream_names
from cellmon.words import say, say_many, to_say
from dashboards import theme
from dashboards.figures.terms import each
from dashboards.pages import asked, parts, second, written

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

PROPOSED, WHICH, WHO, WHY, FREEZE, SAID = (
    "freeze-proposed",
    "freeze-which",
    "freeze",
    "freeze-why",
    "freeze-now",
    "freeze-said",
)
FOLDED, UNFOLDED = "freeze-here", "freeze-unfolded"
FEW = 2
"""So many streams are named one by one; a bore is frozen with its distance from the others."""
WHICH_WORDS = {"stream": to_say("this stream"), "all": to_say("every stream of the cell")}


def layout() -> html.Div:
    """Return what waits for a second person, and the fold-out that freezes."""
    options = [{"label": say(words), "value": name} for name, words in WHICH_WORDS.items()]
    which = dcc.RadioItems(id=WHICH, value="stream", inline=True, className="choice", options=options)
    form = [
        parts.field(say("Freeze the limits of"), which),
        asked.who_field(WHO),
        parts.field(say("Why"), dcc.Input(id=WHY, autoComplete="off"), wide=True),
        html.Button(say("Freeze"), id=FREEZE, className="step"),
    ]
    folded = parts.asked_open(
        UNFOLDED,
        say("Freeze the limits, by name and with a reason"),
        [html.Div(id=PROPOSED), html.Div(form, className="controls"), written.below(SAID)],
        id=FOLDED,
    )
    return html.Div([second.layout(second.FORMS[LIMITS]), folded])


def names_of(monitor: Monitor, query: str | None) -> dict[str, str]:
    """Return the names by which one bore's stream is frozen.

    Raises
    ------
    WrongUsage
        When the stream is a mean or a distance: those are frozen with every stream.
    """
    stream: Stream = parts.stream_named(parts.every_stream(monitor), query)
    if stream.spindle is None or stream.bore is None or stream.part_of != "itself":
        raise WrongUsage(say("The limits of a mean or of a distance are frozen with every stream."))
    return {"spindle": stream.spindle, "bore": stream.bore, "feature": stream.feature}


def show(monitor: Monitor, query: str | None) -> tuple[list[Any], written.Looked]:
    """Return what limits stand and what a freeze now would make of them, and what is known by that."""
    try:
        names, notice = names_of(monitor, query), []
    except CellmonError as refusal:
        names, notice = {}, [parts.notice(str(refusal))]
    try:
        answer = monitor.baselines(**names)
    except CellmonError as refusal:
        return [parts.notice(str(refusal))], {}
    shown = [] if notice else answer.baselines
    streams = stream_names([one.stream for one in shown])
    told = [
        html.Div([html.H3(parts.capital(name)), *(html.P(line, className="told") for line in lines(one))])
        for name, one in zip(streams, shown, strict=True)
    ]
    return [*notice, *told], {"decided": answer.decided}


def lines(one: StreamBaseline) -> list[str]:
    """Return what is in force for a stream and what is proposed, a sentence each."""
    stands = say("Nothing is called a limit yet.")
    if one.in_force is not None:
        stands = say(
            "In force: {limits}, {footing}.", limits=limits(one.in_force), footing=footing(one.in_force)
        )
    if one.proposed is None or one.window_from is None or one.window_to is None:
        return [stands, say("A freeze would change nothing: {why}.", why=one.why_not.get("proposed", ""))]
    rests = say_many("{count} subgroup", "{count} subgroups", one.subgroups)
    same = frozen(one) and limits(one.proposed) == (one.in_force and limits(one.in_force))
    offered = say(
        "A freeze now would set {limits}, from {rests}, {window}; {left} left out because of doubts or "
        "signals.",
        limits=say("the same") if same else limits(one.proposed),
        rests=rests,
        window=parts.between(one.window_from, one.window_to),
        left=local.number(one.left_out),
    )
    return [stands, offered]


def limits(one: BaselineSummary) -> str:
    """Return centre and spread in words."""
    return say(
        "centre {centre}, sigma {sigma}",
        centre=theme.um_said(one.center_um, 2),
        sigma=lengths.said(one.sigma_um, 2),
    )


def footing(one: BaselineSummary) -> str:
    """Return who froze limits and when, or that nobody has."""
    if one.frozen_at is None:
        return say("provisional, frozen by nobody")
    if one.signed_by is not None:
        text = to_say("frozen by {who} and signed by {second}, {moment}")
        return say(text, who=one.by, second=one.signed_by, moment=parts.when(one.frozen_at))
    return say("frozen by {who}, {moment}", who=one.by, moment=parts.when(one.frozen_at))


def freeze(
    monitor: Monitor,
    query: str | None,
    which: str,
    why: str | None,
    by: str | None,
    code: str | None = None,
    *,
    looked: written.Looked | None = None,
) -> str:
    """Freeze limits in the name of a person; return what was done, or why not."""
    reason = (why or "").strip()
    try:
        if not (asked.named(by) and reason):
            raise WrongUsage(say("Say who freezes the limits, and why."))
        names = {} if which == "all" else names_of(monitor, query)
        who = asked.who_of(by, code)
        answer = monitor.freeze(by=who, why=reason, knew=written.knew(looked), **names)
    except CellmonError as refusal:
        return str(refusal)
    if answer.waiting:
        proposed = answer.waiting[-1].sentence
        text = to_say("{proposed} Until then the limits in force go on watching.")
        return written.Kept(say(text, proposed=proposed))
    text = to_say("Limits of {streams} frozen by {who}: {why}.")
    return written.Kept(say(text, streams=done_to(answer.baselines), who=who, why=reason.rstrip(".")))


def done_to(found: Sequence[StreamBaseline]) -> str:
    """Return whose limits were frozen: by name where they are few, else how many."""
    streams = [one.stream for one in found if frozen(one)]
    if 0 < len(streams) <= FEW:
        return each(stream_names(streams))
    return say_many("{count} stream", "{count} streams", len(streams))


def frozen(one: StreamBaseline) -> bool:
    """Return whether the limits in force were frozen."""
    return one.in_force is not None and one.in_force.frozen_at is not None


def register(app: Dash, monitor: Monitor, stream: str) -> None:
    """Wire the form; `stream` is the id of the control that names the stream."""
    second.register(app, monitor, second.FORMS[LIMITS], LIMITS)

    asked_for = parts.wanted(app, UNFOLDED, Input(UNFOLDED, "data"), Input(stream, "value"))

    shown = Output(PROPOSED, "children"), written.looked_at(SAID)

    @app.callback(*shown, asked_for, State(stream, "value"), prevent_initial_call=True)
    def _(asked: int, query: str | None) -> Any:
        return show(monitor, query) if query else ([], {})

    written.register(
        app,
        monitor,
        freeze,
        said=SAID,
        who=WHO,
        presses=[FREEZE],
        of=[State(stream, "value"), State(WHICH, "value")],
        fields={WHY: ""},
        by_looks=True,
    )
