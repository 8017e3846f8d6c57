"""Whether what a page sends is what one of our pages could send, and whether a person did it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dash import Dash
from flask import Request

from cellmon.words import say

WORDS, WHOLE = (str, type(None)), (int, type(None))
PROPERTIES: Mapping[str, tuple[type, ...]] = {
    "pathname": WORDS,
    "search": WORDS,
    "href": WORDS,
    "hash": WORDS,
    "n_clicks": WHOLE,
    "n_submit": WHOLE,
    "n_blur": WHOLE,
    "n_intervals": WHOLE,
    "clickData": (dict, type(None)),
    "hoverData": (dict, type(None)),
    "relayoutData": (dict, type(None)),
}
"""What the properties may hold whose kind does not depend on the page."""
BY_HAND = frozenset({"pathname", "search", "n_clicks", "n_submit", "value", "clickData", "contents"})
"""Properties that change because a person did something; an open page alone changes others."""
PULSE, HERE = "/pulse", "here"
"""What an open page asks by itself; it says so where somebody touched it or a key since it asked last."""


def mistake(app: Dash, asked: Request) -> str | None:
    """Return what is wrong with a page's request for an answer; None where nothing is."""
    body = asked.get_json(silent=True)
    if not isinstance(body, dict):
        return say("A JSON object is expected.")
    output = body.get("output")
    known = app.callback_map.get(output) if isinstance(output, str) else None
    if known is None:
        return say("No page asks for this.")
    changed = body.get("changedPropIds", [])
    if not (isinstance(changed, list) and all(isinstance(one, str) for one in changed)):
        return say("{name} is not as expected.", name="changedPropIds")
    if not isinstance(body.get("outputs"), dict | list):
        return say("{name} is not as expected.", name="outputs")
    for name, declared in (("inputs", known["inputs"]), ("state", known["state"])):
        if not _as_declared(body.get(name, []), declared):
            return say("{name} is not as expected.", name=name)
    return None


def _as_declared(given: Any, declared: list[dict[str, Any]]) -> bool:
    """Return whether a request's values are those a callback declared, each of a kind it could have."""
    if not isinstance(given, list) or len(given) != len(declared):
        return False
    for one, wanted in zip(given, declared, strict=True):
        if isinstance(one, list):  # one of many alike, found by a pattern
            if not all(isinstance(each, dict) and each.get("property") == wanted["property"] for each in one):
                return False
            continue
        if not isinstance(one, dict) or one.get("property") != wanted["property"]:
            return False
        if isinstance(one.get("id"), str) and one["id"] != wanted["id"]:
            return False
        kinds = PROPERTIES.get(wanted["property"])
        if kinds is not None and not isinstance(one.get("value"), kinds):
            return False
    return True


def is_use(asked: Request) -> bool:
    """Return whether a person did something; a page that is only open does not keep its sign-in alive."""
    if asked.path == PULSE:
        return HERE in asked.args
    if asked.method != "POST":
        return not asked.path.startswith("/_")
    body = asked.get_json(silent=True)
    changed = body.get("changedPropIds") if isinstance(body, dict) else None
    if not isinstance(changed, list):
        return False
    return any(isinstance(one, str) and one.rpartition(".")[2] in BY_HAND for one in changed)
