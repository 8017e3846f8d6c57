"""Extend a hold: bores made before its list begins are held as well, by name and with a reason."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dash import Dash, dcc, html

from cellmon import local
from cellmon.errors import CellmonError, WrongUsage
from cellmon.words import say, say_many
from dashboards.pages import asked, parts, written

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

FROM, TO, WHO, WHY, EXTEND, SAID = (
    "signals-extend-from",
    "signals-extend-to",
    "signals-extend",
    "signals-extend-why",
    "signals-extend-do",
    "signals-extended",
)


def layout() -> html.Details:
    """Return the form, closed until a person opens it."""
    told = say(
        "The list begins where the change may have begun. Hold earlier blocks as well where you doubt that: "
        "from one of them on, or only to another."
    )
    fields = [
        parts.field(say("From serial"), dcc.Input(id=FROM, autoComplete="off")),
        parts.field(say("To serial, if not to the list"), dcc.Input(id=TO, autoComplete="off")),
        asked.who_field(WHO),
        parts.field(say("Why"), dcc.Input(id=WHY, autoComplete="off"), wide=True),
        html.Button(say("Hold these as well"), id=EXTEND, className="step"),
    ]
    return html.Details(
        [
            html.Summary(say("Extend the hold, by name and with a reason")),
            html.P(told, className="told"),
            html.Div(fields, className="controls"),
            written.below(SAID),
        ]
    )


def extend(
    monitor: Monitor,
    signal: str | None,
    first: str | None,
    to: str | None,
    why: str | None,
    by: str | None,
    code: str | None = None,
) -> str:
    """Hold earlier blocks as well, in the name of a person; return what was done, or why not."""
    serial, last, reason = ((text or "").strip() for text in (first, to, why))
    try:
        if signal is None or not (serial and asked.named(by) and reason):
            raise WrongUsage(say("Say from which block, who extends the hold, and why."))
        who = asked.who_of(by, code)
        before = len(monitor.hold(signal).parts)
        hold = monitor.extend_hold(signal, from_part=serial, to_part=last or None, by=who, why=reason)
    except CellmonError as refusal:
        return parts.capital(str(refusal))
    more = len(hold.parts) - before
    told = say_many(
        "{n} bore more is held, from {first} on, by {who}.",
        "{n} bores more are held, from {first} on, by {who}.",
        more,
        n=local.number(more),
        first=serial,
        who=who,
    )
    return written.Kept(told)


def register(app: Dash, monitor: Monitor, chosen: str) -> None:
    """Wire the form; `chosen` holds the signal that is shown."""
    written.register(
        app,
        monitor,
        extend,
        said=SAID,
        who=WHO,
        presses=[EXTEND],
        about=chosen,
        fields={FROM: "", TO: "", WHY: ""},
    )
