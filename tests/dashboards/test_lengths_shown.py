"""Pages in inches: each figure is that of the same page in mm by the factor of the standard."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any

import pytest
from dash import html
from flask import Flask
from plotly.utils import PlotlyJSONEncoder

from cellmon import lengths
from cellmon.lengths import Shown
from dashboards import lengths_shown
from dashboards.figures import ribbon
from dashboards.figures.scaled import scaled
from dashboards.kept import kept
from dashboards.pages import claims, files_doubts, part, parts, saving, shifts, stones
from tests.dashboards.test_words_seen import PAGES, seen

FACTORS = (2.54, 25.4)
"""Micrometres in 0.0001 in and millimetres in an inch, exactly (NIST SP 811, appendix B.8)."""
NUMBER = re.compile(r"(?<![\w.\-])[+−]?\d[\d,]*(?:\.\d+)?(?!\w)")
SHOWN = {
    **{
        name: PAGES[name] for name in ("now", "signals", "the drawing of a signal", "stream", "part", "gauge")
    },
    "shifts": lambda m: shifts.show_shift(m, None, None),
    "claims": lambda m: claims.show_stream(
        m, "diameter", claims.stream_options(m, "diameter", None, None)[1]
    ),
    "stones": lambda m: [stones.show_set(m, stones.set_options(m, None)[1]), stones.show_history(m, 1)],
    "a doubt": lambda m: files_doubts.show(m, None, 0, None)[:2],
}
TAGS = re.compile(r"<[^>]*>")
MM_ONLY = re.compile(r"µm|\bum\b|\bmm\b")
SCALE = re.compile(r"to one scale")
"""What a drawing's scales are is said in another sentence."""
KEPT = re.compile(r"the row says|found .* off at the next check|take .* off")
"""What was kept of a doubt was kept in µm."""


@pytest.fixture(scope="module")
def week(read_week):
    return kept(read_week)


def told(week: Any, show: Any, how: Shown) -> Any:
    with lengths.shown_in(how):
        return json.loads(json.dumps(show(week), cls=PlotlyJSONEncoder))


def digits_of(text: str) -> int:
    return len(text.partition(".")[2])


def is_same_length(mm: str, inch: str) -> bool:
    """Return whether two figures are one length, each as far as its digits go."""
    one, other = (float(t.replace("−", "-").replace(",", "")) for t in (mm, inch))
    room = 0.51 * 10.0 ** -digits_of(mm)
    return any(abs(other * f - one) <= room + 0.51 * f * 10.0 ** -digits_of(inch) for f in FACTORS)


def pairs(mm: Any, inch: Any) -> Iterator[tuple[str, str]]:
    first, second = list(seen(mm)), list(seen(inch))
    assert len(first) == len(second)
    yield from zip(first, second, strict=True)


@pytest.mark.parametrize("name", SHOWN)
def test_every_figure_on_a_page_is_the_same_length(week, name):
    mm, inch = (told(week, SHOWN[name], how) for how in (Shown.MM, Shown.INCH))
    for one, other in pairs(mm, inch):
        if one == other:
            assert KEPT.search(one) or not MM_ONLY.search(TAGS.sub(" ", one)), one
            continue
        first, second = (NUMBER.findall(TAGS.sub(" ", t).replace("0.0001 in", "")) for t in (one, other))
        if SCALE.search(one):
            continue
        assert len(first) == len(second), (one, other)
        assert all(a == b or is_same_length(a, b) for a, b in zip(first, second, strict=True)), (one, other)


def tables(node: Any) -> Iterator[dict[str, Any]]:
    if isinstance(node, list):
        for one in node:
            yield from tables(one)
    elif isinstance(node, dict):
        if node.get("type") == "Table":
            yield node
        for one in node.values():
            yield from tables(one) if isinstance(one, dict | list) else ()


def listed(node: Any) -> list[Any]:
    return node if isinstance(node, list) else [node]


def rows_of(table: dict[str, Any]) -> list[list[str]]:
    return [
        ["".join(seen(cell)) for cell in row["props"]["children"]]
        for part in table["props"]["children"]
        if part["type"] in ("Thead", "Tbody")
        for row in listed(part["props"]["children"])
    ]


@pytest.mark.parametrize("name", ["shifts", "part", "gauge", "stones"])
def test_no_column_changes_its_unit_and_keeps_its_figures(week, name):
    mm, inch = (list(tables(told(week, SHOWN[name], how))) for how in (Shown.MM, Shown.INCH))
    changed = 0
    for one, other in zip(mm, inch, strict=True):
        first, second = rows_of(one), rows_of(other)
        for column in (i for i, head in enumerate(first[0]) if head != second[0][i]):
            cells = [(a[column], b[column]) for a, b in zip(first[1:], second[1:], strict=True)]
            changed += 1
            assert all(a != b or not re.search(r"[1-9]", a) for a, b in cells), (first[0][column], cells)
    assert changed


def test_a_drawing_is_scaled_as_a_whole(week):
    stream = next(s for s in week.streams() if s.feature == "diameter")
    view = week.stream(**parts.names_of(stream))
    with lengths.shown_in(Shown.INCH):
        inch = ribbon.ribbon_figure(view)
    mm = ribbon.ribbon_figure(view)
    assert inch["layout"]["yaxis"]["title"]["text"] == "from nominal, 0.0001 in"
    assert [2.54 * end for end in inch["layout"]["yaxis"]["range"]] == pytest.approx(
        mm["layout"]["yaxis"]["range"]
    )
    assert inch["layout"]["yaxis2"]["range"] == mm["layout"]["yaxis2"]["range"]
    for one, other in zip(mm["data"], inch["data"], strict=True):
        factor = 1.0 if one.get("yaxis") == "y2" else 2.54
        numbers = [(a, b) for a, b in zip(one["y"], other["y"], strict=True) if a is not None]
        assert [factor * b for _, b in numbers] == pytest.approx([a for a, _ in numbers], nan_ok=True)


def test_an_axis_names_the_one_unit_it_is_scaled_in(week):
    stream = next(s for s in week.streams() if s.feature == "diameter")
    view = week.stream(**parts.names_of(stream))
    for how, unit in ((Shown.MM, "µm"), (Shown.BOTH, "µm"), (Shown.INCH, "0.0001 in")):
        with lengths.shown_in(how):
            assert ribbon.ribbon_figure(view)["layout"]["yaxis"]["title"]["text"] == f"from nominal, {unit}"


def test_error_bars_shapes_and_words_go_along():
    figure = {
        "data": [
            {"x": [1], "y": [2.54], "error_y": {"array": [5.08], "color": "#fff"}},
            {"x": [3], "yaxis": "y2"},
        ],
        "layout": {
            "yaxis": {"dtick": 2.54},
            "shapes": [{"y0": 2.54, "y1": 0, "x0": 2.54}, {"y0": 2.54, "yref": "paper"}],
            "annotations": [{"y": 2.54, "x": 2.54}, {"y": 2.54, "yref": "y2"}],
        },
    }
    assert scaled(figure, "y") == figure
    with lengths.shown_in(Shown.INCH):
        found = scaled(figure, "y")
    assert found["data"][0]["y"] == [1.0] and found["data"][0]["error_y"] == {"array": [2.0], "color": "#fff"}
    assert found["layout"]["yaxis"]["dtick"] == 1.0
    assert found["layout"]["shapes"] == [{"y0": 1.0, "y1": 0, "x0": 2.54}, {"y0": 2.54, "yref": "paper"}]
    assert found["layout"]["annotations"] == [{"y": 1.0, "x": 2.54}, {"y": 2.54, "yref": "y2"}]


def test_a_file_is_in_millimetres_whatever_the_page_says(week):
    stream = parts.names_of(week.streams()[0])
    serial = week.newest_parts().parts[0]

    def files() -> list[Any]:
        return [
            saving.csv_of("ribbon", lambda: ribbon.rows(week.stream(**stream)), None)[0],
            saving.data_table(lambda: ribbon.rows(week.stream(**stream))),
            part.made(week, serial, "json")[0],
        ]

    mm = files()
    with lengths.shown_in(Shown.INCH):
        assert str(files()) == str(mm)


@pytest.mark.parametrize(
    ("cookie", "sheet", "said"),
    [
        (None, Shown.MM, Shown.MM),
        (None, Shown.INCH, Shown.INCH),
        ("both", Shown.MM, Shown.BOTH),
        ("mm", Shown.INCH, Shown.MM),
        ("furlong", Shown.INCH, Shown.INCH),
    ],
)
def test_a_browser_goes_before_the_sheet(cookie, sheet, said):
    assert lengths_shown.wanted(cookie, sheet) is said


def test_two_browsers_are_answered_each_in_its_own_unit(week):
    server = Flask("two")
    lengths_shown.register(server, week, documents={"/"})
    for path in ("/_dash-answer", "/readings"):
        server.add_url_rule(path, path, lengths.unit)
    inch, mm = server.test_client(), server.test_client()
    inch.set_cookie(lengths_shown.COOKIE, "in")
    asked = [(inch, "/_dash-answer"), (mm, "/_dash-answer"), (inch, "/readings"), (inch, "/_dash-answer")]
    assert [c.get(path).get_data(as_text=True) for c, path in asked] == ["0.0001 in", "µm", "µm", "0.0001 in"]


def test_the_switch_says_what_the_sheet_wants(week):
    switch = lengths_shown.choice(week)
    assert isinstance(switch, html.Select) and [o.value for o in switch.children] == ["mm", "in", "both"]
    assert getattr(switch, "data-sheet") == "mm"
