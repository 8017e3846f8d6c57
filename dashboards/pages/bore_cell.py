"""What the cell knows of a block that comes to the bench: how its bores were found, and which came last."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

import numpy as np
from dash import dcc, html

from cellmon.errors import CellmonError
from cellmon.words import say
from dashboards import theme
from dashboards.pages import bore_shift
from dashboards.pages.bore_layout import PATH

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

LINKED = 6
"""So many of the newest blocks are offered while none is in the hand."""


def newest(monitor: Monitor) -> list[html.P]:
    """Return links that take one of the newest blocks of the cell in the hand, if any was measured."""
    try:
        serials = monitor.newest_parts().parts[:LINKED]
    except CellmonError:
        return []
    links = [dcc.Link(one, href=f"{PATH}?{urlencode({'serial': one})}") for one in serials]
    return [html.P([say("Measured last in the cell: "), *links], className="newest")] if links else []


def found(monitor: Monitor, part: str, bore: str) -> list[Any]:
    """Return how the cell found a block and one of its bores; nothing where it never measured the block."""
    story = bore_shift.story_of(monitor, part)
    if story is None:
        return []
    said = [say("Before it came to the bench: {story}", story=story.sentence)]
    said += [
        say(
            "Bore {bore} was read from {least} to {greatest}: {verdict}.",
            bore=bore,
            least=theme.um_said(float(np.nanmin(one.um))),
            greatest=theme.um_said(float(np.nanmax(one.um))),
            verdict=bore_shift.found_words(one),
        )
        for one in [m for m in story.measurements if m.bore == bore][-1:]
    ]
    return [html.P(" ".join(said), className="told"), bore_shift.whole_link(part)]
