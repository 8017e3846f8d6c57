"""Drawings, words and tables that go out as JSON say what they said."""

import json

import numpy as np
import orjson
import pytest
from dash import dcc, html, no_update
from dash._utils import to_json

from dashboards import theme
from dashboards.drawn_out import ready


def test_a_drawing_goes_out_as_dash_itself_writes_it():
    at = np.array([0.5, np.nan, 2.0])
    lines = [theme.points(["a", None, "b"], at), theme.points([1, 2], [np.float64(3.0), float("nan")])]
    drawn = theme.figure(lines, height=320, xaxis=theme.axis("say <b>"), shapes=())
    written = json.loads(to_json({"figure": ready(drawn)}))
    assert written == json.loads(to_json({"figure": drawn}))
    assert written["figure"]["data"][0]["y"] == [0.5, None, 2.0]


def as_dash(part):
    """Return what went out with every element as Dash tells it, side by side in one list."""
    if isinstance(part, list):
        return [one for among in part for one in as_dash(among)]
    if not isinstance(part, dict):
        return [part]
    if part["type"] == "Plain":
        return [element(one) for one in part["props"]["tree"]]
    inside = {"children": as_dash(part["props"]["children"])} if "children" in part["props"] else {}
    return [{**part, "props": {**part["props"], **inside}}]


def element(tree):
    """Return an element of a tree as Dash tells it."""
    if not isinstance(tree, list):
        return tree
    tag, given, *inside = tree
    link = tag == "Link"
    props = {**given, "children": [element(one) for one in inside]}
    named = ("Link", "dash_core_components") if link else (tag.capitalize(), "dash_html_components")
    return {"props": props, "type": named[0], "namespace": named[1]}


def test_words_and_tables_go_out_with_all_that_dash_itself_writes():
    rows = [html.Tr([html.Td(1.5), html.Td(np.float64("nan")), html.Td(None)]), html.Tr(html.Td("a < b"))]
    link = dcc.Link("S1 <b>", href="/stream?a=1&b=2")
    options = dcc.Dropdown(options=[{"label": html.Span("one"), "value": np.int64(3)}], value=None)
    table = html.Div([html.Table(rows), [], ("one", link)], style={"width": "3px"}, **{"data-of": "S1"})
    wired = html.Div([html.P("a"), html.B("b"), "c", html.Button("d", id="e")])
    for part in (table, [link, "words", table], ["words", options], (html.P("a"), None), wired):
        written = json.loads(to_json({"part": ready([part, no_update])[0]}))
        assert as_dash(written["part"]) == as_dash(json.loads(to_json({"part": part}))["part"])


def test_all_else_goes_out_as_it_is():
    told = {"data": 1}
    assert ready(["said", no_update, told, [], [1, 2], None]) == ["said", no_update, told, [], [1, 2], None]
    assert isinstance(ready((html.P("said"), theme.notice("")))[0], orjson.Fragment)
    with pytest.raises(TypeError, match="not JSON serializable: object"):
        ready(html.P(object()))
