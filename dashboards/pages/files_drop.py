"""Handing a file over: dropped on the page or chosen, taken like any other, asked about where in doubt."""

from __future__ import annotations

import binascii
from base64 import b64decode
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, State, dcc, html, no_update

from cellmon.errors import CellmonError, WrongUsage
from cellmon.monitor.take import FileTaken
from cellmon.words import say
from dashboards.pages import asked, parts
from dashboards.pages.files_drop_words import told

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

MOST_MB = 32
"""A drop may hold so many megabytes: it travels as text inside one request."""
MOST_BYTES = MOST_MB * 1024 * 1024
BOX, UPLOAD, SAID, ASKED, QUESTION, CHOICE, TAKE_SO, ASK_BOX = (
    "files-drop",
    "files-upload",
    "files-said",
    "files-asked",
    "files-question",
    "files-choice",
    "files-take-so",
    "files-ask-box",
)
KIND, UNIT, WHO = "kind", "unit", "who"
"""About what is asked: what a file holds, its unit; who hands over the whole drop, on a shared tablet."""
PREFIX = "files-drop"
Ask = dict[str, Any]
"""What is asked of one dropped file: its `place` in the drop, its `name`, `about` what, and the `choices`."""


def section() -> html.Section:
    """Return the place where files are dropped, and what is asked about them."""
    drop = dcc.Upload(
        [
            html.Button(say("Choose files"), className="step", type="button"),
            " ",
            html.Span(
                say(
                    "or drop them here: CSV, XLSX, Parquet or JSON Lines, up to {most} MB at a time. A "
                    "larger file is taken with cellmon take.",
                    most=MOST_MB,
                )
            ),
        ],
        id=UPLOAD,
        multiple=True,
        max_size=MOST_BYTES,
        className="drop",
        className_active="drop over",
        style={},
        style_active={},
        style_reject={},
    )
    too_large = say(
        "That is more than {most} MB, so nothing was taken. Take it with cellmon take, or split it.",
        most=MOST_MB,
    )
    question = html.Div(
        [
            html.P(id=QUESTION, className="told"),
            dcc.RadioItems(id=CHOICE, className="choice", options=[]),
            html.Button(say("Take it so"), id=TAKE_SO, className="step"),
        ],
        id=ASK_BOX,
        className="questions",
        style={"display": "none"},
    )
    limits = {"data-most": str(MOST_BYTES), "data-said": SAID, "data-too-large": too_large}
    return html.Section(
        [
            html.H2(say("Hand over a file")),
            html.Div(asked.tablet_field(PREFIX), className="controls"),
            html.Div(drop, id=BOX, **limits),
            html.Div(id=SAID, role="status", className="handed"),
            dcc.Store(id=ASKED, data=[]),
            question,
        ]
    )


@dataclass(frozen=True, kw_only=True)
class Handed:
    """What is said of the files handed over, and what is asked about them."""

    said: list[Any]
    asks: list[Ask]


def hand_over(
    monitor: Monitor,
    contents: Sequence[str] | None,
    names: Sequence[str] | None,
    by: Any = None,
    code: Any = None,
) -> Handed:
    """Take every file of a drop; what one of them is refused for does not stop the others.

    On a shared tablet the drop waits until a name and its code are said.
    """
    if not contents or not names:
        return Handed(said=[], asks=[])
    if sum(map(size_of, contents)) > MOST_BYTES:
        said = say("That is more than {most} MB at a time, so nothing was taken.", most=MOST_MB)
        return Handed(said=[html.P(said, className="said")], asks=[])
    try:
        asked.tablet_knows(by, code)
    except CellmonError as refusal:
        waits = {"place": 0, "name": ", ".join(names), "about": WHO, "choices": []}
        return Handed(said=[html.P(str(refusal), className="said")], asks=[waits])
    said, asks = [], []
    for place, (content, name) in enumerate(zip(contents, names, strict=True)):
        words, ask = _take(monitor, content, name)
        said += words
        if ask is not None:
            asks.append({**ask, "place": place})
    return Handed(said=said, asks=asks)


def answer(
    monitor: Monitor,
    choice: str | None,
    asks: Sequence[Ask] | None,
    contents: Sequence[str] | None,
    names: Sequence[str] | None,
    by: Any = None,
    code: Any = None,
) -> Handed:
    """Take the file that is asked about as a person says, and go on to the next question.

    Who handed a drop over on a shared tablet answers about it without their code, for a few minutes.
    """
    asks = list(asks or [])
    if not asks or not contents or not names:
        return Handed(said=[html.P(say("The file is no longer here: drop it again."))], asks=[])
    first = asks[0]
    if first["about"] == WHO:
        return hand_over(monitor, contents, names, by, code)
    if choice not in first["choices"] or not 0 <= first["place"] < min(len(contents), len(names)):
        return Handed(said=[html.P(say("Choose one of them first."), className="said")], asks=asks)
    try:
        asked.tablet_knows(by, code, lightly=True)
    except CellmonError as refusal:
        return Handed(said=[html.P(str(refusal), className="said")], asks=asks)
    settled = {**(first.get("settled") or {}), first["about"]: choice}
    said = {about: str(settled[about]) for about in (KIND, UNIT) if about in settled}
    words, ask = _take(monitor, contents[first["place"]], names[first["place"]], **said)
    more = [] if ask is None else [{**ask, "place": first["place"]}]
    return Handed(said=words, asks=[*more, *asks[1:]])


def size_of(content: str) -> int:
    """Return about how many bytes a file has that came as text."""
    return len(content) * 3 // 4


def bytes_of(content: str) -> bytes:
    """Return a file that came as text, four letters for three bytes.

    Raises
    ------
    WrongUsage
        When it is not that.
    """
    try:
        return b64decode(content.partition(",")[2], validate=True)
    except (binascii.Error, ValueError):
        raise WrongUsage(say("It did not arrive whole; drop it again.")) from None


def _take(monitor: Monitor, content: str, name: str, **settled: str) -> tuple[list[Any], Ask | None]:
    try:
        taken = monitor.take_bytes(bytes_of(content), name=name, **settled).files[0]
    except CellmonError as refusal:
        words = say("{file}: {refusal}", file=name, refusal=str(refusal))
        return [html.P(words, className="said")], None
    ask = ask_of(taken)
    return told(taken), None if ask is None else {**ask, "settled": dict(settled)}


def ask_of(taken: FileTaken) -> Ask | None:
    """Return what a person must say of a file before it can be taken; None where nothing."""
    if taken.kinds:
        return {"name": taken.file, "about": KIND, "choices": list(taken.kinds)}
    if taken.units and not taken.taken:
        return {"name": taken.file, "about": UNIT, "choices": list(taken.units)}
    return None


def question(asks: Sequence[Ask] | None) -> list[Any]:
    """Return the first question, its choices, and whether it shows."""
    if not asks:
        return ["", [], None, {"display": "none"}]
    first = asks[0]
    named = dict.fromkeys(first["choices"], "") if first["about"] == KIND else units()
    options = [{"label": named.get(choice) or choice, "value": choice} for choice in first["choices"]]
    if first["about"] == KIND:
        words = say("What does {file} hold?", file=first["name"])
    elif first["about"] == WHO:
        words = say("{files}: tap above who hands it over, say the code, then:", files=first["name"])
    else:
        words = say(
            "In which unit are the sizes of {file}? Look at the file or ask who made it.", file=first["name"]
        )
    return [words, options, None, {}]


def units() -> dict[str, str]:
    """Return what each unit is called."""
    return {"mm": say("millimetres"), "in": say("inches"), "um": say("micrometres, perhaps from nominal")}


def after(handed: Handed, monitor: Monitor, before: int | None) -> list[Any]:
    """Return what a drop changes on the page; its bytes stay in the browser while something is asked."""
    kept = no_update if handed.asks else None
    return [handed.said, handed.asks, kept, parts.moved(monitor, before), ""]


def register(app: Dash, monitor: Monitor) -> None:
    """Wire the drop and its question."""
    app.server.config.setdefault("MAX_CONTENT_LENGTH", MOST_BYTES * 3 // 2)
    outputs = (
        Output(SAID, "children"),
        Output(ASKED, "data"),
        Output(UPLOAD, "contents"),
        Output(parts.CHANGE, "data", allow_duplicate=True),
        asked.emptied(PREFIX),
    )
    who = asked.states(PREFIX)

    @app.callback(
        *outputs,
        Input(UPLOAD, "contents"),
        State(UPLOAD, "filename"),
        *who,
        State(parts.CHANGE, "data"),
        prevent_initial_call=True,
    )
    def _(contents: list[str] | None, names: list[str] | None, *given: Any) -> list[Any]:
        *said_by, before = given
        if not contents:
            return [no_update] * len(outputs)
        return after(hand_over(monitor, contents, names, *said_by), monitor, before)

    @app.callback(
        *(Output(o.component_id, o.component_property, allow_duplicate=True) for o in outputs),
        Input(TAKE_SO, "n_clicks"),
        State(CHOICE, "value"),
        State(ASKED, "data"),
        State(UPLOAD, "contents"),
        State(UPLOAD, "filename"),
        *who,
        State(parts.CHANGE, "data"),
        prevent_initial_call=True,
    )
    def _(clicks: int | None, choice: str | None, *given: Any) -> list[Any]:
        *drop, before = given
        if not clicks:
            return [no_update] * len(outputs)
        return after(answer(monitor, choice, *drop), monitor, before)

    @app.callback(
        Output(QUESTION, "children"),
        Output(CHOICE, "options"),
        Output(CHOICE, "value"),
        Output(ASK_BOX, "style"),
        Input(ASKED, "data"),
    )
    def _(asks: list[Ask] | None) -> list[Any]:
        return question(asks)
