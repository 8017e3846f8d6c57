"""Which shift is shown: the newest, the one a link names, and those of long ago whose day is typed."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import islice
from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, State, no_update

from cellmon.errors import CellmonError
from cellmon.monitor.shifts_known import place_of
from cellmon.shifts import ShiftOf
from cellmon.words import say
from dashboards.pages import by_hand, parts, shift_tables

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

SHIFT = "shifts-shift"
LISTED = 120
"""So many shifts stand in the choice, the newest; older ones come into it when their day is typed."""


def shift_options(
    monitor: Monitor, value: str | None, search: str | None, typed: str | None = None
) -> list[Any]:
    """Return the shifts to choose from, newest first, and the one chosen here or by the link.

    They are the newest, the one chosen, and of those before them what was typed.
    """
    try:
        answer = monitor.shifts_made()
        # where no machine makes bores, those made by hand stand below without a shift
        hand = by_hand.shifts_of(monitor) if answer.known else []
    except CellmonError:
        return [[], no_update]
    asked = parts.query_values(search).get("shift")
    newest, older = answer.known[-LISTED:], answer.known[:-LISTED]
    newest = tuple(sorted({*newest, *hand}, key=lambda one: one.starts))
    found = [place_of(older, name) for name in {value, asked} - {None, *map(str, newest)}]
    named = [older[i] for i in sorted(i for i in found if i is not None)]
    listed = [*_typed(older, typed), *named, *newest]
    names: list[dict[str, Any]] = [
        {"label": shift_tables.shift_words(s), "value": str(s)} for s in reversed(listed)
    ]
    chosen = asked if any(n["value"] == asked for n in names) else answer.told
    if older:
        names.append({"label": say("older ones: type their day"), "value": "", "disabled": True})
    return [names, no_update if value or not names else chosen]


def _typed(shifts: Sequence[ShiftOf], typed: str | None) -> list[ShiftOf]:
    """Return the newest shifts whose name or date holds what was typed, oldest first."""
    words = (typed or "").casefold().split()
    if not words:
        return []
    names = ((s, f"{s} {shift_tables.shift_words(s)}".casefold()) for s in reversed(shifts))
    found = islice((s for s, name in names if all(word in name for word in words)), LISTED)
    return list(found)[::-1]


def of_link(monitor: Monitor, search: str | None) -> None:
    """Refuse a link whose shift or stream is not here.

    Raises
    ------
    CellmonError
        Which of them, in its words.
    """
    asked = parts.query_values(search)
    if "shift" in asked:
        by_hand.shift_answer(monitor, asked["shift"])
    if "feature" in asked:
        parts.stream_named(monitor.streams(), search)


def register(app: Dash, monitor: Monitor) -> None:
    """Wire the choice."""

    @app.callback(
        Output(SHIFT, "options"),
        Output(SHIFT, "value"),
        Input(parts.CHANGE, "data"),
        Input(SHIFT, "search_value"),
        Input(parts.URL, "search"),
        State(SHIFT, "value"),
    )
    def _(change: int, typed: str | None, search: str | None, value: str | None) -> list[Any]:
        return shift_options(monitor, value, search, typed)

    @app.callback(
        Output(SHIFT, "value", allow_duplicate=True),
        Input(parts.URL, "search"),
        State(SHIFT, "value"),
        prevent_initial_call=True,
    )
    def _(search: str | None, value: str | None) -> Any:
        asked = parts.query_values(search).get("shift", value)
        return no_update if asked == value else asked
