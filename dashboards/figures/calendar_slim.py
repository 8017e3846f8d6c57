"""The words of a calendar in a narrow box: small, none cut off at its edge, none over another."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dashboards import theme
from dashboards.figures.narrow import SMALL, narrowed, words_at

BELOW_PX = 480
DAY_PX, LETTER_PX, BESIDE_PX, RAISED_PX = 37.0, 5.7, 10, 12
"""In a window of 360 pixels: a day, the mean letter of small words, their way from the mark, their line."""
STOCK, CHANGE = "stock", "change"
"""Names of the words beside a mark: of what the stock asks for, of a change of stones."""


def slim(figure: theme.Figure, *, first_stock: float) -> theme.Figure:
    """Return a calendar that also says how its words stand in a narrow box.

    Of two that would meet, one of the stock is raised by a line, and a range of a change is left to a tap on
    its triangle. `first_stock` is the level of the stock's words in the first week, under the weekdays.
    """
    words = figure["layout"]["annotations"]
    named = [i for i, one in enumerate(words) if one.get("name") in (STOCK, CHANGE)]
    changes: dict[str, Any] = {}
    rows: dict[float, list[int]] = {}
    for i in named:
        changes |= {f"{words_at(i)}.font.size": SMALL, **_turned(words[i], i)}
        rows.setdefault(words[i]["y"], []).append(i)
    for row in rows.values():
        changes |= _apart(words, row, changes)
    if any(words[i]["y"] == first_stock and f"{words_at(i)}.yshift" in changes for i in named):
        changes["xaxis.ticklabelstandoff"] = RAISED_PX
    return narrowed(figure, changes, below=BELOW_PX)


def _turned(word: Mapping[str, Any], i: int) -> dict[str, Any]:
    """Return what puts words to the other side of their mark where they would go beyond the edge."""
    start, end = span(word)
    right = word["xanchor"] == "right"
    out = start < 0 if right else end > 7 * DAY_PX
    if not out:
        return {}
    anchor, shift = ("left", BESIDE_PX) if right else ("right", -BESIDE_PX)
    turned = span({**word, "xanchor": anchor})
    fits = turned[0] >= 0 and turned[1] <= 7 * DAY_PX
    return {f"{words_at(i)}.xanchor": anchor, f"{words_at(i)}.xshift": shift} if fits else {}


def _apart(
    words: Sequence[Mapping[str, Any]], row: Sequence[int], turned: Mapping[str, Any]
) -> dict[str, Any]:
    """Return what keeps the words of one level apart; those of the sooner stand as they are."""
    changes: dict[str, Any] = {}
    taken: list[tuple[float, float]] = []
    for i in sorted(row, key=lambda i: words[i]["x"]):
        start, end = span({**words[i], "xanchor": turned.get(f"{words_at(i)}.xanchor", words[i]["xanchor"])})
        if all(end < low or high < start for low, high in taken):
            taken.append((start, end))
        elif words[i]["name"] == STOCK:
            changes[f"{words_at(i)}.yshift"] = RAISED_PX
        else:
            changes[f"{words_at(i)}.visible"] = False
    return changes


def span(word: Mapping[str, Any]) -> tuple[float, float]:
    """Return from where to where words beside a mark go, in pixels from the first day, in a window of 360."""
    at, wide = word["x"] * DAY_PX, LETTER_PX * len(word["text"].replace("<b>", "").replace("</b>", ""))
    if word["xanchor"] == "right":
        return at - BESIDE_PX - wide, at - BESIDE_PX
    return at + BESIDE_PX, at + BESIDE_PX + wide
