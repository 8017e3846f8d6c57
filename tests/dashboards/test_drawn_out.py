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


def test_words_and_tables_go_out_as_dash_itself_writes_them():
    rows = [html.Tr([html.Td(1.5), html.Td(np.float64("nan")), html.Td(None)]), html.Tr(html.Td("a < b"))]
    link = dcc.Link("S1 <b>", href="/stream?a=1&b=2")
    options = dcc.Dropdown(options=[{"label": html.Span("one"), "value": np.int64(3)}], value=None)
    table = html.Div([html.Table(rows), [], ("one", link)], style={"width": "3px"}, **{"data-of": "S1"})
    for part in (table, [link, "words", table], ["words", options], (html.P("a"), None)):
        written = json.loads(to_json({"part": ready([part, no_update])[0]}))
        assert written == json.loads(to_json({"part": part}))


def test_all_else_goes_out_as_it_is():
    told = {"data": 1}
    assert ready(["said", no_update, told, [], [1, 2], None]) == ["said", no_update, told, [], [1, 2], None]
    assert isinstance(ready((html.P("said"), theme.notice("")))[0], orjson.Fragment)
    with pytest.raises(TypeError, match="not JSON serializable: object"):
        ready(html.P(object()))
