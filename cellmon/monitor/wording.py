"""Signals in words."""

from __future__ import annotations

import numpy as np

from cellmon import lengths, local
from cellmon.monitor.judge.calls import SHARE_OF, Called, detector_words
from cellmon.words import say, say_many, to_say

MOVED = {
    ("level", True): to_say("{stream}: moved up by {size} {unit}"),
    ("level", False): to_say("{stream}: moved down by {size} {unit}"),
    ("drift", True): to_say("{stream}: drifts up, {size} {unit} by now"),
    ("drift", False): to_say("{stream}: drifts down, {size} {unit} by now"),
    ("single", True): to_say("{stream}: one bore {size} {unit} above the others"),
    ("single", False): to_say("{stream}: one bore {size} {unit} below the others"),
    ("audit", True): to_say("{stream}: audits moved up by {size} {unit}"),
    ("audit", False): to_say("{stream}: audits moved down by {size} {unit}"),
}
"""By kind, and whether it went up."""
BEYOND_LIMIT = to_say("{stream}: {size} {unit}, beyond its limit ({part})")
UNLIKE = to_say("{stream}: {size} {unit}, unlike those before ({part})")
KINDS = {
    "level": to_say("level"),
    "drift": to_say("drift"),
    "spread": to_say("spread"),
    "single": to_say("single"),
    "limit": to_say("limit"),
    "pattern": to_say("pattern"),
    "routing": to_say("routing"),
    "gauge": to_say("gauge"),
}


def signal_words(stream: str, call: Called, *, kind: str, size: float, unit: str) -> str:
    """Return what a signal of a stream of that name says, in a sentence without its full stop."""
    if call.family == "audit":
        return _audit_words(stream, call, size=size, unit=unit)
    spoken = lengths.unit_of(unit, spoken=True)
    if kind in ("level", "drift") or (kind == "single" and np.isfinite(call.sigma)):
        figure_ = lengths.of(abs(size), unit, 1)
        return say(MOVED[kind, size > 0], stream=stream, size=figure_, unit=spoken)
    if kind == "spread":
        return say("{stream}: spread {times} times the usual", stream=stream, times=local.number(size, 1))
    if kind in ("single", "limit"):
        text = BEYOND_LIMIT if kind == "limit" else UNLIKE
        return say(text, stream=stream, size=lengths.of(size, unit, 2), unit=spoken, part=call.part)
    return _other_words(stream, call, kind=kind, size=size)


def _other_words(stream: str, call: Called, *, kind: str, size: float) -> str:
    if kind == "gauge":
        off = lengths.said(size, 1, sign=True)
        return say("{check} found {size} off", check=detector_words(call.detector), size=off)
    if kind == "pattern":
        return say("{stream}: {rule}", stream=stream, rule=detector_words(call.detector))
    return say_many(
        "{count} bore carries a spindle that does not hone them, from {part} on",
        "{count} bores carry a spindle that does not hone them, from {part} on",
        round(size),
        part=call.part,
    )


def _audit_words(stream: str, call: Called, *, size: float, unit: str) -> str:
    if call.detector.startswith(SHARE_OF):
        text = to_say("{stream}: found in {share} % of the bores of one shift, more than chance gives")
        return say(text, stream=stream, share=figure(size))
    told = lengths.of(abs(size), unit, _digits(size))
    spoken = lengths.unit_of(unit, spoken=True)
    return say(MOVED["audit", size > 0], stream=stream, size=told, unit=spoken)


def figure(value: float) -> str:
    """Return a figure of an audit to two digits that count: texture may be read to a nanometre.

    >>> figure(0.0412), figure(12.34), figure(153.2)
    ('0.041', '12', '153')
    """
    return local.number(value, _digits(value))


def _digits(value: float) -> int:
    """Return how many digits behind the point make two that count."""
    return max(0, 1 - int(np.floor(np.log10(abs(value))))) if value else 0


def short_words(kind: str, *, size: float | None, unit: str, ratio: float | None) -> str:
    """Return what a signal says in a word or two, for the margin of a drawing."""
    if kind in ("level", "drift", "single") and size is not None:
        digits = 1 if abs(size) >= 0.1 else _digits(size)
        told, spoken = lengths.of(size, unit, digits, sign=True), lengths.unit_of(unit, spoken=True)
        return say("{size} {unit}", size=told, unit=spoken)
    if ratio is not None:
        return say("spread × {ratio}", ratio=local.number(ratio, 1))
    return say(KINDS.get(kind, kind))
