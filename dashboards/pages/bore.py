"""Bore: one bore in the hand. For whoever hones it: where it stands, what next, figure after figure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from dash import ALL, ClientsideFunction, Dash, Input, Output, State, ctx, html, no_update

from cellmon.errors import CellmonError, NotFound
from cellmon.words import say, to_say
from dashboards.figures.hand_bore import rows
from dashboards.pages import asked, bore_record, parts, saving, set_up
from dashboards.pages.bore_asks import look_at
from dashboards.pages.bore_keeping import Beside, Finished, finish
from dashboards.pages.bore_layout import (
    ASKED,
    ASKS,
    BORE,
    DONE,
    FEED,
    HEARD,
    HIDDEN,
    KEPT,
    MATE,
    MODE,
    NOTE,
    PATH,
    QUESTIONS,
    RATE,
    READ,
    RPM,
    SAID,
    SERIAL,
    SHOW,
    SKIPPED,
    STONES,
    TAB,
    TYPED,
    UNASKED,
    WALLS,
    layout,
)
from dashboards.pages.bore_shown import SHOWN, Chosen, chosen_tab, show
from dashboards.pages.written import kept_before

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

__all__ = ["NAME", "PATH", "layout", "register"]
NAME = to_say("Bore")


def typed_serial(serial: str | None) -> Any:
    """Return the query of the block whose serial was typed."""
    word = (serial or "").strip()
    return f"?{urlencode({'serial': word})}" if word else no_update


def done(
    monitor: Monitor,
    typed: Mapping[str, Any] | None,
    asks: Mapping[str, Any] | None,
    pending: Sequence[str] | None,
    beside: Sequence[Any],
    code: str | None,
) -> Finished | None:
    """Keep what was typed; None where what was asked for is another thing by now."""
    if not typed or not asks or typed.get("key") != asks["key"]:
        return None
    if told := kept_before(monitor):
        return Finished(kept=True, said=told)
    by, *fields = beside
    try:
        who = asked.who_of(by, code, lightly=True)
    except CellmonError as refusal:
        return Finished(kept=False, said=str(refusal))
    said = [str(one or "").strip() for one in fields]
    names = ("stones", "rpm", "rate", "feed", "note")
    return finish(
        monitor,
        asks,
        typed,
        Beside(by=who, **dict(zip(names, said, strict=True))),
        asked_before=pending or (),
    )


def shown(
    became: Finished | None, typed: Mapping[str, Any], skipped: Sequence[str] | None, change: Any
) -> list[Any]:
    """Return what became of it: words, questions, what the browser must know, what is passed over."""
    if became is None:
        return [no_update] * 9
    told = {
        "key": typed["key"],
        "of": typed["of"],
        "kept": became.kept or became.skipped is not None,
        "asked": list(became.asked),
        "said": became.said,
    }
    passed = no_update if became.skipped is None else [*(skipped or []), became.skipped]
    then = became.then if told["kept"] else no_update
    return [
        became.said,
        [html.Li(words) for words in became.asked],
        {} if became.asked else HIDDEN,
        told,
        passed,
        then,
        "" if became.kept else no_update,
        change,
        became.search or no_update,
    ]


def walls_rows(monitor: Monitor, bore: Mapping[str, str] | None) -> dict[str, Sequence[Any]]:
    """Return the readings behind the drawing."""
    if not bore:
        raise NotFound(say("No bore is chosen."))
    return rows(monitor.bore(part=bore["serial"], bore=bore["bore"], part_number=bore.get("part_number")))


def register(app: Dash, monitor: Monitor) -> None:
    """Wire the page."""

    @app.callback(
        *(Output(STONES if name == "bore-stones-options" else name, what) for name, what in SHOWN),
        Input(parts.CHANGE, "data"),
        Input(parts.URL, "search"),
        Input(STONES, "value"),
        Input(MODE, "data"),
        Input(SKIPPED, "data"),
        Input(MATE, "value"),
        State(BORE, "data"),
        State(ASKS, "data"),
    )
    def _(change: int, search: Any, stones: Any, mode: Any, skipped: Any, mate: Any, *state: Any) -> Any:
        before, asks = state
        chosen = Chosen(
            search=search,
            before=before,
            stones=stones,
            mode=mode,
            skipped=skipped or (),
            mate=mate,
            asks=asks,
        )
        found = show(monitor, chosen)
        return [found[name] for name, _ in SHOWN]

    @app.callback(
        Output(parts.URL, "search", allow_duplicate=True),
        Input(SHOW, "n_clicks"),
        Input(SERIAL, "n_submit"),
        State(SERIAL, "value"),
        prevent_initial_call=True,
    )
    def _(clicks: int | None, entered: int | None, serial: str | None) -> Any:
        return typed_serial(serial) if clicks or entered else no_update

    @app.callback(Output(READ, "data"), Input(TYPED, "data"), State(ASKS, "data"), prevent_initial_call=True)
    def _(typed: Any, asks: Any) -> Any:
        return look_at(typed, asks)

    @app.callback(
        Output(MODE, "data"), Input({"type": TAB, "of": ALL}, "n_clicks"), prevent_initial_call=True
    )
    def _(clicks: list[int | None]) -> Any:
        return chosen_tab(ctx.triggered_id, clicks)

    _register_done(app, monitor)
    _register_browser(app)
    bore_record.register(app, monitor, bore=BORE, mate=MATE)
    set_up.register(app, monitor, bore=BORE)
    saving.register_saving(app, WALLS, lambda bore: walls_rows(monitor, bore), State(BORE, "data"))


def _register_done(app: Dash, monitor: Monitor) -> None:
    @app.callback(
        Output(SAID, "children"),
        Output(ASKED, "children"),
        Output(QUESTIONS, "style"),
        Output(KEPT, "data"),
        Output(SKIPPED, "data"),
        Output(MODE, "data", allow_duplicate=True),
        asked.emptied("bore"),
        Output(parts.CHANGE, "data", allow_duplicate=True),
        Output(parts.URL, "search", allow_duplicate=True),
        Input(DONE, "data"),
        State(ASKS, "data"),
        State(KEPT, "data"),
        State(SKIPPED, "data"),
        State(parts.CHANGE, "data"),
        asked.states("bore")[1],
        asked.states("bore")[0],
        *(State(name, "value") for name in (STONES, RPM, RATE, FEED, NOTE)),
        prevent_initial_call=True,
    )
    def _(typed: Any, asks: Any, kept: Any, skipped: Any, change: Any, code: Any, *beside: Any) -> list[Any]:
        became = done(monitor, typed, asks, (kept or {}).get("asked"), beside, code)
        return shown(became, typed, skipped, parts.moved(monitor, change))

    @app.callback(
        Output(QUESTIONS, "style", allow_duplicate=True), Input(UNASKED, "data"), prevent_initial_call=True
    )
    def _(when: Any) -> Any:
        return HIDDEN


def _register_browser(app: Dash) -> None:
    for heard, what, said in zip(HEARD, ("begin", "heard", "settled"), (ASKS, READ, KEPT), strict=True):
        app.clientside_callback(
            ClientsideFunction("atTheBore", what), Output(heard, "data"), Input(said, "data")
        )
