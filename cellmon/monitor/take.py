"""Taking files: every row taken, already known, or set aside."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from cellmon.errors import FileUnreadable, Mistake, SheetRefused
from cellmon.intake import TakenFile, read_file, read_text
from cellmon.intake.sheet_file import SheetFile
from cellmon.judged import StoredReadings
from cellmon.monitor.answers import Answer
from cellmon.monitor.force import keep_sheet
from cellmon.monitor.judge import Judged, announce, judge, watch_again
from cellmon.monitor.judge.limits import frozen_limits
from cellmon.monitor.known import Sorted, row_keys, sort_readings, sort_rows
from cellmon.monitor.rules import Rules
from cellmon.monitor.touched import touched_by_readings, touched_by_rows
from cellmon.records import Events, Flags, Kind, Readings, Reason, Refused
from cellmon.store import FileFact, Session, Store


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


@dataclass(frozen=True, kw_only=True)
class Taken(Answer):
    """What became of the files."""

    files: tuple[FileTaken, ...]


def take_file(
    store: Store,
    rules: Rules,
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
    began = time.perf_counter()
    try:
        found = read_file(path, rules.now.sheet, kind=kind, unit=unit)
    except FileUnreadable as unreadable:
        return _unreadable(path.name, str(unreadable), time.perf_counter() - began)
    _temperatures_settled(found, rules)
    with store.writing() as session:
        taken = keep(session, rules, on_disk, found, at=at)
    return replace(taken, seconds=round(time.perf_counter() - began, 3))


def _temperatures_settled(found: TakenFile, rules: Rules) -> None:
    """Refuse readings with temperatures while the sheet does not say whether they are corrected."""
    batch = found.batch
    if not isinstance(batch, Readings) or rules.now.sheet.measuring.temperature is not None:
        return
    if np.isfinite(batch.part_temp_c).any() or np.isfinite(batch.master_temp_c).any():
        expected = f"as-read, correct or by-gauge: {found.name} carries temperatures"
        raise SheetRefused([Mistake(key="measuring.temperature", found="nothing", expected=expected)])


def _unreadable(name: str, why: str, seconds: float) -> FileTaken:
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
    )


def keep(
    session: Session, rules: Rules, on_disk: SheetFile, found: TakenFile, *, at: np.datetime64
) -> FileTaken:
    """Add what a file holds to the facts and judge what it touches; the caller commits."""
    keep_sheet(session, on_disk, at=at)
    if isinstance(found.batch, Readings):
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
            SetAside(line=r.line, reason=r.reason, text=r.text) for r in sorted(refused, key=_line)
        ),
        flagged=judged.doubts,
        bores=judged.bores,
        signals=judged.new_signals,
        seconds=0.0,
    )


def _line(refused: Refused) -> int:
    return refused.line


def _add_file(session: Session, found: TakenFile, sorted_: Sorted, *, at: np.datetime64) -> int:
    refused = (*found.refused, *sorted_.refused)
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
    newest = session.newest_reading()
    late = _late(session, new)
    session.add_readings(new, file_id=file_id, late=late)
    units = rules.units(touched_by_readings(new, stored, newest_before=newest))
    fresh = StoredReadings(readings=new, late=late)
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
    session.add_rows(sorted_.new, [keys[i] for i in np.flatnonzero(new)], file_id=file_id)
    units = rules.units(touched_by_rows(session, rules, sorted_.new))
    judged = judge(session, rules, units, at=at)
    if isinstance(sorted_.new, Events):
        raised = watch_again(session, rules, sorted_.new.at.min(), sorted_.new.at.max(), at=at)
    else:
        raised = announce(session, rules, at=at)
    return sorted_, replace(judged, new_signals=judged.new_signals + raised)


def _late(session: Session, new: Readings) -> Flags:
    """Return which rows fall into the window of limits that were frozen before they came."""
    late = np.zeros(len(new), dtype=bool)
    for stream, versions in frozen_limits(session).items():
        here = (new.spindle == stream.spindle) & (new.bore == stream.bore)
        for version in versions:
            late |= here & (new.measured_at >= version.window_from) & (new.measured_at <= version.window_to)
    return late


def log_row(
    store: Store,
    rules: Rules,
    on_disk: SheetFile,
    kind: Kind,
    values: dict[str, str],
    *,
    at: np.datetime64,
) -> FileTaken:
    """Keep one typed row, as a file of one line would be."""
    text = ",".join(values) + "\n" + ",".join(_quoted(v) for v in values.values()) + "\n"
    found = read_text(text, rules.now.sheet, name="typed by hand", kind=kind)
    with store.writing() as session:
        return keep(session, rules, on_disk, found, at=at)


def _quoted(value: str) -> str:
    return '"' + value.replace('"', '""') + '"'


def retry(store: Store, rules: Rules, on_disk: SheetFile, *, at: np.datetime64) -> Sequence[FileTaken]:
    """Try rows set aside again, file by file; those that now serve are marked as taken."""
    done = []
    with store.writing() as session:
        waiting = [
            a for a in session.aside() if not a.retried and a.reason != Reason.CONTRADICTS and a.header
        ]
        for file_id in sorted({a.file_id for a in waiting}):
            mine = [a for a in waiting if a.file_id == file_id]
            text = "\n".join([str(mine[0].header), *(a.text for a in mine)]) + "\n"
            try:
                found = read_text(text, rules.now.sheet, name=f"{mine[0].file}, again", kind=mine[0].kind)
            except FileUnreadable as unreadable:
                done.append(_unreadable(mine[0].file, str(unreadable), 0.0))
                continue
            still = {r.line for r in found.refused}
            served = [a.id for i, a in enumerate(mine) if i + 2 not in still]
            if not served:
                continue
            found = replace(found, refused=(), rows=found.rows - len(still))
            done.append(keep(session, rules, on_disk, found, at=at))
            session.mark_retried(served, file_id=session.newest_file())
    return done
