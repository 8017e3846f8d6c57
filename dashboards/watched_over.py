"""`/health` and `/metrics`: whether the server can do its work, and in figures how much it did.

Both are for programs that watch over others. Whoever is not signed in hears of `/health` only whether all is
well; `/metrics` asks for a sign-in, or for a token made for it, wherever anybody is asked.

References
----------
Prometheus, exposition formats, text format version 0.0.4.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from datetime import datetime
from itertools import accumulate
from typing import TYPE_CHECKING, Any

from flask import Flask, Response, jsonify

from cellmon.errors import CellmonError
from dashboards.counted import BOUNDS_S, Requests

if TYPE_CHECKING:
    from cellmon.monitor import Monitor
    from cellmon.monitor.totals import Totals

HEALTH, METRICS = "/health", "/metrics"
FORMAT = "text/plain; version=0.0.4; charset=utf-8"
Labels = dict[str, str]


def register(
    server: Flask,
    monitor: Monitor,
    requests: Requests,
    *,
    in_full: Callable[[], bool],
    clock: Callable[[], float] = time.time,
) -> None:
    """Answer both; `in_full` says of the request at hand whether the cell's figures may be told."""

    @server.get(HEALTH)
    def health_answer() -> Response:
        found, status = health(monitor, now=clock())
        answer: Response = jsonify(found if in_full() else {"status": found["status"]})
        answer.status_code = status
        return answer

    @server.get(METRICS)
    def metrics_answer() -> Response:
        return Response(metrics(monitor, requests, now=clock()), content_type=FORMAT)


def health(monitor: Monitor, *, now: float) -> tuple[dict[str, Any], int]:
    """Return whether the store can be read and how old the newest row is, with the status to answer."""
    try:
        found = monitor.newest()
    except CellmonError as refusal:
        return {"status": "store away", "why": str(refusal)}, 503
    return {
        "status": "ok",
        "newest_row": None if found.row is None else found.row.isoformat(),
        "newest_row_age_s": _age(found.row, now),
        "newest_take": None if found.file is None else found.file.isoformat(),
        "newest_take_age_s": _age(found.file, now),
        "why_not": dict(found.why_not),
    }, 200


def metrics(monitor: Monitor, requests: Requests, *, now: float) -> str:
    """Return the figures of a cell and its server; those of the cell are left out while its store is away."""
    lines = list(_of_server(requests))
    try:
        found = monitor.totals()
    except CellmonError:
        return "\n".join(
            [*_family("store_up", "gauge", "Whether the store can be read.", [({}, 0)]), *lines, ""]
        )
    up = _family("store_up", "gauge", "Whether the store can be read.", [({}, 1)])
    took = getattr(monitor, "took_s", None)
    last = [] if took is None else [({}, took)]
    lines += _family("last_take_seconds", "gauge", "How long the last take of this server took.", last)
    return "\n".join([*up, *_of_cell(found, now), *lines, ""])


def _of_cell(found: Totals, now: float) -> Iterator[str]:
    yield from _family("files_total", "counter", "Files taken.", [({}, found.files)])
    rows = [({"became": what}, getattr(found, what)) for what in ("taken", "known", "set_aside")]
    yield from _family("rows_total", "counter", "Rows of these files, by what became of them.", rows)
    yield from _family("rows_waiting", "gauge", "Rows set aside that still wait.", [({}, found.waiting)])
    yield from _family("doubts_open", "gauge", "Doubts that nobody decided.", [({}, found.doubts_open)])
    yield from _family("signals_open", "gauge", "Signals that nobody answered.", [({}, found.signals_open)])
    for name, words, at in (
        ("newest_row_age_seconds", "Since the newest row was measured.", found.row),
        ("newest_take_age_seconds", "Since the newest file was taken.", found.file),
    ):
        age = _age(at, now)
        yield from _family(name, "gauge", words, [] if age is None else [({}, age)])


def _of_server(requests: Requests) -> Iterator[str]:
    answered, took = requests.seen()
    rows = [
        ({"method": method, "route": route, "status": str(status)}, count)
        for (method, route, status), count in sorted(answered.items())
    ]
    yield from _family("http_requests_total", "counter", "Requests answered.", rows)
    name = "http_request_seconds"
    if took:
        yield from _head(name, "histogram", "How long requests took.")
    for route, timed in sorted(took.items()):
        bounds = [*(f"{bound:g}" for bound in BOUNDS_S), "+Inf"]
        for bound, count in zip(bounds, accumulate(timed.counts), strict=True):
            yield _sample(f"{name}_bucket", {"route": route, "le": bound}, count)
        yield _sample(f"{name}_sum", {"route": route}, timed.seconds)
        yield _sample(f"{name}_count", {"route": route}, sum(timed.counts))


def _family(name: str, kind: str, words: str, samples: Sequence[tuple[Labels, float]]) -> list[str]:
    if not samples:
        return []
    return [*_head(name, kind, words), *(_sample(name, labels, value) for labels, value in samples)]


def _head(name: str, kind: str, words: str) -> list[str]:
    return [f"# HELP cellmon_{name} {words}", f"# TYPE cellmon_{name} {kind}"]


def _sample(name: str, labels: Labels, value: float) -> str:
    told = ",".join(f'{key}="{_escaped(text)}"' for key, text in labels.items())
    return f"cellmon_{name}{{{told}}} {value}" if told else f"cellmon_{name} {value}"


def _escaped(text: str) -> str:
    return text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")


def _age(at: datetime | None, now: float) -> float | None:
    return None if at is None else round(now - at.timestamp(), 3)
