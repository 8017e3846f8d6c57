"""Requests as they are answered: counted, timed, and logged where they do something or are refused."""

from __future__ import annotations

import logging
import time
from bisect import bisect_left
from collections import Counter
from dataclasses import dataclass, field
from threading import Lock

from flask import Flask, Response, g, request

from dashboards.asking import asking

LOG = logging.getLogger("cellmon.requests")
BOUNDS_S = (0.01, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0, 30.0)
METHODS = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"})
QUIET = frozenset({"GET", "HEAD", "OPTIONS"})
UPDATE = "/_dash-update-component"
"""What pages ask; a decision among it stands in the journal."""
OTHER = "other"


@dataclass
class Timed:
    """How long requests of one route took: how many up to each bound and beyond, and all together."""

    counts: list[int] = field(default_factory=lambda: [0] * (len(BOUNDS_S) + 1))
    seconds: float = 0.0


@dataclass
class Requests:
    """What one server answered since it began; safe to add to from many threads."""

    answered: Counter[tuple[str, str, int]] = field(default_factory=Counter)
    took: dict[str, Timed] = field(default_factory=dict)
    lock: Lock = field(default_factory=Lock)
    begun: bool = False
    """What a server asks itself before it can be reached is not counted."""

    def add(self, method: str, route: str, status: int, seconds: float) -> None:
        """Count one request."""
        with self.lock:
            self.answered[method, route, status] += 1
            timed = self.took.setdefault(route, Timed())
            timed.counts[bisect_left(BOUNDS_S, seconds)] += 1
            timed.seconds += seconds

    def seen(self) -> tuple[dict[tuple[str, str, int], int], dict[str, Timed]]:
        """Return both as they stand now."""
        with self.lock:
            took = {r: Timed(counts=list(t.counts), seconds=t.seconds) for r, t in self.took.items()}
            return dict(self.answered), took


def why(words: str) -> None:
    """Say why this request is refused, where the answer is a page."""
    g.why = words


def name(who: str) -> None:
    """Say which program sends this request."""
    g.who = who


def register(server: Flask, requests: Requests) -> None:
    """Count and log what a server answers; registered first, it sees what everything else made of it."""

    @server.before_request
    def _() -> None:
        g.began = time.perf_counter()

    @server.after_request
    def _(response: Response) -> Response:
        if not requests.begun:
            return response
        seconds = time.perf_counter() - g.began if "began" in g else 0.0
        rule = request.url_rule
        route = OTHER if rule is None else str(rule)
        method = request.method if request.method in METHODS else OTHER
        requests.add(method, route, response.status_code, seconds)
        _tell(response, seconds)
        return response


def _tell(response: Response, seconds: float) -> None:
    status, refused = response.status_code, response.status_code >= 400
    if not refused and (request.method in QUIET or request.path == UPDATE):
        return
    found = response.get_json(silent=True) if refused and response.is_json else None
    words = found.get("error") if isinstance(found, dict) else None
    one = asking()
    LOG.log(
        logging.WARNING if refused else logging.INFO,
        "%s",
        words or g.get("why") or response.status,
        extra={
            "what": "refused" if refused else "answered",
            "about": f"{request.method} {request.path}",
            "who": g.get("who") or (one.who.name if one is not None else None),
            "address": request.remote_addr,
            "status": status,
            "seconds": round(seconds, 4),
        },
    )
