"""Every word on a page comes from the catalogue: in a language made of brackets none stands without them."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from enum import Enum
from functools import cache
from typing import Any

import pytest
from babel.messages.pofile import read_po
from dash import dcc, html
from plotly.utils import PlotlyJSONEncoder

from cellmon import local, words
from cellmon.errors import CellmonError
from cellmon.records import Flag, Kind, Reason
from dashboards import app, drawn_as, frame, theme
from dashboards.pages import (
    bore,
    bore_layout,
    bore_shown,
    claims,
    files,
    files_doubts,
    files_drop,
    files_rows,
    files_sheet,
    first_bores,
    gauge,
    held,
    now,
    part,
    parts,
    shift_choice,
    shift_told,
    shifts,
    signal_list,
    signals,
    stone_log,
    stones,
    stream,
)
from tests.dashboards.stand_in import StandIn
from tests.dashboards.test_stones_page import StandIn as StonesStandIn
from tests.make_catalogue import catalogue_text
from tests.monitor.hand_cell import RECEIVED, grown, hand_cell, typed
from tests.small_cell import CHECKS, EVENTS, HEADER, SHEET, checks, events, new_cell, rows, write

SEEN = {"children", "label", "title", "placeholder", "aria-label", "alt", "text", "ticktext", "hovertext"}
SEEN |= {"hovertemplate"}
"""Properties of what is drawn whose texts people read or hear."""
TAG, SAID = re.compile(r"<[^>]*>|%\{[^}]*\}"), re.compile(r"⟦[^⟦⟧]*⟧")
WORD = re.compile(r"[A-Za-z]{3,}")
BEGINNING = re.compile(r": |\. |, first bores ")
"""Where a page begins a sentence anew, because what went before stands above it already."""
NAMES = {"top", "middle", "bottom"}
NAMES |= {"rough", "fine", "ring"}
NAMES |= {"repetition", "resolution", "zero", "temperature"}
"""What the sheet calls planes and the sources of its uncertainty."""
DAYS = {*local.names_of_days().short, *local.names_of_days().wide}
DAYS |= {*local.names_of_months().short, *local.names_of_months().wide}
UNITS = {"CSV", "SVG", "PNG", "PDF", "JSON", "XLSX", "ICS", "ppm", "Ppk", "Cpk", "min"}
FILE = re.compile(r"\b\S+\.csv\b|\b[0-9a-f]{64}\b")
GIVEN = {"Line", "early", "late", "night", "pore", "chipped"}
"""What the people of a cell wrote: its name, its shifts, what an eye may find, why a set was taken off."""
KINDS = {str(kind) for kind in (*Kind, *Flag, *Reason)}
"""Kinds of files, flags and reasons are words that are typed and stand in files; beside each stands what
it means."""


@cache
def bracketed() -> dict[str, str | tuple[str, str]]:
    """Return a catalogue in which every text of the code stands in brackets."""
    found: dict[str, str | tuple[str, str]] = {}
    for message in read_po(io.BytesIO(catalogue_text().encode())):
        if isinstance(message.id, str):
            found[message.id] = f"⟦{message.id}⟧"
        else:
            one, many = message.id
            found[one] = (f"⟦{one}⟧", f"⟦{many}⟧")
    return found


@pytest.fixture(scope="module")
def brackets() -> dict[str, str | tuple[str, str]]:
    return bracketed()


@pytest.fixture(autouse=True)
def _in_brackets(brackets) -> Iterator[None]:
    """Speak so in every test: a cell that a fixture opens speaks its own language."""
    words.speak(brackets)
    yield
    words.speak({})


def seen(node: Any) -> Iterator[str]:
    """Yield the texts of a piece of a page that people see."""
    if isinstance(node, str):
        yield node
    elif isinstance(node, list):
        for one in node:
            yield from seen(one)
    elif isinstance(node, dict):
        yield from _of_dict(node)


def _of_dict(node: dict[str, Any]) -> Iterator[str]:
    silent = node.get("hoverinfo") == "skip" and "text" not in str(node.get("mode"))
    for key, value in node.items():
        if isinstance(value, str | list) and key in SEEN and not (silent and key == "text"):
            yield from seen(value)
        elif key == "options":
            yield from (one["label"] for one in value if isinstance(one, dict) and "label" in one)
        elif isinstance(value, dict):
            yield from seen(value)
        elif isinstance(value, list) and key in ("data", "annotations"):
            for one in value:
                yield from _of_dict(one) if isinstance(one, dict) else ()


def outside(pieces: Any, given: set[str]) -> list[str]:
    """Return what stands outside the brackets; `given` are sentences that the monitor was made to say."""
    drawn = json.loads(json.dumps(pieces, cls=PlotlyJSONEncoder))
    found = dict.fromkeys(text for text in seen(drawn) if _left(text, given))
    return [f"{text}  ->  {_left(text, given)}" for text in found]


def _left(text: str, given: set[str]) -> list[str]:
    for sentence in sorted(given, key=len, reverse=True):
        for form in (sentence, parts.capital(sentence), local.within(sentence)):
            text = text.replace(form, " ")
    while SAID.search(text):
        text = SAID.sub(" ", text)
    text = FILE.sub(" ", TAG.sub(" ", text))
    for kind in sorted(KINDS, key=len, reverse=True):
        text = re.sub(rf"(?<![\w-]){kind}(?![\w-])", " ", text)
    return [
        word for word in WORD.findall(text) if word.lower() not in NAMES and word not in UNITS | DAYS | GIVEN
    ]


def sentences_of(answer: Any) -> set[str]:
    """Return the texts of several words in what a stand-in answers, longest first when sorted."""
    if isinstance(answer, str) and not isinstance(answer, Enum):
        parts_of = (answer[found.end() :] for found in BEGINNING.finditer(answer))
        return {one for one in (answer, *parts_of) if " " in one}
    if is_dataclass(answer):
        return set().union(*(sentences_of(getattr(answer, one.name)) for one in fields(answer)))
    if isinstance(answer, dict):
        return set().union(*(sentences_of(one) for one in answer.values()))
    if isinstance(answer, list | tuple):
        return set().union(*(sentences_of(one) for one in answer))
    return set()


class Listening:
    """A monitor, and every sentence it said."""

    def __init__(self, monitor: Any) -> None:
        self._monitor, self.heard = monitor, set()

    def __getattr__(self, name: str) -> Any:
        found = getattr(self._monitor, name)
        if not callable(found):
            return found

        def asked(*given: Any, **named: Any) -> Any:
            try:
                answer = found(*given, **named)
            except CellmonError as refusal:
                self.heard.add(str(refusal))
                raise
            self.heard |= sentences_of(answer)
            return answer

        return asked


def told(monitor: Any, show: Any) -> list[str]:
    """Return what is outside on a page that a stand-in answers."""
    listening = Listening(monitor)
    pieces = show(listening)
    return outside(pieces, listening.heard)


def none(found: list[str]) -> None:
    assert not found, "\n".join(["outside the catalogue:", *found[:40]])


def query(monitor: Any) -> str:
    return parts.stream_query(monitor.streams()[4])


def first_signal(monitor: Any) -> str:
    return str(monitor.signals().signals[0].id)


PAGES = {
    "the frame": lambda m: [frame.frame(m), frame.as_of(m)[0], frame.title(m, words.say("Now"))],
    "the links": lambda m: [frame.links(app.PAGES, "/"), *app.page_at("/nowhere", None)],
    "what the browser draws": lambda m: [*drawn_as.drawn_as()["dictionary"].values()],
    "now": lambda m: [now.layout(), now.show_now(m)],
    "first bores": lambda m: [first_bores.layout(), first_bores.show(m.first_bores())],
    "signals": lambda m: [signals.layout(), signal_list.show_list(m, None)[:3]],
    "one signal": lambda m: [signals.show_signal(m, s.id) for s in m.signals().signals],
    "the drawing of a signal": lambda m: signals.show_drawing(m, first_signal(m)),
    "a hold list": lambda m: held.show_hold(m, first_signal(m)),
    "shifts": lambda m: [
        shifts.layout(),
        shift_choice.shift_options(m, None, None)[0],
        shifts.show_lines(m, None, "week", None),
        shifts.show_shift(m, None, None),
        shift_told.show_called(m, None),
        shift_told.show_splits(m),
        shift_told.show_budget(m),
    ],
    "stream": lambda m: [stream.layout(), stream.show_stream(m, query(m), "two", None, "none")],
    "stream, plain limits": lambda m: stream.show_stream(m, query(m), "two", None, "none", plain=True),
    "features together": lambda m: stream.show_stream(m, query(m), "two", None, "joint", unaided=True),
    "part": lambda m: [part.layout(), part.offer(m)[1], part.show_part(m, None)],
    "gauge": lambda m: [
        gauge.layout(),
        gauge.show_study(m, None, None),
        gauge.show_checks(m, None),
        gauge.show_worth(m, None),
        gauge.show_pair(m, None),
    ],
}


SHOWS = {
    "now": now.show_now,
    "signals": lambda m: signal_list.show_list(m, None)[:3],
    "shifts": lambda m: [shifts.show_lines(m, None, "week", None), shifts.show_shift(m, None, None)],
    "stream": lambda m: stream.show_stream(m, "spindle=S9", "two", None, "none"),
    "part": lambda m: part.show_part(m, None),
    "gauge": lambda m: [gauge.show_study(m, None, None), gauge.show_worth(m, None)],
}


@pytest.mark.parametrize(
    "piece",
    [
        html.P("What the limits rest on"),
        html.Nav(**{"aria-label": "Pages of it"}),
        dcc.RadioItems(options=[{"label": "a day", "value": "day"}]),
        theme.notice("No bore yet."),
        theme.figure([theme.points([1], [2], text=["block 7"], hoverinfo="text")], height=200),
        theme.figure([], height=200, xaxis=theme.axis("size")),
    ],
)
def test_words_outside_are_found_wherever_they_stand(piece):
    assert len(outside([piece], set())) == 1


@pytest.mark.parametrize("name", PAGES)
def test_nothing_is_said_outside_the_catalogue(name):
    none(told(StandIn(), PAGES[name]))


@pytest.mark.parametrize("name", ["now", "signals", "shifts", "stream", "part", "gauge"])
def test_nor_where_the_cell_is_empty(name):
    none(told(StandIn(empty=True), SHOWS[name]))


@pytest.mark.parametrize("name", ["now", "signals", "shifts", "stream", "part", "gauge"])
def test_nor_where_it_refuses(name):
    none(told(StandIn(fails=True), SHOWS[name]))


def test_nor_on_the_page_of_stones():
    def show(monitor: Any) -> list[Any]:
        chosen = stones.set_options(monitor, None)
        return [
            stones.layout(),
            chosen[0],
            stones.show_answer(monitor),
            stones.show_set(monitor, chosen[1]),
            stones.show_plan(monitor),
            stones.show_history(monitor, 1),
            stone_log.form(0),
        ]

    none(told(StonesStandIn(), show))


@pytest.fixture(scope="module")
def cell(tmp_path_factory):
    """A small real cell: what its monitor says stands in brackets as well."""
    folder = tmp_path_factory.mktemp("seen")
    opened = new_cell(folder / "cell", sheet=SHEET)
    read = rows(60, seed=3)
    opened.take(
        [
            write(folder, "events.csv", EVENTS, events()),
            write(folder, "checks.csv", CHECKS, checks()),
            write(folder, "rows.csv", HEADER, [*read, read[-1].replace("50.0", "50.O")]),
        ]
    )
    return opened


def test_nor_on_the_page_of_files(cell):
    pieces = [
        files.layout(),
        files.show(cell, None),
        files_drop.section(),
        files_rows.section(),
        files_rows.show(cell, 0, None)[:2],
        files_doubts.section(),
        files_doubts.show(cell, None, 0, None)[:2],
        files_sheet.section(),
        files_sheet.show(cell),
    ]
    none(outside(pieces, set()))


def test_nor_on_the_page_of_claims(cell):
    chosen = claims.stream_options(cell, "diameter", None, None)[1]
    pieces = [
        claims.layout(),
        claims.show_claims(cell, "diameter", chosen),
        claims.show_stream(cell, "diameter", chosen),
    ]
    none(outside(pieces, set()))


def test_nor_at_the_bore(tmp_path, brackets):
    monitor = hand_cell(tmp_path)
    monitor.keep_round(typed(RECEIVED))
    monitor.keep_round(typed(grown(6), full=8, stones="rough"))
    words.speak(brackets)  # a cell that is opened speaks its own language

    def show(asked: Any) -> list[Any]:
        found = bore_shown.show(asked, bore_shown.Chosen(search="?serial=K1&bore=1"))
        named = {"boxes": [], **found.pop(bore_layout.ASKS)}
        boxes = [box[part] for box in named["boxes"] for part in ("label", "hint")]
        return [bore.layout(), *found.values(), *boxes, *named["words"].values()]

    none(told(monitor, show))
