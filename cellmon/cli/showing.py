"""How a command ends: one document for programs, or lines for people."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeVar
from zoneinfo import ZoneInfo

from cellmon.cli.arguments import zone_of
from cellmon.cli.terminal import clean, terminal_width, write
from cellmon.cli.wording import decimals_of
from cellmon.records import Stream

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

AnswerT = TypeVar("AnswerT")


@dataclass(frozen=True, kw_only=True)
class Look:
    """What lines for people depend on besides the answer."""

    zone: ZoneInfo
    um: int
    """Decimals of a micrometre figure, by the gauge's resolution."""
    width: int | None
    several_parts: bool = False
    """Whether streams are named with their part."""

    def name(self, stream: Stream) -> str:
        """Return what a stream is called."""
        return stream.full if self.several_parts else str(stream)


def look_of(monitor: Monitor) -> Look:
    """Return how this cell's figures are shown on this terminal."""
    resolution = monitor.sheet.measuring.resolution_um
    return Look(
        zone=zone_of(monitor),
        um=decimals_of(resolution),
        width=terminal_width(),
        several_parts=len(monitor.sheet.parts) > 1,
    )


def show(
    args: argparse.Namespace,
    monitor: Monitor,
    answer: AnswerT,
    lines: Callable[[AnswerT, Look], Sequence[str]],
) -> None:
    """Print an answer: the document with `--json`, else its lines."""
    if args.json:
        show_document(answer, zone=zone_of(monitor))
    else:
        write([clean(line) for line in lines(answer, look_of(monitor))])


def show_document(answer: Any, *, zone: ZoneInfo) -> None:
    """Print an answer as one JSON document."""
    from cellmon.export.documents import as_json, document

    sys.stdout.write(as_json(document(answer, zone=zone)).decode())
