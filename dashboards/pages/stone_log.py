"""Stones logged by hand on the page: fitted, dressed, removed, measured. What is odd is asked first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update

from cellmon.errors import CellmonError
from cellmon.monitor.stones import StoneSetOf
from cellmon.words import say
from dashboards.pages import asked, parts
from dashboards.pages.stone_entry import DRESSED, FITTED, MEASURED, REMOVED, Typed, kind_of, rows_of, told_of
from dashboards.pages.stone_sizes import FIELD, sizes_table, typed_sizes
from dashboards.pages.written import kept_before

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

BOX, CAUTION, STANDS, FORM, SIZES, ROUND, MADE, PENDING = (
    "stones-log-box",
    "stones-log-caution",
    "stones-log-stands",
    "stones-log-form",
    "stones-log-sizes",
    "stones-log-round",
    "stones-log-made",
    "stones-log-pending",
)
WHAT, SPINDLE, WHO = "stones-log-what", "stones-log-spindle", "stones-log"
SET, SETS, WHEN, BEFORE, SINCE, KIND, WHY, NOTE, WITH = (
    "stones-log-set",
    "stones-log-sets",
    "stones-log-when",
    "stones-log-before",
    "stones-log-since",
    "stones-log-kind",
    "stones-log-why",
    "stones-log-note",
    "stones-log-with",
)
LOG, SURE, QUESTIONS, ASKED, SAID = (
    "stones-log-log",
    "stones-log-sure",
    "stones-log-questions",
    "stones-log-asked",
    "stones-log-said",
)
FIELDS = (SET, WHEN, BEFORE, SINCE, KIND, WHY, NOTE, WITH)
SHOWN = {
    FITTED: (SPINDLE, STANDS, SET, KIND, WHEN, BEFORE),
    DRESSED: (SPINDLE, STANDS, SET, WHEN, SINCE),
    REMOVED: (SPINDLE, STANDS, SET, WHEN, WHY, NOTE),
    MEASURED: (SET, WHEN, WITH, SIZES),
}
"""What each entry asks for; the rest is hidden."""
BOXED = (SPINDLE, STANDS, *FIELDS, SIZES)
HIDDEN = {"display": "none"}


def layout() -> html.Section:
    """Return the panel; what is typed lies in the browser until it is logged, and no refresh touches it."""
    what = dcc.RadioItems(
        id=WHAT,
        value=DRESSED,
        className="choice",
        options=[{"label": words, "value": name} for name, words in entries().items()],
        persistence=True,
        persistence_type="session",
    )
    return html.Section(
        [
            html.H2(say("Log what was done")),
            html.P(id=CAUTION, children=caution(), className="aside cautions"),
            dcc.Store(id=ROUND, storage_type="session"),
            dcc.Store(id=MADE, data=0),
            dcc.Store(id=PENDING),
            html.Div(parts.field(say("What was done"), what), className="controls"),
            html.Div(_boxed(SPINDLE, say("Spindle"), _radio(SPINDLE)), className="controls"),
            html.Div(html.P(id=STANDS, className="aside"), id=f"{STANDS}-box"),
            html.Datalist(id=SETS),
            html.Div(form(0), id=FORM),
            html.Div(
                [
                    asked.who_field(WHO, remembered=True),
                    html.Button(say("Log it"), id=LOG, className="step"),
                ],
                className="controls",
            ),
            html.Div(
                [
                    html.B(say("Asked before it is logged; nothing is kept yet:")),
                    html.Ul(id=ASKED),
                    html.Button(say("It is so: log it"), id=SURE, className="step"),
                ],
                id=QUESTIONS,
                className="questions",
                role="alert",
                style=HIDDEN,
            ),
            html.P(id=SAID, className="said", role="status"),
        ],
        id=BOX,
    )


def link_to(spindle: str) -> str:
    """Return the address where what was done to the stones of a spindle is logged."""
    return f"/stones?{urlencode({'log': spindle})}#{BOX}"


def caution() -> str:
    """Return what comes before any hand goes to the stones."""
    return say(
        "Stop the spindle, wait for standstill and lock it out before a hand goes near it. Parts and "
        "stones may be hot and edges sharp; dust of dressing is kept wet or drawn off, eyes are covered. "
        "The machine's manual and the site's procedures come first; qualified people do it; if unsure, stop."
    )


def entries() -> dict[str, str]:
    """Return what can be logged here, in words."""
    return {
        FITTED: say("a set was fitted"),
        DRESSED: say("stones were dressed"),
        REMOVED: say("a set was taken off"),
        MEASURED: say("a set was measured"),
    }


def _text(name: str, *, key: str, **more: Any) -> dcc.Input:
    """Return a field whose text outlives a refresh under a key, until the key is another."""
    return dcc.Input(id=name, autoComplete="off", persistence=key, persistence_type="session", **more)


def _radio(name: str, *, key: str = "choice", **more: Any) -> dcc.RadioItems:
    return dcc.RadioItems(id=name, className="choice", persistence=key, persistence_type="session", **more)


def _boxed(name: str, label: str, control: Any) -> html.Div:
    return html.Div(parts.field(label, control), id=f"{name}-box")


def form(entry: int) -> list[Any]:
    """Return the fields of one entry, empty but for what was typed into them before a refresh."""
    key = f"entry-{entry}"
    reasons = {"worn": say("worn"), "chipped": say("chipped"), "trial": say("trial"), "other": say("other")}
    why = [{"label": words, "value": name} for name, words in reasons.items()]
    whole = [{"label": say("with its holder"), "value": "yes"}]
    held = dcc.Checklist(
        id=WITH, className="choice", options=whole, value=[], persistence=key, persistence_type="session"
    )
    return [
        html.Div(
            [
                _boxed(SET, say("Stone set"), _text(SET, key=key, list=SETS, debounce=True)),
                _boxed(WHEN, say("When, if not now"), _text(WHEN, key=key, placeholder="2026-11-27 14:05")),
                _boxed(BEFORE, say("Bores it honed before, if not new"), _text(BEFORE, key=key)),
                _boxed(SINCE, say("Bores since, where logged late"), _text(SINCE, key=key)),
                _boxed(KIND, say("Kind of stones"), _radio(KIND, key=key)),
                _boxed(WHY, say("Reason"), _radio(WHY, key=key, options=why)),
                _boxed(NOTE, say("More about it"), _text(NOTE, key=key)),
                _boxed(WITH, say("Measured"), held),
            ],
            className="controls",
        ),
        html.Div(html.Div(id=SIZES), id=f"{SIZES}-box", className="across"),
    ]


def show_form(entry: int, made: int) -> list[Any]:
    """Return the fields of an entry, and its number, where those of another are laid out."""
    return [no_update, no_update] if entry == made else [form(entry), entry]


def show_stands(monitor: Monitor, spindle: str | None) -> list[Any]:
    """Return the spindles and kinds, what stands on the chosen spindle, and the sets that may be meant."""
    options = [{"label": one.id, "value": one.id} for one in monitor.sheet.spindles]
    kinds = [{"label": one.id, "value": one.id} for one in monitor.sheet.stone_kinds]
    try:
        sets = monitor.stone_picture().stones.sets
    except CellmonError as refusal:
        return [options, kinds, str(refusal), []]
    names = [html.Option(value=one.stone_set) for one in sets if one.state != "ended"]
    return [options, kinds, "" if spindle is None else stands(spindle, sets), names]


def stands(spindle: str, sets: Sequence[StoneSetOf]) -> str:
    """Return which sets the log has on a spindle."""
    on = [one for one in sets if one.state == "fitted" and one.spindle == spindle]
    if not on:
        return say("By the log no set stands on {spindle}.", spindle=spindle)
    said = [
        say(
            "{stone_set}, fitted {when}, {bores} bores",
            stone_set=one.stone_set,
            when=parts.when(one.fitted_at) if one.fitted_at else "?",
            bores=f"{one.bores_since_fit:,}",
        )
        for one in on
    ]
    return say("By the log there stands on {spindle}: {sets}.", spindle=spindle, sets="; ".join(said))


def show_boxes(what: str | None, kinds: int) -> list[Any]:
    """Return which fields show for an entry; a kind is asked for only where there are several."""
    shown = [name for name in SHOWN.get(what or "", ()) if name != KIND or kinds > 1]
    return [{} if name in shown else HIDDEN for name in BOXED]


def show_sizes(monitor: Monitor, what: str | None, stone_set: str | None, entry: int) -> Any:
    """Return the table for the thickness of each stone of a set; a sentence where no set is named."""
    name = (stone_set or "").strip()
    if what != MEASURED:
        return no_update
    if not name:
        return html.P(say("Name the set: its stones are then asked for one by one."), className="aside")
    try:
        sets = monitor.stone_picture().stones.sets
    except CellmonError as refusal:
        return parts.notice(str(refusal))
    found = next((one for one in sets if one.stone_set == name), None)
    kinds = monitor.sheet.stone_kinds
    kind = next((k for k in kinds if found is not None and k.id == found.kind), kinds[0] if kinds else None)
    return sizes_table(found, count=4 if kind is None else kind.stones_per_set, key=f"entry-{entry}")


def answer(
    monitor: Monitor,
    typed: Typed,
    pending: dict[str, Any] | None,
    *,
    now: datetime,
    sure: bool,
    code: str | None = None,
) -> dict[str, Any]:
    """Log an entry, or say why not, or ask; `pending` is what was asked the last time.

    On a shared tablet a yes to a question needs no second code: that of the entry was said just before.

    Returns
    -------
    dict
        `said` in words, the questions `asked`, the moment `at` they were asked for, whether it is `done`.
    """
    before = pending or {}
    at = before.get("at") if sure and not typed.when else None
    try:
        typed = typed if not typed.by else replace(typed, by=asked.who_of(typed.by, code, lightly=sure))
        sets = monitor.stone_picture().stones.sets
        rows = rows_of(typed, sets, now=at or now.replace(second=0, microsecond=0).isoformat())
        kind = kind_of(typed)
        looked = monitor.look_at(kind, rows)
        if looked.refused:
            return _not(say("{why} Nothing was logged.", why=" ".join(looked.refused)))
        if looked.known:
            return _not(say("Nothing new: it stands in the log already."))
        if looked.asked and not (sure and list(looked.asked) == before.get("asked")):
            return {"said": "", "asked": list(looked.asked), "at": rows[0]["at"], "done": False}
        taken = monitor.log_rows(kind, rows)
    except CellmonError as refusal:
        return _not(str(refusal))
    if taken.kind is None or taken.set_aside:
        why = taken.why_not or "; ".join(f"{one.reason}: {one.text}" for one in taken.set_aside)
        return _not(say("Not logged: {why}.", why=why))
    return {"said": told_of(typed, rows), "asked": [], "at": None, "done": True}


def _not(words: str) -> dict[str, Any]:
    return {"said": words, "asked": [], "at": None, "done": False}


def shown(found: dict[str, Any], entry: int, change: Any) -> list[Any]:
    """Return an answer as what the panel shows: words, questions, what is pending, the next entry's fields.

    The fields go with the words, in one answer of the server, so nothing typed after it is lost.
    """
    asked = [html.Li(words) for words in found["asked"]]
    pending = {"at": found["at"], "asked": found["asked"]}
    same = [no_update, no_update, no_update]
    following = [entry + 1, entry + 1, form(entry + 1)] if found["done"] else same
    return [found["said"], asked, {} if asked else HIDDEN, pending, *following, change]


def register(app: Dash, monitor: Monitor) -> None:
    """Wire the panel; fields are made anew only after an entry was logged."""
    entry = State(ROUND, "data")

    @app.callback(
        Output(FORM, "children"),
        Output(MADE, "data"),
        Input(ROUND, "modified_timestamp"),
        entry,
        State(MADE, "data"),
    )
    def _(stamp: int | None, before: int | None, made: int | None) -> list[Any]:
        return show_form(before or 0, made or 0)

    @app.callback(Output(SPINDLE, "value"), Input(parts.URL, "search"))
    def _(search: str | None) -> Any:
        return parts.query_values(search).get("log", no_update)

    @app.callback(
        Output(SPINDLE, "options"),
        Output(KIND, "options"),
        Output(STANDS, "children"),
        Output(SETS, "children"),
        Input(parts.CHANGE, "data"),
        Input(SPINDLE, "value"),
        Input(FORM, "children"),
    )
    def _(change: int, spindle: str | None, made: Any) -> list[Any]:
        return show_stands(monitor, spindle)

    @app.callback(
        *(Output(f"{name}-box", "style") for name in BOXED), Input(WHAT, "value"), Input(FORM, "children")
    )
    def _(what: str | None, made: Any) -> list[Any]:
        return show_boxes(what, len(monitor.sheet.stone_kinds))

    @app.callback(Output(SIZES, "children"), Input(WHAT, "value"), Input(SET, "value"), entry)
    def _(what: str | None, stone_set: str | None, before: int | None) -> Any:
        return show_sizes(monitor, what, stone_set, before or 0)

    _register_answer(app, monitor, entry)


def _register_answer(app: Dash, monitor: Monitor, entry: State) -> None:
    @app.callback(
        Output(SAID, "children"),
        Output(ASKED, "children"),
        Output(QUESTIONS, "style"),
        Output(PENDING, "data"),
        Output(ROUND, "data"),
        Output(MADE, "data", allow_duplicate=True),
        Output(FORM, "children", allow_duplicate=True),
        Output(parts.CHANGE, "data", allow_duplicate=True),
        asked.emptied(WHO),
        Input(LOG, "n_clicks"),
        Input(SURE, "n_clicks"),
        State({"type": FIELD, "stone": ALL, "of": ALL}, "value"),
        State(PENDING, "data"),
        entry,
        State(parts.CHANGE, "data"),
        *asked.states(WHO),
        *(State(name, "value") for name in (WHAT, SPINDLE, *FIELDS)),
        prevent_initial_call=True,
    )
    def _(log: int | None, sure: int | None, sizes: Any, pending: Any, before: Any, *said: Any) -> list[Any]:
        if not (log or sure):
            return [no_update] * 9
        change, by, code, what, spindle, *fields = said
        typed = Typed.of(what, spindle, by, *fields, sizes=typed_sizes(ctx.states_list[0]))
        now = datetime.now(tz=parts.zone_of(monitor))
        if told := kept_before(monitor):
            found = {**_not(told), "done": True}
        else:
            found = answer(monitor, typed, pending, now=now, sure=parts.pressed() == SURE, code=code)
        return [*shown(found, before or 0, parts.moved(monitor, change) if found["done"] else no_update), ""]
