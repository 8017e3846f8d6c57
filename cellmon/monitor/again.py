"""Rows set aside taken again: those that serve by now, or one as a person wrote it.

What comes in stands beside the row that was set aside, never over it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from cellmon.errors import FileUnreadable, RowStillRefused, WrongUsage
from cellmon.intake import TakenFile, read_text
from cellmon.intake.sheet_file import SheetFile
from cellmon.intake.table import MOST_TEXT
from cellmon.monitor.aside import TAKE_ROW, find_row, subject_of
from cellmon.monitor.row_words import reason_words, row_text
from cellmon.monitor.rules import Rules
from cellmon.monitor.take import FileTaken, RulesOf, keep, not_read, temperatures_settled
from cellmon.records import Batch, Readings, Reason
from cellmon.store import AsideFact, Session, Store
from cellmon.words import say, to_say


def retry(store: Store, rules_of: RulesOf, on_disk: SheetFile, *, at: np.datetime64) -> Sequence[FileTaken]:
    """Try rows set aside again, file by file; those that now serve are marked as taken."""
    done = []
    with store.writing() as session:
        rules = rules_of(session)
        waiting = [a for a in session.aside(waiting=True) if a.header and not _is_in_words(a)]
        for file_id in sorted({a.file_id for a in waiting}):
            mine = [a for a in waiting if a.file_id == file_id]
            text = "\n".join([str(mine[0].header), *(a.text for a in mine)]) + "\n"
            try:
                found = read_text(text, rules.now.sheet, name=f"{mine[0].file}, again", kind=mine[0].kind)
            except FileUnreadable as unreadable:
                done.append(not_read(mine[0].file, str(unreadable), 0.0))
                continue
            still = {r.line for r in found.refused}
            served = [a.id for a, line in zip(mine, _lines_of(mine), strict=True) if line not in still]
            if not served:
                continue
            found = replace(found, refused=(), rows=found.rows - len(still))
            done.append(keep(session, rules, on_disk, found, at=at))
            session.mark_retried(served, file_id=session.newest_file())
    return done


def take_row(
    store: Store,
    rules_of: RulesOf,
    on_disk: SheetFile,
    row: str,
    *,
    text: str,
    unit: str | None,
    by: str,
    why: str,
    at: np.datetime64,
) -> FileTaken:
    """Take one row set aside as a person wrote it: a file of one row that names what it corrects.

    The same words given again change nothing and are told what was done.

    Raises
    ------
    NotFound, WrongUsage
        When there is no such row, it came in already, or what was written is not one row.
    RowStillRefused
        When it cannot be used as it was written either; nothing is kept then.
    """
    text = text.strip("\r\n")
    with store.writing() as session:
        fact = find_row(session, row)
        if fact.retried:
            return _done(session, fact, text)
        rules = rules_of(session)
        found = _read(rules, fact, text, unit)
        temperatures_settled(found, rules)
        taken = keep(session, rules, on_disk, found, at=at)
        if taken.set_aside:
            raise _still_refused(fact, taken.set_aside[0].reason, taken.set_aside[0].text)
        file_id = session.newest_file()
        session.mark_retried(_same_row(session, fact), file_id=file_id)
        body = {
            "file": fact.file,
            "line": fact.line,
            "reason": fact.reason,
            "before": fact.row,
            "text": text,
            "file_id": file_id,
        }
        session.decide(at=at, by=by, why=why, kind=TAKE_ROW, subject=subject_of(fact.id), body=body)
    return taken


def _done(session: Session, fact: AsideFact, text: str) -> FileTaken:
    """Return again what became of a row that came in with these very words."""
    decided = session.decisions(TAKE_ROW, subject=subject_of(fact.id))
    if not decided or decided[-1].body["text"] != text or fact.came_in is None:
        text = to_say("line {line} of {file} was already taken; it waits no longer")
        raise WrongUsage(say(text, line=fact.line, file=fact.file))
    file = session.files_listed(most=1, before=fact.came_in + 1)[0]
    return FileTaken(
        file=file.name,
        kind=file.kind,
        rows=file.rows,
        taken=file.taken,
        known=file.known,
        set_aside=(),
        flagged=0,
        bores=0,
        signals=0,
        seconds=0.0,
        notes=(say("taken before, as {name} wrote it; nothing was added", name=decided[-1].by),),
    )


def _read(rules: Rules, fact: AsideFact, text: str, unit: str | None) -> TakenFile:
    if not text.strip():
        raise WrongUsage(say("write the row as it should be; an empty one cannot be taken"))
    if is_cut(fact.row) and is_cut(text):
        words = to_say("only the beginning of line {line} of {file} is kept: write it whole")
        raise WrongUsage(say(words, line=fact.line, file=fact.file))
    name = f"{fact.file}, line {fact.line} corrected"
    whole = f"{fact.header}\n{text}\n"
    try:
        found = read_text(whole, rules.now.sheet, name=name, kind=fact.kind, unit=unit)
    except FileUnreadable as unreadable:
        means = say("it {why}.", why=unreadable.why)
        raise RowStillRefused(fact.file, fact.line, "unreadable", means) from unreadable
    if found.rows != 1:
        raise WrongUsage(say("one row is corrected at a time; this is {rows}", rows=found.rows))
    if found.units:
        fits = say(" or ").join(unit.value for unit in found.units)
        text = to_say("its size fits another unit than its own ({units}): say which, or write it in its own.")
        raise RowStillRefused(fact.file, fact.line, found.refused[0].reason, say(text, units=fits))
    if found.refused:
        raise _still_refused(fact, found.refused[0].reason, found.refused[0].text)
    batch = None if found.batch is None else _on_line(found.batch, fact.line)
    return replace(found, batch=batch, texts_on=lambda lines: [text for _ in lines])


def _still_refused(fact: AsideFact, reason: str, text: str) -> RowStillRefused:
    means = reason_words(reason).means
    if reason == Reason.CONTRADICTS:
        said = row_text(reason, text)
        means = f"{means} {said[:1].upper()}{said[1:]}."
    return RowStillRefused(fact.file, fact.line, reason, means)


def _on_line(batch: Batch, line: int) -> Batch:
    """Return the row as standing on the line that it corrects."""
    moved = replace(batch, line=np.full_like(batch.line, line))
    if isinstance(moved, Readings):
        return replace(moved, lines=np.where(moved.lines > 0, line, moved.lines))
    return moved


def _same_row(session: Session, fact: AsideFact) -> list[int]:
    """Return the numbers under which the row waits: another reason may have been found for it later."""
    sha256 = session.sha256_of(fact.file_id)
    return [id_ for id_, line in session.waiting_lines(sha256).items() if line == fact.line]


def _is_in_words(row: AsideFact) -> bool:
    """Return whether what is kept of a row is not the row: words on what it contradicts, or its beginning."""
    return row.reason == Reason.CONTRADICTS or is_cut(row.text)


def is_cut(text: str) -> bool:
    """Return whether the text of a row set aside is only its beginning."""
    return len(text) >= MOST_TEXT and text.endswith("…")


def _lines_of(rows: Sequence[AsideFact]) -> list[int]:
    """Return on which line below a header each row begins; a cell in quotes may span some."""
    lengths = [row.text.count("\n") + 1 for row in rows]
    return [2 + sum(lengths[:i]) for i in range(len(rows))]
