"""An archived cell as a store for the time of a study, so that it is asked by what asks the cell itself.

The store lies in a folder that is gone afterwards. Bores and subgroups go in a run of days at a time, the
detectors then walk through them as they do in the cell: memory holds no history.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np

from cellmon.intake.archive import (
    ARCHIVED_KINDS,
    CellArchive,
    TracedRows,
    read_decided,
    read_doubts,
    read_logged,
    read_traced,
)
from cellmon.judged import Bores
from cellmon.monitor.judge import raise_signals
from cellmon.monitor.study.days import Days, bores_of, cut_of, rules_of
from cellmon.monitor.view import View
from cellmon.records import Kind, Stream
from cellmon.records.keys import row_keys
from cellmon.store import Announcement, FileFact, Session, Store, TracedBore, TracedFigure
from cellmon.store.joining import by_stream

NOBODY = "archive"
"""Stands for whoever decided: the archive does not say."""


class ArchivedSession(Session):
    """A session whose readings stayed in the cell; the archive tells when the newest was taken."""

    def __init__(self, opened: Session, newest: np.datetime64) -> None:
        super().__init__(opened.conn)
        self._taken_until = newest
        self._place: tuple[dict[str, Any], Bores] | None = None

    def newest_reading(self) -> np.datetime64:
        """Return when the newest archived bore was measured."""
        return self._taken_until

    def bores(self, **asked: Any) -> Bores:
        """Return judged bores; all those of one place are kept until those of another are asked for."""
        given = {name: value for name, value in asked.items() if value is not None}
        if given.keys() != {"spindle", "bore", "charted"}:
            return super().bores(**given)
        if self._place is None or self._place[0] != given:
            self._place = None
            self._place = (given, super().bores(**given))
        return self._place[1]


@dataclass(frozen=True, kw_only=True, eq=False)
class Rebuilt:
    """An archived cell, open to questions."""

    view: View
    charted: int
    """Its charted bores."""


@contextmanager
def rebuilt(cell: CellArchive, days: Iterable[Days]) -> Iterator[Rebuilt]:
    """Yield an archived cell as it stood when it was archived, its signals raised anew.

    Limits are those frozen in the cell, and for a stream without any the provisional ones, from its first
    25 subgroups in the archive.
    """
    rules = rules_of(cell)
    with TemporaryDirectory(prefix="cellmon-study-") as folder:
        store = Store("sqlite:///cell.db", folder=Path(folder), at=0)
        try:
            with store.writing() as opened:
                session = ArchivedSession(opened, cell.newest)
                _keep_facts(session, cell)
                streams, charted = _keep_days(session, days)
                raise_signals(session, rules, streams, list(session.units_judged()), at=cell.newest)
            with store.reading() as opened:
                session = ArchivedSession(opened, cell.newest)
                yield Rebuilt(view=View(session=session, rules=rules, as_of=cell.as_of), charted=charted)
        finally:
            store.close()


def _keep_facts(session: Session, cell: CellArchive) -> None:
    """Keep what was logged and decided."""
    logged = {kind: read_logged(cell, kind) for kind in ARCHIVED_KINDS}
    for kind, batch in logged.items():
        session.add_rows(batch, row_keys(batch), file_id=_file(session, kind, cell, len(batch)))
    session.add(read_doubts(cell))
    session.put_traced(None, list(_figures(read_traced(cell))))
    decided = read_decided(cell)
    for one in decided.decisions:
        session.decide(at=one.at, by=NOBODY, why=NOBODY, kind=one.kind, subject=one.subject, body=one.body)
    session.announce([Announcement(**vars(one)) for one in decided.announced])


def _figures(rows: TracedRows) -> Iterator[TracedFigure]:
    for i in range(len(rows)):
        value = float(rows.value[i])
        yield TracedFigure(
            of=TracedBore(part=rows.part[i], bore=rows.bore[i], gauge=rows.gauge[i], at=rows.at[i]),
            spindle=rows.spindle[i],
            feature=rows.feature[i],
            value=None if np.isnan(value) else value,
            why_not=rows.why_not[i],
        )


def _file(session: Session, kind: Kind, cell: CellArchive, rows: int) -> int:
    fact = FileFact(
        name=f"{kind}.parquet",
        kind=kind,
        sha256=kind,
        at=cell.as_of,
        header=None,
        rows=rows,
        taken=rows,
        known=0,
        set_aside=0,
    )
    return session.add_file(fact, [])


def _keep_days(session: Session, days: Iterable[Days]) -> tuple[set[Stream], int]:
    """Keep bores and subgroups, a run of days at a time; return the streams and how many bores count."""
    streams: set[Stream] = set()
    charted = 0
    for run in days:
        bores, cut = bores_of(run), cut_of(run)
        session.add_bores(bores)
        session.add_subgroups(cut.alone, cut.together)
        session.add_counts(run.counts)
        streams |= {*by_stream(cut.alone), *by_stream(cut.together)}
        charted += int(bores.charted.sum())
    return streams, charted
