"""The cell's questions: one line binds one to the module that answers it, and help() shows its terms."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from cellmon.monitor.late import Late
from cellmon.monitor.opened import SHEET_FILE, Opened, clock, question
from cellmon.records import Kind, Stream
from cellmon.sheet import Sheet

if TYPE_CHECKING:
    from cellmon.monitor import alarms as _alarms
    from cellmon.monitor import archive as _archive
    from cellmon.monitor import aside as _aside
    from cellmon.monitor import audits as _audits
    from cellmon.monitor import baseline as _baseline
    from cellmon.monitor import bore as _bore
    from cellmon.monitor import bores as _bores
    from cellmon.monitor import capability as _capability
    from cellmon.monitor import capability_picture as _capability_picture
    from cellmon.monitor import check as _check
    from cellmon.monitor import compare as _compare
    from cellmon.monitor import disk_sheet as _disk_sheet
    from cellmon.monitor import files as _files
    from cellmon.monitor import first_bores as _first_bores
    from cellmon.monitor import fit as _fit
    from cellmon.monitor import flags as _flags
    from cellmon.monitor import gauge as _gauge
    from cellmon.monitor import hand_streams as _hand_streams
    from cellmon.monitor import handover as _handover
    from cellmon.monitor import hold as _hold
    from cellmon.monitor import joint as _joint
    from cellmon.monitor import journal as _journal
    from cellmon.monitor import limits_age as _limits_age
    from cellmon.monitor import now as _now
    from cellmon.monitor import pair as _pair
    from cellmon.monitor import part as _part
    from cellmon.monitor import proposals as _proposals
    from cellmon.monitor import results as _results
    from cellmon.monitor import seismograph as _seismograph
    from cellmon.monitor import setup as _setup
    from cellmon.monitor import shifts as _shifts
    from cellmon.monitor import signals as _signals
    from cellmon.monitor import signals_listed as _signals_listed
    from cellmon.monitor import splits as _splits
    from cellmon.monitor import state as _state
    from cellmon.monitor import stone_picture as _stone_picture
    from cellmon.monitor import stone_plan as _stone_plan
    from cellmon.monitor import stones as _stones
    from cellmon.monitor import stream as _stream
    from cellmon.monitor import submission as _submission
    from cellmon.monitor import totals as _totals
    from cellmon.monitor import traces as _traces
    from cellmon.monitor import trust as _trust
    from cellmon.monitor import typed as _typed
    from cellmon.monitor.bore import keeping as _keeping
    from cellmon.monitor.bore import measured as _measured
    from cellmon.monitor.bore import record as _record
    from cellmon.monitor.bore import stones as _hand_stones
    from cellmon.monitor.bore import work as _hand_work
    from cellmon.monitor.compare import choices as _compare_choices
else:
    _alarms = Late("alarms")
    _archive = Late("archive")
    _aside = Late("aside")
    _audits = Late("audits")
    _baseline = Late("baseline")
    _bore = Late("bore")
    _bores = Late("bores")
    _capability = Late("capability")
    _capability_picture = Late("capability_picture")
    _check = Late("check")
    _compare = Late("compare")
    _compare_choices = Late("compare.choices")
    _disk_sheet = Late("disk_sheet")
    _files = Late("files")
    _first_bores = Late("first_bores")
    _fit = Late("fit")
    _flags = Late("flags")
    _gauge = Late("gauge")
    _hand_streams = Late("hand_streams")
    _handover = Late("handover")
    _hold = Late("hold")
    _joint = Late("joint")
    _journal = Late("journal")
    _limits_age = Late("limits_age")
    _now = Late("now")
    _pair = Late("pair")
    _part = Late("part")
    _proposals = Late("proposals")
    _results = Late("results")
    _seismograph = Late("seismograph")
    _setup = Late("setup")
    _shifts = Late("shifts")
    _signals = Late("signals")
    _signals_listed = Late("signals_listed")
    _splits = Late("splits")
    _state = Late("state")
    _stone_picture = Late("stone_picture")
    _stone_plan = Late("stone_plan")
    _stones = Late("stones")
    _stream = Late("stream")
    _submission = Late("submission")
    _totals = Late("totals")
    _traces = Late("traces")
    _trust = Late("trust")
    _typed = Late("typed")
    _keeping = Late("bore.keeping")
    _measured = Late("bore.measured")
    _record = Late("bore.record")
    _hand_stones = Late("bore.stones")
    _hand_work = Late("bore.work")


class Questions(Opened):
    """The part of a monitor that only reads; every question is asked of one state of the store."""

    state = question(lambda: _state.state)
    """Every spindle and stream now, and what is due."""
    stream_state = question(lambda: _state.stream_state)
    """One stream now: the bores left to a limit, and what correction pays."""
    now = question(lambda: _now.now)
    """The last bores in their shape, and whether to go on."""
    shifts = question(lambda: _shifts.shifts)
    """X-bar/R of every stream in one shift (DATE/NAME), against the shift before."""
    shifts_made = question(lambda: _shifts.shifts_made)
    """The shifts in which bores were made."""
    handover = question(lambda: _handover.handover)
    """A shift as it is handed to the next."""
    seismograph = question(lambda: _seismograph.seismograph)
    """All streams over days; the last 7 unless said otherwise."""
    journal = question(lambda: _journal.journal)
    """Who decided what, when and why, and whether anything of it was changed."""
    newest = question(lambda: _totals.newest)
    """When the newest row was measured and the newest file taken."""
    totals = question(lambda: _totals.totals)
    """How much was ever taken, and what waits."""
    signals = question(lambda: _signals.signals)
    """Everything that was detected, and what was answered."""
    signals_listed = question(lambda: _signals_listed.signals_listed)
    """The newest signals of each sort."""
    signal_named = question(lambda: _signals_listed.signal_named)
    """One signal, and why it may be."""
    waiting_signals = question(lambda: _signals_listed.waiting_signals)
    """How many signals wait for an answer, and the newest of each spindle."""
    hold = question(lambda: _hold.hold)
    """The parts to contain after a signal."""
    alarms = question(lambda: _alarms.alarms)
    """What the false alarms a week give each detector, and what other rules would cost."""
    audits = question(lambda: _audits.audits)
    """What other instruments and eyes found, as streams with limits of their own."""
    first_bores = question(lambda: _first_bores.first_bores)
    """What the first bores after each spindle's newest change say."""
    joint = question(lambda: _joint.joint)
    """The features of one bore together, by T-squared and MEWMA; raises no signal."""
    splits = question(lambda: _splits.splits)
    """Which streams fixture, side or order in the block move by more than half a sigma."""
    baselines = question(lambda: _baseline.baselines)
    """Limits in force, and what a freeze would make of them."""
    trust = question(lambda: _trust.trust)
    """How far limits of means and ranges keep their promise, and limits that would."""
    capability = question(lambda: _capability.capability)
    """Indices of every stream with intervals, and what forbids the claim."""
    capability_picture = question(lambda: _capability_picture.capability_picture)
    """One stream's bores and the edges of their distribution, for drawing."""
    proposals = question(lambda: _proposals.proposals)
    """What was proposed, and what waits for the name of a second person."""
    submission = question(lambda: _submission.submission)
    """The capability of streams and what stands behind it, ready to be signed or refused."""
    compare = question(lambda: _compare.compare)
    """Two times, stone sets, spindles or fixtures against each other, with intervals."""
    comparable = question(lambda: _compare_choices.comparable)
    """Which times, stone sets, lots, spindles and fixtures can be compared."""
    part = question(lambda: _part.part_story)
    """All that is known of one block."""
    newest_parts = question(lambda: _part.newest_parts)
    """The blocks measured last, newest first."""
    results = question(lambda: _results.results)
    """Inspection results, one characteristic and value each, as other programs take them."""
    bore = question(lambda: _bore.bore)
    """One bore in the hand: what its rounds say, and what is next."""
    hand_work = question(lambda: _hand_work.hand_work)
    """The blocks honed by hand, and which of their bores were begun."""
    stones_in_hand = question(lambda: _hand_stones.stones_in_hand)
    """Whether a set is flat, parallel and matched, and what is to be taken off where."""
    hand_streams = question(lambda: _hand_streams.hand_streams)
    """The bores finished by hand, as streams of their own."""
    hand_record = question(lambda: _record.hand_record)
    """The record of one bore or block honed by hand, in the order in which it is printed."""
    blank_record = question(lambda: _record.blank_record)
    """The same record with nothing in it, for use without a screen."""
    look_at_round = question(lambda: _keeping.look_at_round)
    """What a typed round would be kept as, and what is odd about it."""
    look_at_measured = question(lambda: _measured.look_at_measured)
    """What a typed bore of a shift would be kept as, and what is odd about it."""
    bores = question(lambda: _bores.bore_table)
    """Judged bores as a table for export."""
    archive = question(lambda: _archive.archive)
    """All of a cell that a study of many cells needs, its bores day by day."""
    stone_picture = question(lambda: _stone_picture.stone_picture)
    """All stones for drawing: their answer and plan, every set's line, the shifts to come."""
    traces = question(lambda: _traces.traces)
    """The form of traced bores, of the last week or of one part, and what two points missed."""
    setup = question(lambda: _setup.setup_of_cell)
    """Speeds, stroke and crosshatch for a bore; the sheet says what the request leaves open."""
    fit = question(lambda: _fit.fit)
    """Clearance of bores and mating parts, by chance, by grades, and pair by pair."""
    gauge = question(lambda: _gauge.gauge)
    """Whether the gauges can be believed, and what they are worth; or one study of them."""
    files = question(lambda: _files.files)
    """The files that were taken, newest first, and what of them waits."""
    limits_age = question(lambda: _limits_age.limits_age)
    """Frozen limits that are older than a declared change."""
    aside = question(lambda: _aside.aside)
    """Rows that were set aside."""
    aside_row = question(lambda: _aside.aside_row)
    """One row set aside, by its number or as FILE:LINE."""
    flags = question(lambda: _flags.flags)
    """Rows that are doubted."""
    flag = question(lambda: _flags.one_flag)
    """One doubt in full, and how many like it wait."""

    def disk_sheet(self) -> _disk_sheet.DiskSheet:
        """Read the sheet's file again, and answer with what it would change."""
        found = _disk_sheet.found_on_disk(self.folder / SHEET_FILE, self.on_disk)
        if found.sheet.text != self.on_disk.text:
            self.on_disk, self._known = found.sheet, None
        with self._view() as view:
            return _disk_sheet.disk_sheet(view, found)

    @property
    def sheet(self) -> Sheet:
        """The sheet in force."""
        with self._view() as view:
            return view.sheet

    def streams(self) -> tuple[Stream, ...]:
        """Return every stream that has subgroups."""
        with self._view() as view:
            return view.streams

    def pooled(self) -> tuple[Stream, ...]:
        """Return every mean over bores and every distance from it that is watched."""
        with self._view() as view:
            return view.pooled

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
        """Answer: the classic pair of charts of one stream; kind is range, sd, single, ewma or cusum."""
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

    def stones(self, *, stone_set: str | None = None) -> _stones.StonesAnswer:
        """Answer: what is left of every stone set, what to do, and the plan; or one set in full."""
        with self._view() as view:
            if stone_set is None:
                return _stone_plan.with_plan(view)
            return _stones.stones(view, stone_set=stone_set)

    def stone_plan(self, request: _stone_plan.PlanRequest | None = None) -> _stone_plan.StonePlan:
        """Answer: changes of stones to come, by when to order how many, and what a bore costs; or what if."""
        with self._view() as view:
            state = (view.session.last_change(), view.as_of)
            if self._stones is None or self._stones[0] != state:
                self._stones = (state, _stone_plan.stones_known(view))
            return _stone_plan.plan_of_view(view, request, known=self._stones[1])

    def look_at(self, kind: Kind, rows: Sequence[Mapping[str, str]]) -> _typed.Looked:
        """Answer: what is wrong or odd about rows typed by hand, before they are kept."""
        with self._view() as view:
            return _typed.look_at(view, kind, rows, at=clock())

    def check(self, *, rebuild: bool = False) -> _check.Check:
        """Answer: what is wrong, switched off, or different; with `rebuild`, derived against recomputed."""
        rebuilt = _check.rebuild(self._store, self._rules, at=clock()) if rebuild else None
        with self._view() as view:
            return _check.check(view, self.on_disk, rebuilt=rebuilt)
