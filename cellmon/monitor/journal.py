"""The journal: who decided what, when and why, and whether anything of it was changed since."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from cellmon.errors import NotFound
from cellmon.monitor.answers import Answer
from cellmon.monitor.proposals import ALONE, PROPOSE, REFUSE, SIGN, name_of, what_of
from cellmon.monitor.view import View
from cellmon.records import Stream
from cellmon.store import Decision
from cellmon.words import say, to_say

KINDS = {
    "adopt": to_say("sheet put in force"),
    "correct": to_say("doubt decided"),
    "extend": to_say("hold extended"),
    "freeze": to_say("limits frozen"),
    "hand-work": to_say("work by hand told"),
    "people": to_say("account"),
    "propose": to_say("proposed"),
    "refuse": to_say("proposal refused"),
    "respond": to_say("signal answered"),
    "set-up": to_say("set-up released"),
    "sign": to_say("proposal signed"),
    "state": to_say("figures signed"),
    "take-row": to_say("row corrected"),
    "tokens": to_say("token"),
}
"""What the kinds of entries are called; of parts it is said what became of them."""


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One decision; `before` is what held of the same kind about the same thing, None where nothing did."""

    number: int
    at: datetime
    by: str
    why: str
    kind: str
    subject: str
    about: str
    """The subject as people name it."""
    before: Mapping[str, Any] | None
    after: Mapping[str, Any]
    hash: str


@dataclass(frozen=True, kw_only=True)
class Journal(Answer):
    """Every decision in the order taken, and what the chain of hashes says of them."""

    entries: tuple[Entry, ...]
    whole: bool
    broken_at: int | None
    """The first entry that was changed after it was written, or follows one that is gone."""
    last_hash: str | None
    """Written down elsewhere, it proves later that no entry was cut off the end."""


def journal(view: View, *, ends_with: str | None = None) -> Journal:
    """Answer with the whole journal, verified.

    Parameters
    ----------
    view : View
        The cell at one moment.
    ends_with : str, optional
        A hash that was written down earlier; it must still stand in the journal.

    Raises
    ------
    NotFound
        When no entry has that hash: entries were cut off, or the hash is of another cell.
    """
    broken, found = view.session.broken_decision(), view.session.decisions()
    if ends_with is not None and all(one.hash != ends_with for one in found):
        text = to_say("no entry has the hash {hash}: entries are gone, or it is of another cell")
        raise NotFound(say(text, hash=ends_with))
    held: dict[tuple[str, str], Mapping[str, Any]] = {}
    entries = []
    for one in found:
        about = _same_thing(one)
        entries.append(
            Entry(
                number=one.id,
                at=view.local(one.at),
                by=one.by,
                why=one.why,
                kind=one.kind,
                subject=one.subject,
                about=about_of(one),
                before=_before(one, held.get(about)),
                after=one.body,
                hash=one.hash,
            )
        )
        held[about] = one.body
    return Journal(
        **view.head(),
        entries=tuple(entries),
        whole=broken is None,
        broken_at=broken,
        last_hash=found[-1].hash if found else None,
        why_not={} if found else {"last_hash": say("nothing was decided yet")},
    )


def _same_thing(decision: Decision) -> tuple[str, str]:
    """Return what entries share that are about one thing: a proposal and its signature do."""
    if decision.kind == PROPOSE:
        return PROPOSE, name_of(decision)
    return (PROPOSE if decision.kind in (SIGN, REFUSE) else decision.kind), decision.subject


def _before(decision: Decision, held: Mapping[str, Any] | None) -> Mapping[str, Any] | None:
    """Return what held before; of what is proposed or stated each stream says it for itself."""
    if decision.kind not in (PROPOSE, ALONE):
        return held
    return {one["key"]: one["before"] for one in decision.body["streams"]}


def about_of(decision: Decision) -> str:
    """Return the subject of an entry as people name it."""
    if decision.kind == "freeze":
        return Stream(**json.loads(decision.subject)).full
    if decision.kind in (PROPOSE, ALONE):
        what = what_of(decision.subject, len(decision.body["streams"]))
        return f"{name_of(decision)}: {what}" if decision.kind == PROPOSE else what
    return decision.subject
