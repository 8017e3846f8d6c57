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
from cellmon.monitor import audits as _audits
from cellmon.monitor import baseline as _baseline
from cellmon.monitor import capability as _capability
from cellmon.monitor import capability_picture as _capability_picture
from cellmon.monitor import check as _check
from cellmon.monitor import compare as _compare
from cellmon.monitor import first_bores as _first_bores
from cellmon.monitor import fit as _fit
from cellmon.monitor import flags as _flags
from cellmon.monitor import gauge as _gauge
from cellmon.monitor import handover as _handover
from cellmon.monitor import hold as _hold
from cellmon.monitor import joint as _joint
from cellmon.monitor import now as _now
from cellmon.monitor import pair as _pair
from cellmon.monitor import part as _part
from cellmon.monitor import results as _results
from cellmon.monitor import seismograph as _seismograph
from cellmon.monitor import setup as _setup
from cellmon.monitor import shifts as _shifts
from cellmon.monitor import signals as _signals
from cellmon.monitor import splits as _splits
from cellmon.monitor import state as _state
from cellmon.monitor import stone_plan as _stone_plan
from cellmon.monitor import stones as _stones
from cellmon.monitor import stream as _stream
from cellmon.monitor import submission as _submission
from cellmon.monitor import take as _take
from cellmon.monitor import traces as _traces
from cellmon.monitor import trust as _trust
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

    def handover(self, *, shift: str | None = None) -> _handover.Handover:
        """Answer with a shift as it is handed to the next."""
        with self._view() as view:
            return _handover.handover(view, shift=shift)

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

    def audits(
        self, *, spindle: str | None = None, bore: str | None = None, feature: str | None = None
    ) -> _audits.Audits:
        """Answer: what other instruments and eyes found, as streams with limits of their own."""
        with self._view() as view:
            return _audits.audits(view, spindle=spindle, bore=bore, feature=feature)

    def first_bores(self) -> _first_bores.FirstBores:
        """Answer: what the first bores after each spindle's newest change say."""
        with self._view() as view:
            return _first_bores.first_bores(view)

    def release_setup(self, spindle: str, *, by: str, why: str) -> _first_bores.FirstBores:
        """Let a spindle run after its newest change, in the name of a person."""
        with self._view() as view, self._store.writing() as session:
            _first_bores.sign(view, session, spindle, by=by, why=why, at=clock())
        return self.first_bores()

    def joint(
        self,
        *,
        spindle: str | None,
        bore: str,
        since: datetime | None = None,
        until: datetime | None = None,
        part_number: str | None = None,
    ) -> _joint.Joint:
        """Answer: the features of one bore together, by T-squared and MEWMA; raises no signal."""
        with self._view() as view:
            return _joint.joint(
                view, spindle=spindle, bore=bore, since=since, until=until, part_number=part_number
            )

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

    def capability_picture(
        self, stream: Stream, *, since: datetime | None = None, until: datetime | None = None
    ) -> _capability_picture.CapabilityPicture:
        """Answer with one stream's bores and the edges of their distribution, for drawing."""
        with self._view() as view:
            return _capability_picture.capability_picture(view, stream, since=since, until=until)

    def submission(
        self,
        *,
        spindle: str | None = None,
        bore: str | None = None,
        feature: str | None = None,
        since: datetime | None = None,
        until: datetime | None = None,
    ) -> _submission.Submission:
        """Answer with the capability of streams and what stands behind it, ready to be signed or refused."""
        with self._view() as view:
            return _submission.submission(
                view, spindle=spindle, bore=bore, feature=feature, since=since, until=until
            )

    def compare(
        self,
        first: _compare.Side,
        second: _compare.Side,
        *,
        spindle: str | None = None,
        bore: str | None = None,
        feature: str | None = None,
    ) -> _compare.Comparison:
        """Answer: two times, stone sets, spindles or fixtures against each other, with intervals."""
        with self._view() as view:
            return _compare.compare(view, first, second, spindle=spindle, bore=bore, feature=feature)

    def part(self, serial: str) -> _part.PartStory:
        """Answer: all that is known of one block."""
        with self._view() as view:
            return _part.part_story(view, serial)

    def newest_parts(self) -> _part.NewestParts:
        """Answer: the blocks measured last, newest first."""
        with self._view() as view:
            return _part.newest_parts(view)

    def results(
        self, *, part: str | None = None, since: datetime | None = None, until: datetime | None = None
    ) -> _results.Results:
        """Answer with inspection results, one characteristic and value each, as other programs take them."""
        with self._view() as view:
            return _results.results(view, part=part, since=since, until=until)

    def stones(self, *, stone_set: str | None = None) -> _stones.StonesAnswer:
        """Answer: what is left of every stone set, what to do, and the plan; or one set in full."""
        with self._view() as view:
            if stone_set is None:
                return _stone_plan.with_plan(view)
            return _stones.stones(view, stone_set=stone_set)

    def traces(
        self, *, part: str | None = None, since: datetime | None = None, until: datetime | None = None
    ) -> _traces.TracesAnswer:
        """Answer: the form of traced bores, of the last week or of one part, and what two points missed."""
        with self._view() as view:
            return _traces.traces(view, part=part, since=since, until=until)

    def setup(self, request: _setup.SetupRequest) -> _setup.SetupSheet:
        """Answer: speeds, stroke and crosshatch for a bore; the sheet says what the request leaves open."""
        with self._view() as view:
            return _setup.setup_of_cell(view, request)

    def stone_plan(self, request: _stone_plan.PlanRequest | None = None) -> _stone_plan.StonePlan:
        """Answer: changes of stones to come, by when to order how many, and what a bore costs; or what if."""
        with self._view() as view:
            return _stone_plan.plan_of_view(view, request)

    def fit(
        self,
        *,
        grades: int | None = None,
        pairs: bool = False,
        at_c: float = 20.0,
        part_number: str | None = None,
        since: datetime | None = None,
        until: datetime | None = None,
    ) -> _fit.FitAnswer:
        """Answer: clearance of bores and mating parts, by chance, by grades, and pair by pair."""
        with self._view() as view:
            return _fit.fit(
                view,
                grades=grades,
                pairs=pairs,
                at_c=at_c,
                part_number=part_number,
                since=since,
                until=until,
            )

    def gauge(self, *, study: str | None = None) -> _gauge.GaugeAnswer:
        """Answer: whether the gauges can be believed, and what they are worth; or one study of them."""
        with self._view() as view:
            return _gauge.gauge(view, study=study)

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

    def trust(
        self, *, spindle: str | None = None, bore: str | None = None, feature: str | None = None
    ) -> _trust.Trust:
        """Answer: how far limits of means and ranges keep their promise, and limits that would."""
        with self._view() as view:
            return _trust.trust(view, spindle=spindle, bore=bore, feature=feature)

    def aside(self) -> _aside.Aside:
        """Answer: rows that were set aside."""
        with self._view() as view:
            return _aside.aside(view)

    def flags(self) -> _flags.FlagList:
        """Answer: rows that are doubted."""
        with self._view() as view:
            return _flags.flags(view)

    def splits(self) -> _splits.Splits:
        """Answer: which streams fixture, side or order in the block move by more than half a sigma."""
        with self._view() as view:
            return _splits.splits(view)

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
