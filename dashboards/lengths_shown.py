"""In which unit a browser wants lengths said: its cookie, else what the sheet says; only pages follow it."""

from __future__ import annotations

from collections.abc import Container
from typing import TYPE_CHECKING

from dash import html
from flask import Flask, request

from cellmon import lengths
from cellmon.lengths import Shown
from cellmon.words import say, to_say

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

COOKIE = "cellmon-lengths"
CHOICE = "lengths"
"""The element; `assets/lengths.js` writes the cookie and has the page drawn again."""
PAGES = "/_dash-"
"""What answers pages; what programs ask is told in mm."""
NAMES = {Shown.MM: to_say("mm"), Shown.INCH: to_say("inch"), Shown.BOTH: to_say("both")}


def wanted(said: str | None, else_: Shown) -> Shown:
    """Return how lengths are said to whoever sends this cookie."""
    return Shown(said) if said in set(Shown) else else_


def register(server: Flask, monitor: Monitor, *, documents: Container[str]) -> None:
    """Say lengths to every browser as it wants them, for as long as its request is answered.

    `documents` are the paths of pages, whose documents already say something.
    """

    @server.before_request
    def _() -> None:
        of_page = request.path in documents or request.path.startswith(PAGES)
        said = request.cookies.get(COOKIE) if of_page else None
        lengths.show_in(wanted(said, monitor.sheet.cell.lengths_shown) if of_page else Shown.MM)

    @server.teardown_request
    def _(failed: BaseException | None) -> None:
        lengths.show_in(Shown.MM)


def choice(monitor: Monitor) -> html.Select:
    """Return the switch; the browser shows in it what its cookie says, else what the sheet says."""
    options = [html.Option(say(name), value=how.value) for how, name in NAMES.items()]
    sheet = {"data-sheet": monitor.sheet.cell.lengths_shown.value}
    return html.Select(options, id=CHOICE, className="step", **{"aria-label": say("Lengths in")}, **sheet)
