"""What is wrong, what is switched off, and what differs from the sheet in force."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from cellmon.intake.sheet_file import SheetFile
from cellmon.judged import Alarms, Bores, Doubts, Subgroups
from cellmon.monitor.alike import LikeParts, like_parts
from cellmon.monitor.answers import Answer
from cellmon.monitor.judge import UNITS_AT_ONCE, announce, judge
from cellmon.monitor.judge.told import fingerprint_told
from cellmon.monitor.judge.traced import keep_traced
from cellmon.monitor.rules import Rules
from cellmon.monitor.splits import SplitSummary, splits, summary
from cellmon.monitor.view import View
from cellmon.sheet import Sheet
from cellmon.store import Session, Store
from cellmon.words import say, to_say


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
    "shifts": to_say("no [[shifts]]: subgroups are cut by day and nothing is reported per shift"),
    "spindles": to_say("no [[spindles]]: routing is not checked"),
    "stone_kinds": to_say("no [stones]: nothing is said of wear, life or orders"),
    "planning": to_say("no [planning]: no false-alarm figure, no dates"),
    "checks": to_say("no [checks]: no master check is due, no gauge is suspected"),
    "fit": to_say("no [fit]: nothing is said of clearance"),
    "alarms": to_say("no [alarms]: the budget of false alarms is 2 a week"),
}
BROKEN = to_say("journal: decision {id} was changed after it was written, or the one before it is missing")
SAME = to_say("Derived tables equal what was recomputed from the facts.")


def check(view: View, on_disk: SheetFile, *, rebuilt: str | None) -> Check:
    """Answer with what is switched off, what the sheet should say, what waits to be adopted, and
    whether the journal of decisions is whole."""
    broken = view.session.broken_decision()
    journal = [] if broken is None else [say(BROKEN, id=broken)]
    return Check(
        **view.head(),
        sound=rebuilt in (None, say(SAME)) and broken is None,
        switched_off=tuple(
            say(words) for name, words in SWITCHED_OFF.items() if not getattr(on_disk.sheet, name)
        ),
        remarks=(*journal, *_remarks(on_disk.sheet)),
        differs=tuple(differences(view.sheet, on_disk.sheet)),
        rebuilt=rebuilt,
        splits=summary(splits(view)),
        like_parts=like_parts(view),
        why_not={} if rebuilt else {"rebuilt": say("not asked; `--rebuild` compares")},
    )


def _remarks(sheet: Sheet) -> Iterator[str]:
    measuring = sheet.measuring
    if measuring.common_um is None and measuring.reading_um is None:
        yield say("measuring: no uncertainty is stated, so verdicts stand without a guard band")
    elif measuring.uncertainty_um is not None:
        yield say(
            "measuring.uncertainty_um: {size} µm (k = 2) is taken as common for size and as that of one "
            "reading for form",
            size=measuring.uncertainty_um,
        )
    if measuring.temperature is None:
        yield say("measuring.temperature: not said; it must be once temperatures appear in a file")
    for part in sheet.parts:
        if measuring.temperature == "correct" and part.expansion is None:
            text = to_say("part {part}: no expansion is known for {material}, so nothing is corrected")
            yield say(text, part=part.number, material=repr(part.material))
        if part.length_mm is None:
            yield say("part {part}: no length_mm, so no figure over the whole bore", part=part.number)
    if len(measuring.directions) == 2:
        yield say(
            "measuring.directions: two directions see an oval only as far as it lies along them, "
            "no three-lobed form, and take four lobes for size"
        )


def differences(in_force: Sheet, on_disk: Sheet) -> Iterator[str]:
    """Yield each key that judges and stands otherwise on disk, with both values."""
    yield from _walk("", json.loads(in_force.judging()), json.loads(on_disk.judging()))


def _walk(path: str, before: Any, after: Any) -> Iterator[str]:
    if isinstance(before, dict) and isinstance(after, dict):
        for key in sorted({*before, *after}):
            yield from _walk(f"{path}.{key}".lstrip("."), before.get(key), after.get(key))
    elif _are_named(before) and _are_named(after):
        known, new = ({_name(one): one for one in some} for some in (before, after))
        for name in dict.fromkeys([*known, *new]):
            yield from _walk(f"{path}[{name}]", known.get(name), new.get(name))
    elif before != after:
        text = to_say("{key}: {before} in force, {after} on disk")
        yield say(text, key=path, before=json.dumps(before), after=json.dumps(after))


def _are_named(value: Any) -> bool:
    """Return whether a value is a list of tables that each carry a name of their own."""
    if not isinstance(value, list) or not all(isinstance(one, dict) for one in value):
        return False
    names = [_name(one) for one in value]
    return bool(names) and None not in names and len(set(names)) == len(names)


def _name(table: dict[str, Any]) -> Any:
    return next((table[key] for key in ("number", "id", "name") if table.get(key) is not None), None)


def rebuild(store: Store, rules_of: Callable[[Session], Rules], *, at: np.datetime64) -> str:
    """Recompute everything derived and say whether it equals what stood.

    What was recomputed stays, which heals a difference; nothing of the facts is touched but for
    signals that were never announced.
    """
    with store.writing() as session:
        before = fingerprint(session)
        rebuild_in(session, rules_of(session), at=at)
        after = fingerprint(session)
    differing = [name for name in before if before[name] != after.get(name)]
    if not differing:
        return say(SAME)
    return say("Differences were found and mended in: {tables}.", tables=", ".join(differing))


def rebuild_in(session: Session, rules: Rules, *, at: np.datetime64) -> None:
    """Throw away everything derived and judge all of it again, a stretch at a time."""
    moments = session.reading_moments()
    session.forget_all()
    session.keep_measured()
    keep_traced(session, rules)
    units = rules.units(moments) if len(moments) else []
    for begin in range(0, len(units), UNITS_AT_ONCE):
        judge(session, rules, units[begin : begin + UNITS_AT_ONCE], at=at)
    announce(session, rules, at=at)


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
    found["traces"] = _hash(map(str, session.traced()))
    found["limits"] = _hash(map(str, session.provisional().values()))
    found["counts"] = _hash(map(str, session.counts().items()))
    honed = session.honed_in_units()
    found["bores honed"] = _hash(
        f"{honed.start[i]} {honed.spindle[i]} {honed.part_number[i]} {honed.bores[i]}"
        for i in range(len(honed.start))
    )
    measured = session.measured_sets()
    found["stones measured"] = _hash(f"{name} {rows.digest().hex()}" for name, rows in measured.items())
    return found | fingerprint_told(session)


def _hash(rows: Iterable[str]) -> str:
    return hashlib.sha256("\n".join(sorted(rows)).encode()).hexdigest()
