"""The form that says what became of held parts, by name and with a reason."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dash import Dash, State, dcc, html

from cellmon.monitor.hold import DISPOSITIONS
from cellmon.words import say
from dashboards.figures.terms import term
from dashboards.pages import asked, held, parts, written

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

WHICH, NAMED, AS, WHO, WHY, RELEASE, SAID = (
    "signals-which",
    "signals-named",
    "signals-as",
    "signals-hold",
    "signals-why",
    "signals-release",
    "signals-released",
)


def layout(part: str | None = None) -> html.Div:
    """Return the form: which of the parts, what they are, who says so and why; a link may name a part."""
    which = dcc.RadioItems(
        id=WHICH,
        value="named" if part else None,  # a group of thousands is chosen, never taken as it stands
        className="choice",
        options=[{"label": say(words), "value": name} for name, words in held.WHICH.items()],
    )
    became = dcc.RadioItems(
        id=AS, className="choice", options=[{"label": term(word), "value": word} for word in DISPOSITIONS]
    )
    form = [
        parts.field(say("Which parts"), which),
        parts.field(say("What became of them"), became),
        html.Div(
            [
                parts.field(say("Serials, where named"), dcc.Input(id=NAMED, value=part, autoComplete="off")),
                asked.who_field(WHO),
                parts.field(say("Why"), dcc.Input(id=WHY, autoComplete="off")),
                html.Button(say("Keep it in the journal"), id=RELEASE, className="step"),
            ],
            className="stacked",
        ),
    ]
    return html.Div([html.Div(form, className="release"), written.below(SAID)])


def register(app: Dash, monitor: Monitor, chosen: str) -> None:
    """Wire the form; `chosen` holds the signal that is shown. Its groups come with the hold list."""
    written.register(
        app,
        monitor,
        held.release,
        said=SAID,
        who=WHO,
        presses=[RELEASE],
        about=chosen,
        of=[State(WHICH, "value")],
        fields={NAMED: "", AS: None, WHY: ""},
        by_looks=True,
    )
