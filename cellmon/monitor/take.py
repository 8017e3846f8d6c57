"""Taking files: every row taken, already known, or set aside."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from cellmon.errors import FileUnreadable, KindInDoubt, Mistake, SheetRefused, StoreRefused
from cellmon.intake import TakenFile, read_bytes, read_file
from cellmon.intake.sheet_file import SheetFile
from cellmon.judged import StoredReadings
from cellmon.monitor.ahead import is_ahead, newest_in_time, notes_on_future
from cellmon.monitor.answers import Answer
from cellmon.monitor.force import keep_sheet
from cellmon.monitor.judge import Judged, Touched, announce, judge, watch_again
from cellmon.monitor.judge.limits import frozen_limits
from cellmon.monitor.judge.told import AUDITED, rows_of_audits
from cellmon.monitor.judge.traced import keep_traced
from cellmon.monitor.known import Sorted, row_keys, sort_readings, sort_rows
from cellmon.monitor.row_words import row_text
from cellmon.monitor.rules import Rules
from cellmon.monitor.touched import touched_by_readings, touched_by_rows
from cellmon.records import Events, Flags, GaugeChecks, Readings, Refused, TracePoints
from cellmon.sheet import Sheet
from cellmon.store import FileFact, Session, Store
from cellmon.words import say, to_say


@dataclass(frozen=True, kw_only=True)
class SetAside:
    """One row that could not be used."""

    line: int
    reason: str
    text: str


@dataclass(frozen=True, kw_only=True)
class FileTaken:
    """One file; rows = taken + known + set aside. `signals` counts those newly raised."""

    file: str
    kind: str | None
    rows: int
    taken: int
    known: int
    set_aside: tuple[SetAside, ...]
    flagged: int
    bores: int
    signals: int
    seconds: float
    why_not: str | None = None
    kinds: tuple[str, ...] = ()
    """What it may hold, where its header fits several kinds: nothing is taken until a person says."""
    units: tuple[str, ...] = ()
    """The units its sizes fit, where they do not fit their own: all is set aside until a person says."""
    notes: tuple[str, ...] = ()
    asked: tuple[str, ...] = ()
    """Of rows typed by hand: what is odd about them."""


@dataclass(frozen=True, kw_only=True)
class Taken(Answer):
    """What became of the files."""

    files: tuple[FileTaken, ...]


RulesOf = Callable[[Session], Rules]
"""What says which sheets hold, as the store stands in a session."""
MOST_TURNS = 20
"""So often a file is read anew because a sheet was adopted while it was read."""


def take_file(
    store: Store,
    rules_of: RulesOf,
    on_disk: SheetFile,
    path: Path,
    *,
    kind: str | None,
    unit: str | None,
    at: np.datetime64,
) -> FileTaken:
    """Read one file and keep it: rows, what was set aside, and what follows, in one transaction.

    A file in which nothing can be read is told in the result (`kind` None, `why_not` in words), not
    raised, so that the files after it are still taken.
    """
    return _take(
        store,
        rules_of,
        on_disk,
        path.name,
        lambda sheet: read_file(path, sheet, kind=kind, unit=unit),
        at=at,
    )


def take_bytes(
    store: Store,
    rules_of: RulesOf,
    on_disk: SheetFile,
    raw: bytes,
    *,
    name: str,
    kind: str | None,
    unit: str | None,
    at: np.datetime64,
) -> FileTaken:
    """Take a file that somebody handed over as bytes, exactly as `take_file` takes one from a folder.

    Its name is only what it is called: no path is made of it.
    """
    called = plain_name(name)
    return _take(
        store,
        rules_of,
        on_disk,
        called,
        lambda sheet: read_bytes(raw, sheet, name=called, kind=kind, unit=unit),
        at=at,
    )


def _take(
    store: Store,
    rules_of: RulesOf,
    on_disk: SheetFile,
    name: str,
    read: Callable[[Sheet], TakenFile],
    *,
    at: np.datetime64,
) -> FileTaken:
    began = time.perf_counter()
    with store.reading() as session:
        rules = rules_of(session)
    for _ in range(MOST_TURNS):
        try:
            found = read(rules.now.sheet)
        except FileUnreadable as unreadable:
            kinds = unreadable.kinds if isinstance(unreadable, KindInDoubt) else ()
            return not_read(name, str(unreadable), time.perf_counter() - began, kinds=kinds)
        temperatures_settled(found, rules)
        with store.writing() as session:
            inside = rules_of(session)
            if inside == rules:
                taken = _kept(session, rules, on_disk, found, at=at)
                break
        rules = inside  # another person adopted a sheet while the file was read, so it is read by that one
    else:
        text = to_say("the sheet is adopted anew again and again while {file} is read; try it later")
        raise StoreRefused(say(text, file=name))
    return replace(taken, seconds=round(time.perf_counter() - began, 3))


def _kept(
    session: Session, rules: Rules, on_disk: SheetFile, found: TakenFile, *, at: np.datetime64
) -> FileTaken:
    taken = keep(session, rules, on_disk, found, at=at)
    still = {row.line for row in taken.set_aside}  # what waited since the file came before may serve
    served = [id_ for id_, line in session.waiting_lines(found.sha256).items() if line not in still]
    session.mark_retried(served, file_id=session.newest_file())
    return taken


MOST_NAME = 200
"""Characters of a file's name that are kept."""


def plain_name(name: str) -> str:
    """Return what a file is called, without the folders that may stand before it and what none can read."""
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    shown = "".join(letter for letter in last if letter.isprintable()).strip(" .")
    return shown[-MOST_NAME:] or "file without a name"


def temperatures_settled(found: TakenFile, rules: Rules) -> None:
    """Refuse readings with temperatures while the sheet does not say whether they are corrected."""
    batch = found.batch
    if not isinstance(batch, Readings) or rules.now.sheet.measuring.temperature is not None:
        return
    if np.isfinite(batch.part_temp_c).any() or np.isfinite(batch.master_temp_c).any():
        text = to_say("as-read, correct or by-gauge: {file} carries temperatures")
        expected = say(text, file=found.name)
        raise SheetRefused([Mistake(key="measuring.temperature", found=say("nothing"), expected=expected)])


def not_read(name: str, why: str, seconds: float, *, kinds: Sequence[str] = ()) -> FileTaken:
    """Return what became of a file of which nothing is kept, and why."""
    return FileTaken(
        file=name,
        kind=None,
        rows=0,
        taken=0,
        known=0,
        set_aside=(),
        flagged=0,
        bores=0,
        signals=0,
        seconds=round(seconds, 3),
        why_not=why,
        kinds=tuple(kinds),
    )


def keep(
    session: Session, rules: Rules, on_disk: SheetFile, found: TakenFile, *, at: np.datetime64
) -> FileTaken:
    """Add what a file holds to the facts and judge what it touches; the caller commits."""
    if found.batch is not None:  # until a row serves, the sheet on disk is the one in force and may be mended
        keep_sheet(session, on_disk, at=at)
    notes = found.notes
    if isinstance(found.batch, Readings):
        notes += notes_on_future(found.batch, newest_before=newest_in_time(session, at=at), at=at)
        sorted_, judged = _keep_readings(session, rules, found, found.batch, at=at)
    else:
        sorted_, judged = _keep_rows(session, rules, found, at=at)
    refused = (*found.refused, *sorted_.refused)
    return FileTaken(
        file=found.name,
        kind=found.kind,
        rows=found.rows,
        taken=sorted_.taken,
        known=sorted_.known + found.repeated,
        set_aside=tuple(
            SetAside(line=r.line, reason=r.reason, text=row_text(r.reason, r.text))
            for r in sorted(refused, key=_line)
        ),
        flagged=judged.doubts,
        bores=judged.bores,
        signals=judged.new_signals,
        seconds=0.0,
        units=tuple(unit.value for unit in found.units),
        notes=notes,
    )


def _line(refused: Refused) -> int:
    return refused.line


def _add_file(session: Session, found: TakenFile, sorted_: Sorted, *, at: np.datetime64) -> int:
    as_read = found.texts_on([one.line for one in sorted_.refused])
    contradicting = (replace(r, as_read=row) for r, row in zip(sorted_.refused, as_read, strict=True))
    refused = (*found.refused, *contradicting)
    fact = FileFact(
        name=found.name,
        kind=found.kind,
        sha256=found.sha256,
        at=at,
        header=found.header,
        rows=found.rows,
        taken=sorted_.taken,
        known=sorted_.known + found.repeated,
        set_aside=len(refused),
    )
    return session.add_file(fact, refused)


def _keep_readings(
    session: Session, rules: Rules, found: TakenFile, batch: Readings, *, at: np.datetime64
) -> tuple[Sorted, Judged]:
    stored = session.same_bores(batch)
    sorted_ = sort_readings(batch, stored)
    file_id = _add_file(session, found, sorted_, at=at)
    new = sorted_.new
    if not isinstance(new, Readings):
        return sorted_, Judged(bores=0, doubts=0, new_signals=0)
    newest, in_time = session.newest_reading(), newest_in_time(session, at=at)
    late = _late(session, new)
    fresh = StoredReadings(readings=new, late=late, ahead=is_ahead(new, newest_before=in_time, at=at))
    session.add_readings(fresh, file_id=file_id)
    units = rules.units(touched_by_readings(new, stored, newest_before=newest))
    return sorted_, judge(session, rules, units, at=at, fresh=fresh, fresh_file=file_id)


def _keep_rows(
    session: Session, rules: Rules, found: TakenFile, *, at: np.datetime64
) -> tuple[Sorted, Judged]:
    nothing = Judged(bores=0, doubts=0, new_signals=0)
    batch = found.batch
    if batch is None:
        sorted_ = Sorted(new=None, taken=0, known=0, refused=())
        _add_file(session, found, sorted_, at=at)
        return sorted_, nothing
    keys = row_keys(batch)
    sorted_, new = sort_rows(batch, keys, session.known_rows(batch, keys))
    file_id = _add_file(session, found, sorted_, at=at)
    if sorted_.new is None:
        return sorted_, nothing
    before = rows_of_audits(session)
    session.add_rows(sorted_.new, [keys[i] for i in np.flatnonzero(new)], file_id=file_id)
    if isinstance(sorted_.new, TracePoints):
        keep_traced(session, rules, set(sorted_.new.part.tolist()))
    audited = 0
    if sorted_.new.KIND in AUDITED:
        audited = announce(session, rules, at=at, touched=Touched(audited=sorted_.new, rows_before=before))
    units = rules.units(touched_by_rows(session, rules, sorted_.new))
    judged = judge(session, rules, units, at=at)
    if isinstance(sorted_.new, Events):
        raised = watch_again(session, rules, sorted_.new.at.min(), sorted_.new.at.max(), at=at)
    else:
        since = sorted_.new.at.min() if isinstance(sorted_.new, GaugeChecks) else None
        raised = announce(session, rules, at=at, touched=Touched(since=since))
    return sorted_, replace(judged, new_signals=judged.new_signals + audited + raised)


def _late(session: Session, new: Readings) -> Flags:
    """Return which rows fall into the window of limits that were frozen before they came."""
    late = np.zeros(len(new), dtype=bool)
    for stream, versions in frozen_limits(session).items():
        here = (new.spindle == stream.spindle) & (new.bore == stream.bore)
        for version in versions:
            late |= here & (new.measured_at >= version.window_from) & (new.measured_at <= version.window_to)
    return late
