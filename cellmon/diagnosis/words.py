"""One sentence that says why a cause is named: what was seen, what stayed, what speaks against it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Protocol

from cellmon.diagnosis.evidence import Evidence, Logged, Movement
from cellmon.diagnosis.table import Sign

FEATURES = {
    "size_range": "size range",
    "roundness_trace": "roundness on the trace",
    "inscribed_size": "largest inscribed size",
    "cycle_s": "honing time",
    "load_pct": "load",
    "load_ripple_pct": "load ripple",
    "feed_um": "expander position",
    "offsets": "offsets given",
    "part_temp_c": "part temperature",
    "master_temp_c": "master temperature",
    "coolant_temp_c": "coolant temperature",
}
EVENTS = {
    "feed-offset": "an offset",
    "stones-fitted": "fitting of stones",
    "stones-dressed": "a dressing",
    "stones-removed": "removal of stones",
    "gauge-zeroed": "zeroing of the gauge",
    "rerouted": "a reroute",
    "setup-changed": "a change of set-up",
    "master-bad": "a master check that was off",
    "master-good": "a good master check",
    "shift-start": "the start of the shift",
    "dressing-overdue": "a dressing overdue",
}
SCOPES = {
    "all": "on all spindles",
    "spindle": "on one spindle",
    "bore": "in one bore",
    "fixture": "in one bore on one fixture",
}


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
    text = listed(_told(a for a in seen if a.sign.speaks_for))
    still = {f for a in missing if a.sign.speaks_against for f in a.sign.features} & evidence.quiet
    if still:
        text += f", while {listed(map(_feature, sorted(still)))} stayed"
    contrary = _told(a for a in seen if a.sign.speaks_against)
    contrary += [f"no {_bare(a.sign.event)} logged" for a in missing if a.sign.speaks_for and a.sign.event]
    if contrary:
        text += f"; against it: {listed(contrary)}"
    return text[:1].upper() + text[1:] + "."


def movement_words(m: Movement) -> str:
    """Return one movement in words.

    >>> movement_words(Movement(feature="taper", kind="level", scope="spindle", size=5.0))
    'taper up 5.0 sigma on one spindle'
    """
    way = "up" if m.goes_up else "down"
    where = SCOPES[m.scope]
    if m.kind == "spread":
        return f"spread of {_feature(m.feature)} × {m.size:.1f} {where}"
    if m.kind == "routing":
        return f"spindle and bore that do not belong together {where}"
    if m.kind == "gauge":
        return "gauge off its master"
    if m.kind == "limit":
        return f"{_feature(m.feature)} beyond its {'upper' if m.goes_up else 'lower'} limit {where}"
    manner = {"drift": "drifting ", "single": "a single reading "}.get(m.kind, "")
    return f"{_feature(m.feature)} {manner}{way} {abs(m.size):.1f} sigma {where}"


def listed(words: Iterable[str]) -> str:
    """Return words as a list in a sentence.

    >>> listed(["taper", "size", "spread"])
    'taper, size and spread'
    """
    each = list(dict.fromkeys(words))
    return " and ".join(filter(None, [", ".join(each[:-1]), *each[-1:]]))


def _told(answers: Iterable[Told]) -> list[str]:
    told = list(answers)
    return [movement_words(m) for a in told for m in a.moved] + [
        _log_words(a.logged[0]) for a in told if a.logged
    ]


def _bare(event: str) -> str:
    article, _, rest = EVENTS[event].partition(" ")
    return rest if article in ("a", "an", "the") else EVENTS[event]


def _log_words(one: Logged) -> str:
    what = EVENTS[one.event]
    if one.event == "feed-offset" and one.value is not None:
        what += f" of {one.value:+.1f} µm"
    if one.by:
        what += f" by {'the machine' if one.by == 'machine' else one.by}"
    side = "before" if one.minutes_before >= 0 else "after"
    return f"{what} {abs(one.minutes_before):.0f} min {side}"


def _feature(name: str) -> str:
    return FEATURES.get(name, name.replace("_", " "))
