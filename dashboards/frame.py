"""What stands around every page: its links, what waits, light or dark, and a word when no answer comes."""

from __future__ import annotations

from collections.abc import Sequence
from types import ModuleType
from typing import TYPE_CHECKING, Any

from dash import dcc, html
from flask import Flask, Response, jsonify

from cellmon import local
from cellmon.errors import CellmonError
from cellmon.words import say, say_many
from dashboards import drawn_as, lengths_shown
from dashboards.asking import Asking, asking
from dashboards.pages import parts

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

NAV, PAGE, AGAIN, TITLE, TITLED, HEADING = (
    "nav",
    "page",
    "again",
    "title",
    "titled",
    "page-name",
)
PULSE = "/pulse"
DRAWS = "/_dash-component-suites/plotly/package_data/plotly.min.js"


def document(*, dress: str, icon: str) -> str:
    """Return the document that holds the pages; the script `dress` dresses it before it is drawn.

    What draws is by far the largest script and is asked for last, so it begins to come with the first.
    """
    return f"""<!DOCTYPE html>
<html lang="{local.language()}">
<head>
{{%metas%}}
<title>{{%title%}}</title>
<link rel="icon" href="{icon}" type="image/svg+xml">
<link rel="preload" as="script" fetchpriority="low" href="{DRAWS}">
{{%css%}}
{drawn_as.element()}
<script src="{dress}"></script>
</head>
<body>
{{%app_entry%}}
<footer>
{{%config%}}
{{%scripts%}}
{{%renderer%}}
</footer>
</body>
</html>"""


def frame(monitor: Monitor, made: str = "") -> html.Div:
    """Return the frame with room for a page; both say of which state and by which program they are."""
    change = last_change(monitor)
    return html.Div(
        [
            dcc.Location(id=parts.URL, refresh=False),
            dcc.Store(id=parts.CHANGE, data=change),
            dcc.Store(id=AGAIN),
            dcc.Store(id=TITLE),
            dcc.Store(id=TITLED),
            html.A(say("To the page itself"), href=f"#{PAGE}", className="skip"),
            html.Header(
                [
                    html.H1(id=HEADING, className="unseen"),
                    html.Div(
                        [
                            html.Span(monitor.sheet.cell.name, className="cell"),
                            html.Nav(id=NAV, **{"aria-label": say("Pages")}),
                            html.Time(id=parts.AS_OF, className="as-of"),
                            lengths_shown.choice(monitor),
                            dress_button(),
                        ],
                        className="head",
                    ),
                    html.P([html.B(say("Advice only.")), " ", say(parts.CAUTION)], className="caution"),
                    bar(monitor.sheet.cell.timezone),
                ]
            ),
            html.Div(id=PAGE, tabIndex="-1", **{"data-change": change, "data-made": made}),
        ]
    )


def dress_button() -> html.Button:
    """Return the switch between light and dark; the browser fills in which it would change to."""
    words = {"data-dark": say("Dark"), "data-light": say("Light")}
    return html.Button(say("Dark"), id="dress", className="step", **words)


def bar(zone: str) -> html.Div:
    """Return the bar that says when no answer comes, and where one signs in again; the browser shows it.

    Moments are said in the time zone of the cell, as everywhere on its pages.
    """
    words = {
        "data-zone": zone,
        "data-network": say(
            "No answer since {since}: the server or the network is away. What is shown is as it was then. "
            "What you write stays here, but cannot be kept yet. This page tries again by itself."
        ),
        "data-store": say(
            "The store cannot be read since {since}: {why}. What is shown is as it was then, and nothing can "
            "be kept yet. This page tries again by itself."
        ),
        "data-signed-out": say(
            "Signed out since {since}. What is written on this page stays: sign in here, then go on."
        ),
        "data-renewed": say(
            "The program was renewed: what this page asks may not be answered any more. Load the page anew; "
            "what is half written on it is then lost."
        ),
        "data-other": say("{who} is signed in now: what is kept from now on is kept in that name."),
        "data-ends": say("The sign-in of {who} ends at {at}, unless this page or a key is touched before."),
        "data-ends-anyway": say(
            "The sign-in of {who} ends at {at}, so many hours after it began. What is written on this page "
            "stays; sign in again then."
        ),
    }
    said = html.P("", id="bar-said", role="status")
    return html.Div([said, html.Div(id="bar-way-in")], id="bar", hidden=True, **words, **unheard())


def unheard() -> dict[str, str]:
    """Return what is said where a press was not heard; the browser says it beside what was pressed."""
    return {
        "data-not-kept": say(
            "Not kept: nobody is signed in. Sign in at the foot of this page, then press again."
        ),
        "data-not-taken": say(
            "Nothing was taken: nobody is signed in. Sign in at the foot of this page, then hand it over "
            "again."
        ),
        "data-no-answer": say(
            "No answer came, so it is not known whether this was kept. Press again once the bar at the foot "
            "is gone: what was kept is not done twice."
        ),
        "data-waits": say(
            "Under way: it takes a while, or waits until another program has written. What becomes of it is "
            "said here; it need not be pressed again."
        ),
        "data-refused": say("Not kept: {why}"),
    }


def links(pages: Sequence[ModuleType], path: str | None) -> list[dcc.Link]:
    """Return a link to every page, the one shown marked."""
    return [dcc.Link(say(p.NAME), href=p.PATH, className="here" if path == p.PATH else "") for p in pages]


def last_change(monitor: Monitor) -> int:
    """Return the number that moves with every commit; 0 where the cell refuses to say."""
    try:
        return monitor.last_change()
    except CellmonError:
        return 0


def as_of(monitor: Monitor) -> list[str]:
    """Return the moment up to which everything shown holds, in words and as a page and a file name it."""
    try:
        at = monitor.waiting_signals().as_of
    except CellmonError:
        return ["", ""]
    day = f"{local.weekday(at)} {local.day_of_year(at)}"
    return [say("as of {moment}", moment=f"{day}, {local.clock(at)}"), f"{at:%Y-%m-%dT%H:%M}"]


def title(monitor: Monitor, name: str) -> str:
    """Return the title of the window: the page, the cell, and whether something waits."""
    said = [name, monitor.sheet.cell.name]
    try:
        waiting = monitor.waiting_signals().count
    except CellmonError:
        return " · ".join(said)
    if waiting:
        said.append(say_many("{count} signal waits", "{count} signals wait", waiting))
    return " · ".join(said)


def pulse(monitor: Monitor) -> dict[str, Any]:
    """Return the number of the newest commit, or why the store cannot be read."""
    try:
        return {"change": monitor.last_change(), "gone": None}
    except CellmonError as refusal:
        return {"change": None, "gone": str(refusal).rstrip(".")}


def signed_in_until(one: Asking | None) -> dict[str, Any]:
    """Return who is signed in, and for how many seconds yet: where nobody does anything, and at most."""
    left = None if one is None else one.door.left(one)
    return {
        "who": None if one is None else one.person.name,
        "idle": None if left is None else round(left.idle_s),
        "longest": None if left is None else round(left.longest_s),
    }


def register_pulse(server: Flask, monitor: Monitor, made: str) -> None:
    """Answer every open page's question whether something was committed, and which program answers."""

    @server.get(PULSE)
    def _() -> Response:
        one = asking()
        answer = jsonify({**pulse(monitor), **signed_in_until(one), "made": made})
        answer.headers["Cache-Control"] = "no-store"
        return answer
