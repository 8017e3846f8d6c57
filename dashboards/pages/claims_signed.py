"""Signing figures of capability by name, and what of them waits for a second person."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from dash import Dash, State, dcc, html

from cellmon import local
from cellmon.errors import CellmonError, WrongUsage
from cellmon.monitor.capability_stream import StreamCapability
from cellmon.monitor.proposals import CLAIMS
from cellmon.words import say, say_many
from dashboards.pages import asked, parts, second, written

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

PREFIX, WHY, SIGN, SAID = "claims", "claims-why", "claims-sign", "claims-said"


def layout() -> html.Div:
    """Return what waits for a second person, and the form by which a first one signs."""
    form = [
        asked.who_field(PREFIX),
        parts.field(say("Why"), dcc.Input(id=WHY, autoComplete="off"), wide=True),
        html.Button(say("Sign"), id=SIGN, className="step"),
    ]
    folded = html.Details(
        [
            html.Summary(say("Sign the figures of this feature, by name and with a reason")),
            html.Div(form, className="controls"),
            written.below(SAID),
        ]
    )
    return html.Div([second.layout(second.FORMS[CLAIMS]), folded])


def line(row: StreamCapability) -> list[Any]:
    """Return who signed a stream's figures; nothing where nobody is asked to."""
    return [] if row.signature is None else [html.P(row.signature.sentence, className="told")]


def sign(
    monitor: Monitor,
    feature: str | None,
    why: str | None,
    by: str | None,
    code: str | None = None,
    *,
    looked: written.Looked | None = None,
) -> str:
    """Sign the figures of a feature's streams in the name of a person; return what was done, or why not."""
    reason = (why or "").strip()
    try:
        if not (asked.named(by) and reason):
            raise WrongUsage(say("Say who signs the figures, and why."))
        who = asked.who_of(by, code)
        rows = monitor.sign_capability(
            by=who, why=reason, feature=feature, knew=written.knew(looked)
        ).capability
    except CellmonError as refusal:
        return str(refusal)
    signature = next(row.signature.sentence for row in rows if row.signature is not None)
    supported = local.number(sum(row.claim == "supported" for row in rows))
    what = say_many(
        "The figures of {n} stream, {supported} of which supports the claim.",
        "The figures of {n} streams, {supported} of which support the claim.",
        len(rows),
        n=local.number(len(rows)),
        supported=supported,
    )
    return written.Kept(f"{signature} {what}")


def register(app: Dash, monitor: Monitor, feature: str, every: str) -> None:
    """Wire the form; `feature` is the id of the control that names the feature, `every` its word for all."""
    second.register(app, monitor, second.FORMS[CLAIMS], CLAIMS)

    def deed(monitor: Monitor, chosen: str | None, *given: Any, looked: written.Looked) -> str:
        return sign(monitor, None if chosen == every else chosen, *given, looked=looked)

    written.register(
        app,
        monitor,
        deed,
        said=SAID,
        who=PREFIX,
        presses=[SIGN],
        of=[State(feature, "value")],
        fields={WHY: ""},
        by_looks=True,
    )
