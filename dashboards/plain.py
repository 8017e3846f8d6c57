"""What a page only shows goes out as one element: its tags, properties and words, as a tree.

Dash wraps every element of an answer and tells its store of each that it begins anew, of which every wrapper
hears: what an answer costs a browser grows with the square of its elements. An element with a name, or
one that is more than HTML or a link, is Dash's own; what stands between such is put up by `assets/plain.js`.

References
----------
plotly/dash, issue 3846: elements of an answer are taken down and put up anew, from 4.2 on.
"""

from __future__ import annotations

from itertools import groupby
from typing import Any

from dash.development.base_component import Component

HTML, LINK = "dash_html_components", ("dash_core_components", "Link")
NAMESPACE, TYPE = "cellmon", "Plain"
"""Under what a browser finds it, in `assets/plain.js`."""


class Tree(list[Any]):
    """An element that is only shown: its tag, its properties, and what is inside."""


def told(part: Any) -> Any:
    """Return an element of a page, or several with words between, as a browser is told them.

    >>> from dash import html
    >>> told(html.P(["a ", html.B("word", className="here")]))["props"]
    {'tree': [['p', {}, 'a ', ['b', {'className': 'here'}, 'word']]]}
    """
    return _side_by_side(_inside(part), part)


def _inside(part: Any) -> list[Any]:
    """Return what stands side by side in a part, each element as a tree or as Dash tells it."""
    if isinstance(part, list | tuple):
        return [one for among in part for one in _inside(among)]
    return [_element(part) if isinstance(part, Component) else part]


def _element(one: Component) -> Tree | dict[str, Any]:
    element: dict[str, Any] = one.to_plotly_json()
    given = element["props"]
    inside = _inside(given.get("children", []))
    if _only_shown(element) and not any(_is_dashs(child) for child in inside):
        given.pop("children", None)
        return Tree([_tag(element), given, *inside])
    if "children" in given:
        given["children"] = _side_by_side(inside, given["children"])
    return element


def _only_shown(element: dict[str, Any]) -> bool:
    of = element["namespace"]
    return (of == HTML or (of, element["type"]) == LINK) and "id" not in element["props"]


def _tag(element: dict[str, Any]) -> str:
    name: str = element["type"]
    return name.lower() if element["namespace"] == HTML else name


def _is_dashs(one: Any) -> bool:
    return isinstance(one, dict)


def _side_by_side(inside: list[Any], were: Any) -> Any:
    """Return several as a list, and one that was not in a list by itself."""
    gathered = _gathered(inside)
    return gathered if isinstance(were, list | tuple) else gathered[0]


def _gathered(inside: list[Any]) -> list[Any]:
    """Return what stands side by side, neighbours that are only shown as one element."""
    found: list[Any] = []
    for dashs, several in groupby(inside, _is_dashs):
        run = list(several)
        if dashs or not any(isinstance(one, Tree) for one in run):
            found += run
        else:
            found.append({"props": {"tree": run}, "type": TYPE, "namespace": NAMESPACE})
    return found
