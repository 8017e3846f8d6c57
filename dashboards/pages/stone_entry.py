"""One stone entry as it was typed on the page: the rows it becomes, and what was done in a sentence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Self

from cellmon.errors import WrongUsage
from cellmon.monitor.stones import StoneSetOf
from cellmon.records import EventKind, Kind
from cellmon.words import say, say_many
from dashboards.pages import parts
from dashboards.pages.stone_sizes import Size

FITTED, DRESSED, REMOVED = (
    EventKind.STONES_FITTED.value,
    EventKind.STONES_DRESSED.value,
    EventKind.STONES_REMOVED.value,
)
MEASURED = "stone-measurement"


@dataclass(frozen=True, kw_only=True)
class Typed:
    """What stands in the fields; "" where nothing does."""

    what: str
    spindle: str
    by: str
    stone_set: str
    when: str
    before: str
    since: str
    kind: str
    why: str
    note: str
    whole: bool
    """Measured with its holder."""
    sizes: tuple[Size, ...] = ()

    @classmethod
    def of(cls, *fields: Any, sizes: Sequence[Size] = ()) -> Self:
        """Make one of the values as the page has them, in the order of the fields."""
        *words, whole = fields
        names = ("what", "spindle", "by", "stone_set", "when", "before", "since", "kind", "why", "note")
        said = {name: str(word or "").strip() for name, word in zip(names, words, strict=True)}
        return cls(**said, whole=bool(whole), sizes=tuple(sizes))


def kind_of(typed: Typed) -> Kind:
    """Return what kind of rows an entry becomes."""
    return Kind.STONE_MEASUREMENTS if typed.what == MEASURED else Kind.EVENTS


def rows_of(typed: Typed, sets: Sequence[StoneSetOf], *, now: str) -> list[dict[str, str]]:
    """Return an entry as rows, as the command line would type them; `now` where it says no time.

    Raises
    ------
    WrongUsage
        Where something is missing: what, in a sentence.
    """
    if not typed.what:
        raise WrongUsage(say("Say what was done."))
    if not typed.by:
        raise WrongUsage(say("Say who did it."))
    at = typed.when or now
    if typed.what == MEASURED:
        return _sizes(typed, at)
    if not typed.spindle:
        raise WrongUsage(say("Say which spindle."))
    name = typed.stone_set or _standing(typed, sets)
    row = {"at": at, "event": typed.what, "spindle": typed.spindle, "stone_set": name, "by": typed.by}
    if typed.what == REMOVED:
        if not typed.why:
            raise WrongUsage(say("Say why it was taken off."))
        return [{**row, "note": f"{typed.why}: {typed.note}" if typed.note else typed.why}]
    more = {"value": typed.since}
    if typed.what == FITTED:
        more = {"value": typed.before, "kind": typed.kind}
    return [{**row, **{column: word for column, word in more.items() if word}}]


def _standing(typed: Typed, sets: Sequence[StoneSetOf]) -> str:
    """Return the one set that stands on the spindle, where it need not be named."""
    if typed.what == FITTED:
        raise WrongUsage(say("Say which set was fitted."))
    on = [one.stone_set for one in sets if one.state == "fitted" and one.spindle == typed.spindle]
    if len(on) > 1:
        raise WrongUsage(
            say("Say which set: {sets} stand on {spindle}.", sets=", ".join(on), spindle=typed.spindle)
        )
    return on[0] if on else ""


def _sizes(typed: Typed, at: str) -> list[dict[str, str]]:
    if not typed.stone_set:
        raise WrongUsage(say("Say which set was measured."))
    if not typed.sizes:
        raise WrongUsage(say("Type the thickness of a stone at one place at least."))
    return [
        {
            "at": at,
            "stone_set": typed.stone_set,
            "stone": one.stone,
            "position": one.place,
            f"thickness_{one.unit}": one.thickness,
            "holder": one.holder,
            "way_up": one.way_up,
            "with_holder": "yes" if typed.whole else "",
            "by": typed.by,
        }
        for one in typed.sizes
    ]


def told_of(typed: Typed, rows: Sequence[dict[str, str]]) -> str:
    """Return what was logged, in one sentence."""
    when, name = _when(rows[0]["at"]), rows[0]["stone_set"]
    said = {"spindle": typed.spindle, "stone_set": name, "when": when, "by": typed.by}
    if typed.what == FITTED:
        return say("Logged: {stone_set} was fitted to {spindle}, {when}, by {by}.", **said)
    if typed.what == REMOVED:
        words = say(
            "Logged: {stone_set} was taken off {spindle} as {why}, {when}, by {by}.", **said, why=typed.why
        )
        return words if name else say("Logged: stones were taken off {spindle}, {when}, by {by}.", **said)
    if typed.what == DRESSED:
        whose = say("Logged: {stone_set} on {spindle} was dressed, {when}, by {by}.", **said)
        return whose if name else say("Logged: stones of {spindle} were dressed, {when}, by {by}.", **said)
    return say_many(
        "Logged: {count} thickness of {stone_set} was measured, {when}, by {by}.",
        "Logged: {count} thicknesses of {stone_set} were measured, {when}, by {by}.",
        len(rows),
        **said,
    )


def _when(at: str) -> str:
    try:
        return parts.when(datetime.fromisoformat(at))
    except ValueError:
        return at
