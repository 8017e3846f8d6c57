"""Who says so: a name typed on this machine, the name signed in, or a name and a code on a shared tablet.

A form puts `who_field(prefix)` where it asks by whom, takes `*states(prefix)` into its callback, and calls
`who_of(by, code)` there before it asks the monitor. What the name may do is held behind the monitor
(`dashboards.asking`), not here.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from dash import Output, State, dcc, html

from cellmon.errors import WrongUsage
from cellmon.people import Role
from cellmon.words import say
from dashboards.asking import Asking, ask_as, asking
from dashboards.pages import parts

OUT = "/sign-out"
UNSEEN = {"display": "none"}


def by_id(prefix: str) -> str:
    """Return the id of the control that holds the name."""
    return f"{prefix}-by"


def code_id(prefix: str) -> str:
    """Return the id of the control that holds the code."""
    return f"{prefix}-code"


def states(prefix: str) -> tuple[State, State]:
    """Return what a callback takes to know who says so: the name and the code."""
    return State(by_id(prefix), "value"), State(code_id(prefix), "value")


def emptied(prefix: str) -> Output:
    """Return what a callback sets to "" once it has used the code, so none stays on a tablet."""
    return Output(code_id(prefix), "value")


def who_field(prefix: str, label: str | None = None, *, remembered: bool = False) -> html.Div:
    """Return the field that asks by whom, as it is for whoever opens the page.

    Both controls are always there, so that a callback finds them; what need not be asked is not shown.
    A name typed where nobody signs in may be `remembered` in this window.
    """
    one, shown = asking(), say("By") if label is None else label
    code = dcc.Input(
        id=code_id(prefix), type="password", inputMode="numeric", autoComplete="off", maxLength=8, value=""
    )
    if one is None:
        kept = {"persistence": "by", "persistence_type": "session"} if remembered else {}
        fields = [parts.field(shown, dcc.Input(id=by_id(prefix), autoComplete="off", **kept))]
    elif not one.person.shared:
        fixed = dcc.Input(id=by_id(prefix), value=one.person.name, readOnly=True)
        fields = [parts.field(shown, fixed)]
        if not may(Role.ANSWER):
            fields.append(html.P(say("{name} may only look.", name=one.person.name), className="aside"))
    else:
        fields = [parts.field(shown, _names(prefix, one)), parts.field(say("Code"), code)]
        return html.Div(fields, className="who")
    return html.Div([*fields, html.Div(code, style=UNSEEN)], className="who")


def tablet_field(prefix: str) -> html.Div:
    """Return that field for what keeps no name: shown on a shared tablet alone, which only looks."""
    one = asking()
    shared = one is not None and one.person.shared
    return html.Div(who_field(prefix), style=None if shared else UNSEEN)


def _names(prefix: str, one: Asking) -> dcc.RadioItems:
    """Return the names to tap; who said a code in the last minutes is chosen already."""
    names = one.door.names()
    return dcc.RadioItems(
        id=by_id(prefix),
        value=one.door.tapped(one),
        className="choice taps",
        options=[{"label": name, "value": name} for name in names],
    )


def named(by: Any) -> bool:
    """Return whether a form says who: by the name in it, or because they are signed in."""
    one = asking()
    return (one is not None and not one.person.shared) or bool(isinstance(by, str) and by.strip())


def who_of(by: Any, code: Any = None, *, lightly: bool = False) -> str:
    """Return in whose name something is done, and let the monitor know it for this one answer.

    Parameters
    ----------
    by, code : str or None
        What the form holds; somebody who is signed in needs neither.
    lightly : bool
        For what is only 'seen': a code said on this tablet in the last minutes still holds.

    Raises
    ------
    WrongUsage
        When no name is said.
    NotSignedIn, TooOften
        When the code is not that of the name; when that was so too often.
    """
    one, name = asking(), by.strip() if isinstance(by, str) else ""
    if one is not None and not one.person.shared:
        return one.person.name
    if not named(by):
        raise WrongUsage(say("Say who says so."))
    if one is None:
        return name
    said = code.strip() if isinstance(code, str) else ""
    if not said and not lightly:
        raise WrongUsage(say("Say the code of {name}.", name=name))
    person = one.door.tap(one, name, said, lightly=lightly)
    ask_as(replace(one, acting=person))
    return person.name


def tablet_knows(by: Any, code: Any, *, lightly: bool = False) -> None:
    """Let the monitor know for this one answer who does what keeps no name; asked on a shared tablet alone.

    Refusals are those of `who_of`.
    """
    one = asking()
    if one is not None and one.person.shared:
        who_of(by, code, lightly=lightly)


def may(needed: Role) -> bool:
    """Return whether a form is worth showing; on a shared tablet it is, since a code may be said."""
    one = asking()
    return one is None or one.person.shared or one.person.role.covers(needed)


def signed_in() -> list[Any]:
    """Return who is signed in and the way out, for the head of a page; nothing where nobody is asked."""
    one = asking()
    if one is None:
        return []
    name = one.person.name
    out = html.A(say("{name}: sign out", name=name), href=OUT, className="signed-in", **{"data-who": name})
    return [out]
