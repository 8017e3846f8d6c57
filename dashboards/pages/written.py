"""A form by which a person does something: what became of it is said below, and what was kept is taken out.

Only what still stands as it was sent is taken out, and nothing where somebody writes just then
(`assets/written.js`), so an answer that comes late empties no field in which the next one was begun.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html, no_update

from cellmon.monitor import press
from dashboards.pages import asked, parts

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

Deed = Callable[..., str]
"""Takes the monitor, what the form is about, what its fields hold, name and code; returns `Kept` words,
or why nothing was kept."""


class Kept(str):
    """Words of what was kept; what was refused is told in a plain string."""

    __slots__ = ()


Looked = Mapping[str, Any]
"""What the answer said that stands above a form: `decided`, the newest decision it knows, and more."""


def below(said: str) -> html.Div:
    """Return where it is said what became of a form, with what its page keeps of it."""
    stores = [dcc.Store(id=_kept(said)), dcc.Store(id=_looked(said))]
    return html.Div([html.P(id=said, className="said", role="status"), *stores])


def _kept(said: str) -> str:
    """Return the id of the store of what is taken out of a form."""
    return f"{said}-kept"


def _looked(said: str) -> str:
    """Return the id of the store of what was looked at."""
    return f"{said}-looked"


def looked_at(said: str) -> Output:
    """Return what a callback sets to what it shows above a form (`Looked`), for who decides by it."""
    return Output(_looked(said), "data")


def knew(looked: Looked | None) -> int | None:
    """Return the newest decision that somebody knew who looked; None where it does not matter."""
    return None if looked is None else int(looked.get("decided", 0))


def register(
    app: Dash,
    monitor: Monitor,
    deed: Deed,
    *,
    said: str,
    who: str,
    presses: Sequence[str],
    about: str | None = None,
    of: Sequence[State] = (),
    fields: Mapping[str, Any],
    by_looks: bool = False,
) -> None:
    """Wire a form.

    Parameters
    ----------
    app : Dash
    monitor : Monitor
    deed : callable
        What is done: called with the monitor, the values of `about`, `of` and `fields`, name and code.
    said : str
        Id of the words below the form (`below`).
    who : str
        Prefix of the form's name and code (`asked.who_field`).
    presses : sequence of str
        Ids of its buttons.
    about : str, optional
        Id of a store with the one thing of many that it is about: nothing typed for one stays for another,
        not even until the server has answered.
    of : sequence of State
        What it is about besides; stays.
    fields : mapping
        Ids of what is written or chosen, each with what stands in it once it is taken out.
    by_looks : bool
        Whether the deed is also told, as `looked`, what its person had before them (`looked_at`).
    """
    pressed, names = len(presses), list(fields)
    of = [*([State(about, "data")] if about else []), *of]

    @app.callback(
        Output(said, "children"),
        Output(parts.CHANGE, "data", allow_duplicate=True),
        asked.emptied(who),
        Output(_kept(said), "data"),
        *(Input(press, "n_clicks") for press in presses),
        *of,
        *(State(field, "value") for field in names),
        *asked.states(who),
        State(parts.CHANGE, "data"),
        State(_looked(said), "data"),
        prevent_initial_call=True,
    )
    def _(*given: Any) -> list[Any]:
        if not any(given[:pressed]):
            return [no_update] * 4
        *typed, before, looked = given[pressed:]
        more = {"looked": looked or {}} if by_looks else {}
        told = kept_before(monitor) or kept_anyway(as_sentence(deed(monitor, *typed, **more)))
        wrote = typed[len(of) : len(of) + len(names)]
        return [told, parts.moved(monitor, before), "", taken_out(told, fields, wrote)]

    stands = [Output(field, "value", allow_duplicate=True) for field in names]
    standing = [State(field, "value") for field in names]
    if about:
        app.clientside_callback(
            ClientsideFunction("cellmon", "emptied"),
            [*stands, Output(said, "children", allow_duplicate=True)],
            Input(about, "data"),
            *standing,
            prevent_initial_call="initial_duplicate",  # so that it knows what the form was about first
        )
    app.clientside_callback(
        ClientsideFunction("cellmon", "takenOut"),
        stands,
        Input(_kept(said), "data"),
        *standing,
        prevent_initial_call=True,
    )


def kept_before(monitor: Monitor) -> Kept | None:
    """Return that what is pressed was kept the first time, where no answer to that came; None where not."""
    told = None if press.now() is None else monitor.kept_before()
    return None if told is None else Kept(told)


def kept_anyway(told: str) -> str:
    """Return what a press is told as of something kept, where it was and only its answer failed."""
    one = press.now()
    return Kept(told) if one is not None and one.was_kept else told


def as_sentence(told: str) -> str:
    """Return why nothing was kept as a sentence of its own; what was kept is one already."""
    if isinstance(told, Kept):
        return told
    return parts.capital(told if told.endswith((".", "?", "!")) else f"{told}.")


def taken_out(told: str, fields: Mapping[str, Any], wrote: Sequence[Any]) -> Any:
    """Return id, what was sent and what is to stand there of each field; nothing where nothing was kept."""
    if not isinstance(told, Kept):
        return no_update
    return [[field, sent, empty] for (field, empty), sent in zip(fields.items(), wrote, strict=True)]
