"""What is wrong, what is switched off, and what differs from the sheet in force."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from cellmon.intake.sheet_file import SheetFile
from cellmon.judged import Alarms, Bores, Doubts, Subgroups
from cellmon.monitor.alike import LikeParts, like_parts
from cellmon.monitor.answers import Answer
from cellmon.monitor.judge import UNITS_AT_ONCE, judge
from cellmon.monitor.rules import Rules
from cellmon.monitor.splits import SplitSummary, splits, summary
from cellmon.monitor.view import View
from cellmon.sheet import Sheet
from cellmon.store import Session, Store


@dataclass(frozen=True, kw_only=True)
class Check(Answer):
    """The sheet and the store; `differs` lists keys that the sheet on disk would change."""

    sound: bool
    switched_off: tuple[str, ...]
    remarks: tuple[str, ...]
    differs: tuple[str, ...]
    rebuilt: str | None
    splits: SplitSummary
    """Streams that fixture, side or order moves lastingly, and what to write in the sheet."""
    like_parts: tuple[LikeParts, ...] = ()
    """Whether the parts that the sheet in force charts together are alike."""


SWITCHED_OFF = {
    "shifts": "no [[shifts]]: subgroups are cut by day and nothing is reported per shift",
    "spindles": "no [[spindles]]: routing is not checked",
    "stone_kinds": "no [stones]: nothing is said of wear, life or orders",
    "planning": "no [planning]: no false-alarm figure, no dates",
    "checks": "no [checks]: no master check is due, no gauge is suspected",
    "fit": "no [fit]: nothing is said of clearance",
    "alarms": "no [alarms]: the budget of false alarms is 2 a week",
}
BROKEN = "journal: decision {id} was changed after it was written, or the one before it is missing"
SAME = "Derived tables equal what was recomputed from the facts."


def check(view: View, on_disk: SheetFile, *, rebuilt: str | None) -> Check:
    """Answer with what is switched off, what the sheet should say, what waits to be adopted, and
    whether the journal of decisions is whole."""
    broken = view.session.broken_decision()
    journal = [] if broken is None else [BROKEN.format(id=broken)]
    return Check(
        **view.head(),
        sound=rebuilt in (None, SAME) and broken is None,
        switched_off=tuple(words for name, words in SWITCHED_OFF.items() if not getattr(on_disk.sheet, name)),
        remarks=(*journal, *_remarks(on_disk.sheet)),
        differs=tuple(_differences(view.sheet, on_disk.sheet)),
        rebuilt=rebuilt,
        splits=summary(splits(view)),
        like_parts=like_parts(view),
        why_not={} if rebuilt else {"rebuilt": "not asked; `--rebuild` compares"},
    )


def _remarks(sheet: Sheet) -> Iterator[str]:
    measuring = sheet.measuring
    if measuring.common_um is None and measuring.reading_um is None:
        yield "measuring: no uncertainty is stated, so verdicts stand without a guard band"
    elif measuring.uncertainty_um is not None:
        yield (
            f"measuring.uncertainty_um: {measuring.uncertainty_um} µm (k = 2) is taken as common for size "
            "and as that of one reading for form"
        )
    if measuring.temperature is None:
        yield "measuring.temperature: not said; it must be once temperatures appear in a file"
    for part in sheet.parts:
        if measuring.temperature == "correct" and part.expansion is None:
            yield f"part {part.number}: no expansion is known for {part.material!r}, so nothing is corrected"
        if part.length_mm is None:
            yield f"part {part.number}: no length_mm, so no figure over the whole bore"
    if len(measuring.directions) == 2:
        yield (
            "measuring.directions: two directions see an oval only as far as it lies along them, "
            "no three-lobed form, and take four lobes for size"
        )


def _differences(in_force: Sheet, on_disk: Sheet) -> Iterator[str]:
    yield from _walk("", json.loads(in_force.judging()), json.loads(on_disk.judging()))


def _walk(path: str, before: Any, after: Any) -> Iterator[str]:
    if isinstance(before, dict) and isinstance(after, dict):
        for key in sorted({*before, *after}):
            yield from _walk(f"{path}.{key}".lstrip("."), before.get(key), after.get(key))
    elif before != after:
        yield f"{path}: {json.dumps(before)} in force, {json.dumps(after)} on disk"


def rebuild(store: Store, rules: Rules, *, at: np.datetime64) -> str:
    """Recompute everything derived and say whether it equals what stood.

    What was recomputed stays, which heals a difference; nothing of the facts is touched but for
    signals that were never announced.
    """
    with store.writing() as session:
        before = fingerprint(session)
        rebuild_in(session, rules, at=at)
        after = fingerprint(session)
    differing = [name for name in before if before[name] != after[name]]
    return SAME if not differing else f"Differences were found and mended in: {', '.join(differing)}."


def rebuild_in(session: Session, rules: Rules, *, at: np.datetime64) -> None:
    """Throw away everything derived and judge all of it again, a stretch at a time."""
    moments = session.reading_moments()
    session.forget_all()
    units = rules.units(moments) if len(moments) else []
    for begin in range(0, len(units), UNITS_AT_ONCE):
        judge(session, rules, units[begin : begin + UNITS_AT_ONCE], at=at)


def fingerprint(session: Session) -> dict[str, str]:
    """Return a hash of each derived table, the same for the same content in any order of rows."""
    found: dict[str, str] = {}
    batches: dict[str, Bores | Subgroups | Doubts | Alarms] = {
        "bores": session.bores(),
        "subgroups": session.subgroups(),
        "doubts": session.doubts(),
        "signals": session.alarms(),
        "subgroups together": session.together(),
    }
    for name, batch in batches.items():
        columns = [getattr(batch, c.name).astype(str) for c in batch.columns()]
        found[name] = _hash("\x1f".join(cells) for cells in zip(*columns, strict=True))
    places = [session.watched_at(unit) or b"" for unit in session.units_watched()]
    found["detectors"] = hashlib.sha256(b"".join(places)).hexdigest()
    found["limits"] = _hash(map(str, session.provisional().values()))
    found["counts"] = _hash(map(str, session.counts().items()))
    return found


def _hash(rows: Iterable[str]) -> str:
    return hashlib.sha256("\n".join(sorted(rows)).encode()).hexdigest()
