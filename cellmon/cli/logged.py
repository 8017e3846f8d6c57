"""The log of a program that runs on: one JSON object a line, for other programs to read."""

from __future__ import annotations

import argparse
import json
import logging
import sys
import traceback
from datetime import UTC, datetime
from logging.handlers import WatchedFileHandler
from typing import Any, TextIO

from cellmon.errors import CellmonError, WrongUsage
from cellmon.words import say

OURS = "cellmon"
TOLD = ("about", "who", "address", "status", "seconds")
"""What a line says where it is known, beside when, how grave, what and the words."""
LONGEST = 2000
"""So many characters of one word or sentence are written."""


def log_argument(parser: argparse.ArgumentParser) -> None:
    """Add `--log`."""
    parser.add_argument(
        "--log",
        metavar="FILE",
        help="append a line of JSON for what is done or refused; - for standard error",
    )


def start_log(to: str | None) -> None:
    """Begin to write the log; without a name nothing is written.

    Raises
    ------
    WrongUsage
        When the file cannot be written.
    """
    if to is None:
        return
    try:
        handler: logging.Handler = _ToStandardError() if to == "-" else _ToFile(to, encoding="utf-8")
    except OSError as refused:
        raise WrongUsage(
            say("the log {file} cannot be written: {why}", file=to, why=refused.strerror)
        ) from refused
    handler.setFormatter(JsonLine())
    root = logging.getLogger()
    root.handlers[:] = [handler]
    logging.getLogger(OURS).setLevel(logging.INFO)


class JsonLine(logging.Formatter):
    """One record as one line of JSON; a fault is told by its kind and place, never with what it held."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line."""
        ours = record.name.startswith(OURS)
        told: dict[str, Any] = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "part": record.name.removeprefix(f"{OURS}."),
            "what": getattr(record, "what", "said" if ours else "other"),
        }
        for name in TOLD:
            value = getattr(record, name, None)
            if value is not None:
                told[name] = value[:LONGEST] if isinstance(value, str) else value
        told["words"] = record.getMessage()[:LONGEST]
        if record.exc_info and record.exc_info[1] is not None:
            told |= _fault(record.exc_info[1])
        return json.dumps(told, ensure_ascii=True)


def _fault(failed: BaseException) -> dict[str, Any]:
    """Return the kind of a fault and where it was; its own words may hold what was being written."""
    where = traceback.extract_tb(failed.__traceback__)
    found: dict[str, Any] = {
        "fault": type(failed).__name__,
        "where": [f"{f.filename}:{f.lineno}" for f in where],
    }
    return found | ({"why": str(failed)[:LONGEST]} if isinstance(failed, CellmonError) else {})


class _Steady:
    """What a log does when it cannot be written: the work goes on, and it is said once."""

    _said = False

    def handleError(self, record: logging.LogRecord) -> None:  # noqa: ARG002 - logging calls it so
        """Say once that nothing can be written."""
        if not self._said:
            self._said = True
            told = say("the log cannot be written; the work goes on without it")
            sys.stderr.write(f"cellmon: {told}\n")


class _ToFile(_Steady, WatchedFileHandler):
    """A file that may be moved away and begun anew while it is written."""


class _ToStandardError(_Steady, logging.StreamHandler[TextIO]):
    """Standard error."""
