"""A press and the name that the page gave it: sent again because no answer came, it is done once.

The page gives a name to what is pressed and sends it in a header (`assets/unheard.js`); who presses the same
again, as it stood, sends the same name until it is told that the press was kept.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import wraps
from typing import Any

from flask import after_this_request, has_request_context, request
from werkzeug.wrappers import Response

from cellmon.monitor import press

HEADER, KEPT = "Cellmon-Press", "Cellmon-Kept"
"""In which the name comes, and in which it is told that what the press does is kept."""
NAME = re.compile(r"[0-9a-f]{32}")


def as_named(answers: Callable[..., Any]) -> Callable[..., Any]:
    """Return a page's function that answers the same, as the press of the name with which it was asked."""

    @wraps(answers)
    def answered(*given: Any, **named: Any) -> Any:
        name = request.headers.get(HEADER, "") if has_request_context() else ""
        if not NAME.fullmatch(name):
            return answers(*given, **named)
        with press.named(name) as one:
            answer = answers(*given, **named)
        if one.was_kept:
            after_this_request(_told)
        return answer

    return answered


def _told(response: Response) -> Response:
    response.headers[KEPT] = "1"
    return response
