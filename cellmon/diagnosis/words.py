"""One sentence that says why a cause is named: what was seen, what stayed, what speaks against it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Protocol

from cellmon import lengths, local
from cellmon.diagnosis.evidence import Evidence, Logged, Movement
from cellmon.diagnosis.table import Sign
from cellmon.records.words import feature_words
from cellmon.words import say, to_say

FEATURES = {
    "size": to_say("size"),
    "roundness_trace": to_say("roundness on the trace"),
    "inscribed_size": to_say("largest inscribed size"),
    "offsets": to_say("offsets given"),
    "coolant_temp_c": to_say("coolant temperature"),
}
"""Names of the table's own; all others are called as in the rest of the program."""
EVENTS = {
    "feed-offset": to_say("an offset"),
    "stones-fitted": to_say("fitting of stones"),
    "stones-dressed": to_say("a dressing"),
    "stones-removed": to_say("removal of stones"),
    "gauge-zeroed": to_say("zeroing of the gauge"),
    "rerouted": to_say("a reroute"),
    "setup-changed": to_say("a change of set-up"),
    "master-bad": to_say("a master check that was off"),
    "master-good": to_say("a good master check"),
    "shift-start": to_say("the start of the shift"),
    "dressing-overdue": to_say("a dressing overdue"),
}
NOT_LOGGED = {
    "feed-offset": to_say("no offset logged"),
    "stones-fitted": to_say("no fitting of stones logged"),
    "stones-dressed": to_say("no dressing logged"),
    "stones-removed": to_say("no removal of stones logged"),
    "gauge-zeroed": to_say("no zeroing of the gauge logged"),
    "rerouted": to_say("no reroute logged"),
    "setup-changed": to_say("no change of set-up logged"),
    "master-bad": to_say("no master check that was off logged"),
    "master-good": to_say("no good master check logged"),
    "shift-start": to_say("no start of the shift logged"),
    "dressing-overdue": to_say("no dressing overdue logged"),
}
SCOPES = {
    "all": to_say("on all spindles"),
    "spindle": to_say("on one spindle"),
    "bore": to_say("in one bore"),
    "fixture": to_say("in one bore on one fixture"),
}
MOVED = {
    ("level", True): to_say("{feature} up {size} sigma {where}"),
    ("level", False): to_say("{feature} down {size} sigma {where}"),
    ("drift", True): to_say("{feature} drifting up {size} sigma {where}"),
    ("drift", False): to_say("{feature} drifting down {size} sigma {where}"),
    ("single", True): to_say("{feature} a single reading up {size} sigma {where}"),
    ("single", False): to_say("{feature} a single reading down {size} sigma {where}"),
    ("limit", True): to_say("{feature} beyond its upper limit {where}"),
    ("limit", False): to_say("{feature} beyond its lower limit {where}"),
}
"""By kind, and whether it went up."""
REASONS = {
    (False, False): to_say("{seen}."),
    (True, False): to_say("{seen}, while {still} stayed."),
    (False, True): to_say("{seen}; against it: {contrary}."),
    (True, True): to_say("{seen}, while {still} stayed; against it: {contrary}."),
}
"""By whether something stayed that speaks for the cause, and whether anything speaks against it."""


class Told(Protocol):
    """An answer to one sign."""

    @property
    def sign(self) -> Sign: ...
    @property
    def moved(self) -> tuple[Movement, ...]: ...
    @property
    def logged(self) -> tuple[Logged, ...]: ...
    @property
    def present(self) -> bool: ...


def reason(answers: Sequence[Told], evidence: Evidence) -> str:
    """Return the evidence for a cause and against it, in one sentence."""
    seen = [a for a in answers if a.present]
    missing = [a for a in answers if not a.present]
    told = _told(a for a in seen if a.sign.speaks_for)
    still = {f for a in missing if a.sign.speaks_against for f in a.sign.features} & evidence.quiet
    contrary = _told(a for a in seen if a.sign.speaks_against)
    contrary += [say(NOT_LOGGED[a.sign.event]) for a in missing if a.sign.speaks_for and a.sign.event]
    text = say(
        REASONS[bool(still), bool(contrary)],
        seen=listed(told),
        still=listed(map(_feature, sorted(still))),
        contrary=listed(contrary),
    )
    return text[:1].upper() + text[1:]


def movement_words(m: Movement) -> str:
    """Return one movement in words.

    >>> movement_words(Movement(feature="taper", kind="level", scope="spindle", size=5.0))
    'taper up 5.0 sigma on one spindle'
    """
    where, feature = say(SCOPES[m.scope]), _feature(m.feature)
    size = local.number(abs(m.size), 1)
    if m.kind == "spread":
        return say("spread of {feature} × {ratio} {where}", feature=feature, ratio=size, where=where)
    if m.kind == "routing":
        return say("spindle and bore that do not belong together {where}", where=where)
    if m.kind == "gauge":
        return say("gauge off its master")
    return say(MOVED[m.kind, m.goes_up], feature=feature, size=size, where=where)


def listed(words: Iterable[str]) -> str:
    """Return words as a list in a sentence.

    >>> listed(["taper", "size", "spread"])
    'taper, size and spread'
    """
    each = list(dict.fromkeys(words))
    if len(each) < 2:
        return "".join(each)
    return say("{some} and {last}", some=", ".join(each[:-1]), last=each[-1])


def _told(answers: Iterable[Told]) -> list[str]:
    told = list(answers)
    return [movement_words(m) for a in told for m in a.moved] + [
        _log_words(a.logged[0]) for a in told if a.logged
    ]


def _log_words(one: Logged) -> str:
    what = say(EVENTS[one.event])
    if one.event == "feed-offset" and one.value is not None:
        what = say("an offset of {size}", size=lengths.said(one.value, 1, sign=True))
    if one.by == "machine":
        what = say("{event} by the machine", event=what)
    elif one.by:
        what = say("{event} by {name}", event=what, name=one.by)
    minutes = local.number(abs(one.minutes_before))
    if one.minutes_before >= 0:
        return say("{event} {minutes} min before", event=what, minutes=minutes)
    return say("{event} {minutes} min after", event=what, minutes=minutes)


def _feature(name: str) -> str:
    return say(FEATURES[name]) if name in FEATURES else feature_words(name)
