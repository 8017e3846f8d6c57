"""One archived cell studied: its streams, its signals and its stones, as the cell itself would state them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from cellmon.intake.archive import CellArchive
from cellmon.monitor.signals import Signal, explained
from cellmon.monitor.stones import StoneSetOf, stones
from cellmon.monitor.study.days import Days
from cellmon.monitor.study.rebuilt import rebuilt
from cellmon.monitor.study.streams import (
    StreamStudy,
    TogetherStudy,
    cuts_of,
    of_bores,
    stream_studies,
    together_studies,
)
from cellmon.records import Stream


@dataclass(frozen=True, kw_only=True)
class Moment:
    """When a change may have begun."""

    at: datetime
    earliest_at: datetime
    latest_at: datetime


@dataclass(frozen=True, kw_only=True)
class SignalStudy:
    """One signal; the cell itself says more of it under the same name."""

    id: str
    stream: Stream
    streams: tuple[Stream, ...]
    kind: str
    detector: str
    raised_at: datetime
    part: str
    last_at: datetime
    over: bool
    state: str
    size: float | None
    unit: str
    ratio: float | None
    change: Moment | None
    cause: str | None
    """The likeliest row of the packaged table of causes."""
    words: str


@dataclass(frozen=True, kw_only=True)
class CellStudy:
    """One cell of the archive; signals newest first, fitted stone sets first."""

    cell: str
    sheet: int
    newest: datetime
    as_of: datetime
    days: int
    bores: int
    """Charted ones."""
    subgroups: int
    streams: tuple[StreamStudy, ...]
    together: tuple[TogetherStudy, ...]
    signals: tuple[SignalStudy, ...]
    stones: tuple[StoneSetOf, ...]


def study_cell(cell: CellArchive, days: Iterable[Days]) -> CellStudy:
    """Put the days of a cell together, in order of time, and state what it would state."""
    with rebuilt(cell, days) as found:
        view = found.view
        cuts = cuts_of(view)
        return CellStudy(
            cell=cell.name,
            sheet=view.rules.now.version,
            newest=view.local(cell.newest),
            as_of=view.local(cell.as_of),
            days=len(cell.days),
            bores=found.charted,
            subgroups=sum(n for s, (_, n) in view.session.counts().items() if of_bores(s)),
            streams=stream_studies(view, cuts),
            together=together_studies(view, cuts),
            signals=tuple(map(_signal, explained(view, view.every_signal))),
            stones=stones(view).sets,
        )


def _signal(signal: Signal) -> SignalStudy:
    change = signal.change
    return SignalStudy(
        id=signal.id,
        stream=signal.stream,
        streams=signal.streams,
        kind=signal.kind,
        detector=signal.detector,
        raised_at=signal.raised_at,
        part=signal.part,
        last_at=signal.last_at,
        over=signal.over,
        state=signal.state,
        size=signal.size,
        unit=signal.unit,
        ratio=signal.ratio,
        change=None
        if change is None
        else Moment(at=change.at, earliest_at=change.earliest_at, latest_at=change.latest_at),
        cause=signal.causes[0].cause if signal.causes else None,
        words=signal.words,
    )


__all__ = ["CellStudy", "SignalStudy", "study_cell"]
