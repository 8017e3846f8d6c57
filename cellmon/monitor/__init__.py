"""The monitor: the cell's questions, each answered by a module of its own; this class only binds them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from cellmon.diagnosis import Table, packaged_table, read_table
from cellmon.errors import CellmonError
from cellmon.intake.sheet_file import SheetFile, read_sheet, read_toml
from cellmon.monitor import adopt as _adopt
from cellmon.monitor import alarms as _alarms
from cellmon.monitor import aside as _aside
from cellmon.monitor import baseline as _baseline
from cellmon.monitor import capability as _capability
from cellmon.monitor import check as _check
from cellmon.monitor import first_bores as _first_bores
from cellmon.monitor import flags as _flags
from cellmon.monitor import hold as _hold
from cellmon.monitor import now as _now
from cellmon.monitor import pair as _pair
from cellmon.monitor import part as _part
from cellmon.monitor import seismograph as _seismograph
from cellmon.monitor import shifts as _shifts
from cellmon.monitor import signals as _signals
from cellmon.monitor import state as _state
from cellmon.monitor import stream as _stream
from cellmon.monitor import take as _take
from cellmon.monitor.bores import BoreTable, bore_table
from cellmon.monitor.force import notes_on, rules_of
from cellmon.monitor.rules import Rules
from cellmon.monitor.view import View
from cellmon.records import Kind, Stream
from cellmon.sheet import Sheet
from cellmon.shifts import to_utc
from cellmon.store import Session, Store

Progress = Callable[[str], None]
SHEET_FILE = "cell.toml"
CAUSES_FILE = "causes.toml"
"""A site's own table of causes, laid over the packaged one."""


class Monitor:
    """One cell, opened; every method answers one question or does one thing.

    Attributes
    ----------
    folder : Path
        The cell folder.
    on_disk : SheetFile
        The sheet as its file stands now.
    """

    def __init__(self, folder: Path, on_disk: SheetFile, store: Store, *, as_of: datetime | None) -> None:
        self.folder, self.on_disk, self._store = folder, on_disk, store
        self._as_of = None if as_of is None else to_utc(as_of)
        self._known: tuple[int, Rules] | None = None
        self._own_causes: Table | None = None

    @classmethod
    def open(cls, folder: Path, *, as_of: datetime | None = None) -> Monitor:
        """Open the cell in a folder; refusals as `cellmon.open_cell` says."""
        on_disk, own_causes = read_sheet(folder / SHEET_FILE), None
        if (folder / CAUSES_FILE).exists():
            given = read_toml(folder / CAUSES_FILE)
            own_causes = read_table(given, over=packaged_table(), where=CAUSES_FILE)
        store = Store(on_disk.sheet.store.url, folder=folder, at=int(clock().astype(np.int64)))
        monitor = cls(folder, on_disk, store, as_of=as_of)
        monitor._own_causes = own_causes
        try:
            monitor._derive_if_needed()
        except CellmonError:
            monitor.close()
            raise
        return monitor

    def _derive_if_needed(self) -> None:
        """Judge everything again where an update of the program threw away what was derived."""
        with self._store.reading() as session:
            underived = session.is_underived()
        if underived:
            with self._store.writing() as session:
                _check.rebuild_in(session, self._rules(session), at=clock())

    @property
    def sheet(self) -> Sheet:
        """The sheet in force."""
        with self._view() as view:
            return view.sheet

    def close(self) -> None:
        """Let go of the store."""
        self._store.close()

    @contextmanager
    def _view(self) -> Iterator[View]:
        with self._store.reading() as session:
            moment = self._as_of or session.newest_row() or clock()
            yield View(
                session=session,
                rules=self._rules(session),
                as_of=moment,
                notes=notes_on(session, self.on_disk),
                own_causes=self._own_causes,
            )

    def _rules(self, session: Session) -> Rules:
        sheets = session.sheets()
        in_force = sum(s.in_force_from is not None for s in sheets)
        if self._known is None or self._known[0] != in_force:
            self._known = (in_force, rules_of(sheets, self.on_disk))
        return self._known[1]

    def last_change(self) -> int:
        """Return a number that changes with everything committed; cheap to ask."""
        with self._store.reading() as session:
            return session.last_change()

    def streams(self) -> tuple[Stream, ...]:
        """Return every stream that has subgroups."""
        with self._view() as view:
            return view.streams

    def pooled(self) -> tuple[Stream, ...]:
        """Return every mean over bores and every distance from it that is watched."""
        with self._view() as view:
            return view.pooled

    def state(self) -> _state.State:
        """Answer: every spindle and stream now, and what is due."""
        with self._view() as view:
            return _state.state(view)

    def now(self) -> _now.Now:
        """Answer: the last bores in their shape, and whether to go on."""
        with self._view() as view:
            return _now.now(view)

    def shifts(self, *, feature: str | None = None, shift: str | None = None) -> _shifts.Shifts:
        """Answer: X-bar/R of every stream in one shift (DATE/NAME), against the shift before."""
        with self._view() as view:
            return _shifts.shifts(view, feature=feature, shift=shift)

    def seismograph(
        self,
        *,
        feature: str | None = None,
        since: datetime | None = None,
        until: datetime | None = None,
    ) -> _seismograph.Seismograph:
        """Answer: all streams over days; the last 7 unless said otherwise."""
        with self._view() as view:
            return _seismograph.seismograph(view, feature=feature, since=since, until=until)

    def stream(
        self,
        *,
        spindle: str | None,
        bore: str | None,
        feature: str,
        fixture: str | None = None,
        part_number: str | None = None,
        part_of: str = "itself",
        since: datetime | None = None,
        until: datetime | None = None,
    ) -> _stream.StreamView:
        """Answer: one stream in depth, over the last two days unless said otherwise."""
        with self._view() as view:
            which = view.find_stream(
                spindle=spindle,
                bore=bore,
                feature=feature,
                fixture=fixture,
                part_number=part_number,
                part_of=part_of,
            )
            return _stream.stream_view(view, which, since=since, until=until)

    def pair(
        self,
        *,
        spindle: str | None,
        bore: str | None,
        feature: str,
        fixture: str | None = None,
        part_number: str | None = None,
        part_of: str = "itself",
        kind: str = "range",
        since: datetime | None = None,
        until: datetime | None = None,
    ) -> _pair.ChartPair:
        """Answer: the classic pair of charts of one stream; kind is range, sd or single."""
        with self._view() as view:
            which = view.find_stream(
                spindle=spindle,
                bore=bore,
                feature=feature,
                fixture=fixture,
                part_number=part_number,
                part_of=part_of,
            )
            return _pair.chart_pair(view, which, _pair.PairKind(kind), since=since, until=until)

    def alarms(self) -> _alarms.Alarms:
        """Answer: what the false alarms a week give each detector, and what other rules would cost."""
        with self._view() as view:
            return _alarms.alarms(view)

    def first_bores(self) -> _first_bores.FirstBores:
        """Answer: what the first bores after each spindle's newest change say."""
        with self._view() as view:
            return _first_bores.first_bores(view)

    def release_setup(self, spindle: str, *, by: str, why: str) -> _first_bores.FirstBores:
        """Let a spindle run after its newest change, in the name of a person."""
        with self._view() as view, self._store.writing() as session:
            _first_bores.sign(view, session, spindle, by=by, why=why, at=clock())
        return self.first_bores()

    def signals(self) -> _signals.Signals:
        """Answer: everything that was detected, and what was answered."""
        with self._view() as view:
            return _signals.signals(view)

    def capability(
        self,
        *,
        spindle: str | None = None,
        bore: str | None = None,
        feature: str | None = None,
        since: datetime | None = None,
        until: datetime | None = None,
    ) -> _capability.CapabilityAnswer:
        """Answer: indices of every stream with intervals, and what forbids the claim."""
        with self._view() as view:
            return _capability.capability(
                view, spindle=spindle, bore=bore, feature=feature, since=since, until=until
            )

    def part(self, serial: str) -> _part.PartStory:
        """Answer: all that is known of one block."""
        with self._view() as view:
            return _part.part_story(view, serial)

    def hold(self, signal: str) -> _hold.Hold:
        """Answer: the parts to contain after a signal."""
        with self._view() as view:
            return _hold.hold(view, signal)

    def baselines(
        self, *, spindle: str | None = None, bore: str | None = None, feature: str | None = None
    ) -> _baseline.Baselines:
        """Answer: limits in force, and what a freeze would make of them."""
        with self._view() as view:
            return _baseline.baselines(view, spindle=spindle, bore=bore, feature=feature)

    def aside(self) -> _aside.Aside:
        """Answer: rows that were set aside."""
        with self._view() as view:
            return _aside.aside(view)

    def flags(self) -> _flags.FlagList:
        """Answer: rows that are doubted."""
        with self._view() as view:
            return _flags.flags(view)

    def check(self, *, rebuild: bool = False) -> _check.Check:
        """Answer: what is wrong, switched off, or different; with `rebuild`, derived against recomputed."""
        rebuilt = _check.rebuild(self._store, self._rules_now(), at=clock()) if rebuild else None
        with self._view() as view:
            return _check.check(view, self.on_disk, rebuilt=rebuilt)

    def bores(self, *, since: datetime | None = None, until: datetime | None = None) -> BoreTable:
        """Return judged bores as a table for export."""
        with self._view() as view:
            return bore_table(view, since=since, until=until)

    def _rules_now(self) -> Rules:
        with self._store.reading() as session:
            return self._rules(session)

    def take(
        self,
        paths: Sequence[Path | str],
        *,
        kind: str | None = None,
        unit: str | None = None,
        progress: Progress | None = None,
    ) -> _take.Taken:
        """Take files, each in a transaction of its own."""
        taken = []
        for path in map(Path, paths):
            if progress is not None:
                progress(f"taking {path.name}")
            taken.append(
                _take.take_file(
                    self._store, self._rules_now(), self.on_disk, path, kind=kind, unit=unit, at=clock()
                )
            )
        with self._view() as view:
            return _take.Taken(**view.head(), files=tuple(taken))

    def retry_aside(self) -> _take.Taken:
        """Try again every row set aside whose reason may have gone."""
        taken = _take.retry(self._store, self._rules_now(), self.on_disk, at=clock())
        with self._view() as view:
            return _take.Taken(**view.head(), files=tuple(taken))

    def log(self, kind: Kind, values: dict[str, str]) -> _take.FileTaken:
        """Keep one row typed by hand: a cell event, a stone measurement, a gauge check, a movement."""
        return _take.log_row(self._store, self._rules_now(), self.on_disk, kind, values, at=clock())

    def respond(
        self,
        signal: str,
        *,
        by: str,
        cause: str | None = None,
        action: str | None = None,
        seen: bool = False,
    ) -> _signals.Signal:
        """Answer a signal with a cause and an action, or acknowledge it as seen."""
        with self._store.writing() as session:
            _signals.respond(session, signal, by=by, cause=cause, action=action, seen=seen, at=clock())
        return next(s for s in self.signals().signals if s.id == signal)

    def release(self, signal: str, *, parts: Sequence[str], as_: str, by: str, why: str) -> _hold.Hold:
        """Say what became of held parts."""
        allowed = {p.part for p in self.hold(signal).parts}
        with self._store.writing() as session:
            _hold.release(session, signal, allowed, parts=parts, as_=as_, by=by, why=why, at=clock())
        return self.hold(signal)

    def correct(self, flag: str, *, accept: bool, by: str, why: str) -> _flags.FlagRow:
        """Accept what a doubt proposes, or keep the row as it was read."""
        with self._store.writing() as session:
            _flags.correct(session, self._rules(session), flag, accept=accept, by=by, why=why, at=clock())
        return next(row for row in self.flags().flags if row.id == flag)

    def freeze(
        self,
        *,
        by: str,
        why: str,
        spindle: str | None = None,
        bore: str | None = None,
        feature: str | None = None,
    ) -> _baseline.Baselines:
        """Freeze the proposed limits of the streams named (all by default)."""
        chosen = self.baselines(spindle=spindle, bore=bore, feature=feature)
        with self._store.writing() as session:
            _baseline.freeze(session, self._rules(session), chosen, by=by, why=why, at=clock())
        return self.baselines(spindle=spindle, bore=bore, feature=feature)

    def adopt(self, *, by: str, why: str) -> _check.Check:
        """Put the sheet on disk in force, for what is measured from now on."""
        with self._store.writing() as session:
            _adopt.adopt(session, self.on_disk, by=by, why=why, at=clock())
        return self.check()


def clock() -> np.datetime64:
    """Return the present moment; the only clock the monitor looks at."""
    return to_utc(datetime.now(UTC))


__all__ = ["CellmonError", "Monitor"]
