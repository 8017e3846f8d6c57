"""The bores of an audited stream, so that what is asked of any stream can be asked of it too.

One value a block: no subgroup, no doubt of the gauge's readings, no machine's own figures.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cellmon.judged import Bores
from cellmon.monitor.judge.audits import AuditSeries
from cellmon.monitor.view import View
from cellmon.records import Numbers, Stream, number

LEAST_AUDITED = 25
"""Values below which an audited stream is answered only where it is asked for by name."""


@dataclass(frozen=True, kw_only=True, eq=False)
class AuditedBores(Bores):
    """Bores of a stream whose figure another instrument gives, in `figure`."""

    figure: Numbers = number()


def is_audited(view: View, stream: Stream) -> bool:
    """Return whether another instrument gives the figures of a stream."""
    return any(stream.feature in part.audited for part in view.sheet.parts)


def audited_bores(
    view: View, stream: Stream, start: np.datetime64 | None, end: np.datetime64 | None
) -> AuditedBores:
    """Return the bores of an audited stream in [start, end), oldest first; none where nothing was audited."""
    series = view.audited.get(stream)
    rows = np.zeros(0, dtype=np.int64)
    if series is not None:
        inside = np.ones(len(series.at), dtype=bool)
        if start is not None:
            inside &= series.at >= start
        if end is not None:
            inside &= series.at <= end
        rows = np.flatnonzero(inside)
    return _bores(view, stream, series, rows)


def _bores(view: View, stream: Stream, series: AuditSeries | None, rows: np.ndarray) -> AuditedBores:
    size, at = len(rows), np.zeros(0, dtype="datetime64[us]")
    part, value = np.zeros(0, dtype=object), np.zeros(0)
    if series is not None:
        at, part, value = series.at[rows], series.part[rows], series.value[rows]
    shift = view.rules.unit_starts(at)

    def same(word: str | None) -> np.ndarray:
        return np.full(size, word, dtype=object)

    ones, noughts = np.ones(size, dtype=np.int64), np.zeros(size, dtype=np.int64)
    return AuditedBores(
        planes=(),
        directions=(),
        um=np.zeros((size, 0, 0)),
        part_number=same(stream.part_number),
        part=part,
        bore=same(stream.bore),
        spindle=same(stream.spindle or ""),
        gauge=same((series.gauge if series is not None else None) or ""),
        measured_at=at,
        unit_start=shift,
        shift_start=shift,
        stage=same("finish"),
        charted=ones,
        flags=noughts,
        verdict=noughts,
        sheet=noughts,
        position=noughts,
        figure=value,
    )
