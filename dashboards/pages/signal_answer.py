"""The form that answers a signal, or says that it was seen, by name."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from dash import Dash, dcc, html

from cellmon.errors import CellmonError, WrongUsage
from cellmon.words import say
from dashboards.pages import asked, one_signal, parts, written

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

OFFERED, CAUSE, ACTION, WHO, ANSWER, SEEN, SAID, HERE = (
    "signals-offered",
    "signals-cause",
    "signals-action",
    "signals",
    "signals-answer",
    "signals-seen",
    "signals-said",
    "signals-answer-here",
)


def layout() -> list[Any]:
    """Return the form under its heading."""
    cause = dcc.Input(id=CAUSE, list=OFFERED, autoComplete="off")
    seen = html.Button(say("Seen, re-measuring"), id=SEEN, className="step")
    form = [
        parts.field(say("Cause"), cause, wide=True),
        parts.field(say("Action taken"), dcc.Input(id=ACTION, autoComplete="off"), wide=True),
        html.Button(say("Answer"), id=ANSWER, className="step"),
    ]
    return [
        html.H3(say("Answer"), id=HERE),
        html.Datalist(id=OFFERED),
        html.Div([asked.who_field(WHO), seen], className="controls"),
        html.Div(form, className="controls"),
        written.below(SAID),
    ]


def answer(
    monitor: Monitor,
    signal: str | None,
    cause: str | None,
    action: str | None,
    by: str | None,
    code: str | None = None,
    *,
    seen: bool,
    looked: written.Looked | None = None,
) -> str:
    """Answer a signal, or say that it was seen; return what was kept, or why nothing was."""
    why, done = ((text or "").strip() for text in (cause, action))
    try:
        if signal is None or not asked.named(by):
            raise WrongUsage(say("Say who answers."))
        if not seen and not (why and done):
            raise WrongUsage(say("An answer needs a cause and an action; 'seen' acknowledges."))
        who = asked.who_of(by, code, lightly=seen)
        said = {"cause": None, "action": None} if seen else {"cause": why, "action": done}
        kept = monitor.respond(signal, by=who, **said, seen=seen, knew=written.knew(looked))
    except CellmonError as refusal:
        return str(refusal)
    if not kept.response:
        return written.Kept(say("Kept."))
    return written.Kept(say("Kept: {answer}", answer=one_signal.response_words(kept.response)))


def register(app: Dash, monitor: Monitor, chosen: str) -> None:
    """Wire the form; `chosen` holds the signal that is shown."""

    def deed(*given: Any, looked: written.Looked) -> str:
        return answer(*given, seen=parts.pressed() == SEEN, looked=looked)

    written.register(
        app,
        monitor,
        deed,
        said=SAID,
        who=WHO,
        presses=[ANSWER, SEEN],
        about=chosen,
        fields={CAUSE: "", ACTION: ""},
        by_looks=True,
    )
