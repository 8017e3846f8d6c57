"""Drawings that go out as JSON say what they said."""

import json

import numpy as np
import orjson
from dash import html, no_update
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


def test_all_else_goes_out_as_it_is():
    words, told = html.P("said"), {"data": 1}
    assert ready([words, no_update, told, None]) == [words, no_update, told, None]
    assert isinstance(ready((words, theme.notice("")))[1], orjson.Fragment)
