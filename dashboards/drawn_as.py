"""How the browser writes what it draws itself: numbers and days on axes, the buttons of a drawing, choices.

Plotly and Dash bring English only. What they need to speak the site's language is handed over with the page;
nothing is fetched for it.
"""

from __future__ import annotations

import json
from typing import Any

from cellmon import local
from cellmon.words import say

NAME = "drawn-as"
"""The element that carries it; `assets/dress.js` reads it."""


def drawn_as() -> dict[str, Any]:
    """Return plotly's own words and its ways of writing numbers and dates, in the site's language.

    References
    ----------
    Plotly.js, "Localization": a locale is a dictionary and a format, as d3-format and d3-time-format take it.
    """
    point, thousands = local.separators()
    days, months = local.names_of_days(), local.names_of_months()
    return {
        "dictionary": {
            "Zoom": say("Zoom"),
            "Pan": say("Pan"),
            "Reset axes": say("Reset axes"),
            "Download plot": say("Download plot"),
            "Download plot as a PNG": say("Download plot as a PNG"),
            "Double-click to zoom back out": say("Double-click to zoom back out"),
            "Taking snapshot - this may take a few seconds": say("The picture is being made"),
            "Snapshot succeeded": say("The picture was saved"),
        },
        "format": {
            "days": days.wide,
            "shortDays": days.short,
            "months": months.wide,
            "shortMonths": months.short,
            "decimal": point,
            "thousands": thousands,
            "grouping": [3],
        },
    }


def element() -> str:
    """Return the element that hands it over, for the head of the document."""
    data = json.dumps(drawn_as(), ensure_ascii=False).replace("<", "\\u003c")
    return f'<script type="application/json" id="{NAME}">{data}</script>'
