"""What a point says on hover, filled in as plotly does it."""

from __future__ import annotations

import re
from datetime import datetime
from typing import Any

PLACE = re.compile(r"%{(\w+)(?:\[(\d)\])?(?:\|([^}]*))?}")


def hovered(trace: dict[str, Any], i: int) -> str:
    """Return the words of one point: its text, or those of the trace with the point's own in their places."""
    if "hovertemplate" not in trace:
        return str(trace["text"][i])

    def own(place: re.Match[str]) -> str:
        column, number, written = place.groups()
        value = trace[column][i]
        if written:
            return f"{datetime.fromisoformat(value):{written}}"
        return str(value if number is None else value[int(number)])

    return PLACE.sub(own, trace["hovertemplate"]).removesuffix("<extra></extra>")
