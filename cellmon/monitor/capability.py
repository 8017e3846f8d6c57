"""Capability of every stream: indices with intervals, and what forbids the claim."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

from cellmon.errors import NotFound
from cellmon.local import number, significant
from cellmon.monitor.answers import Answer
from cellmon.monitor.audited_bores import LEAST_AUDITED
from cellmon.monitor.capability_pooling import PooledCapability, pooled
from cellmon.monitor.capability_span import Spans
from cellmon.monitor.capability_stream import StreamCapability, of_stream
from cellmon.monitor.statements import Window, with_signatures
from cellmon.monitor.view import View
from cellmon.records import Stream
from cellmon.words import say


@dataclass(frozen=True, kw_only=True)
class CapabilityAnswer(Answer):
    """Every stream with limits; `lower_bound` of each is one-sided at `confidence`."""

    sentence: str
    required: float
    confidence: float
    capability: tuple[StreamCapability, ...]
    pooled: tuple[PooledCapability, ...] = ()
    """Statements over several streams of a feature, where they may be pooled, and why not elsewhere."""
    decided: int = 0
    """The number of the newest decision that it knows."""


def capability(
    view: View,
    *,
    spindle: str | None = None,
    bore: str | None = None,
    feature: str | None = None,
    since: datetime | None = None,
    until: datetime | None = None,
) -> CapabilityAnswer:
    """Answer with the indices of every stream that has limits, over some time.

    By default over the newest whole shifts that hold 6,000 bores of a position, and 90 days at most; with
    fewer than 1,000 the running shift too. `since` asks for more. Doubted bores are left out.
    `stable` needs 25 subgroups and no signal that is open or answered as real in that time.

    Raises
    ------
    NotFound
        When no stream has these names.
    """
    wanted = {"spindle": spindle, "bore": bore, "feature": feature}
    every = (*view.streams, *_audited(view, feature))
    chosen = [s for s in every if all(v in (None, getattr(s, k)) for k, v in wanted.items())]
    if not chosen and any(wanted.values()):
        asked_for = ", ".join(f"{k} {v}" for k, v in wanted.items() if v)
        raise NotFound(say("no stream of {asked_for}", asked_for=asked_for))
    spans = Spans(view, since, until, streams=len(chosen))
    asked = view.sheet.capability
    of_parts = [(own, s) for s in chosen for own in part_streams(view, s)]
    with_limits = [(own, s) for own, s in of_parts if _has_limits(view, own)]
    found = [of_stream(view, own, s, spans) for own, s in with_limits]
    kept = [one for one, (_, s) in zip(found, with_limits, strict=True) if one.row.n or s.like is None]
    rows = with_signatures(view, [one.row for one in kept], Window.of(since, until))
    members = [one.member for one in kept if one.member is not None]
    return CapabilityAnswer(
        **view.head(),
        sentence=_sentence(view, rows, asked.required, spans.sentence(own for own, _ in with_limits)),
        required=asked.required,
        confidence=asked.confidence,
        capability=rows,
        pooled=pooled(members, claim_confidence=asked.confidence),
        decided=view.decided,
    )


def _audited(view: View, feature: str | None) -> tuple[Stream, ...]:
    """Return the streams of other instruments with values enough to be told unasked, or asked for by name."""
    if feature is not None and not any(feature in part.audited for part in view.sheet.parts):
        return ()
    known = sorted(view.audited.items(), key=lambda one: one[0])
    return tuple(s for s, of in known if s.feature == feature or len(of.value) >= LEAST_AUDITED)


def _has_limits(view: View, stream: Stream) -> bool:
    tolerance = view.tolerance(stream)
    return tolerance.lower_um is not None or tolerance.upper_um is not None


def _sentence(view: View, rows: tuple[StreamCapability, ...], required: float, counted: str | None) -> str:
    if not rows:
        return say("No stream with limits has bores in this time.")
    supported = sum(r.claim == "supported" for r in rows)
    known = [r for r in rows if r.ppk is not None and r.ppk.value is not None]
    worst = min(known, key=lambda r: r.ppk.value if r.ppk and r.ppk.value else 0.0, default=None)
    said = say(
        "{supported} of {count} streams support the claim of at least {required}.",
        supported=supported,
        count=len(rows),
        required=significant(required),
    )
    if worst is not None and worst.ppk is not None and worst.ppk.value is not None:
        name, ppk = view.name(worst.stream), number(worst.ppk.value, 2)
        said = " ".join((said, say("The worst is {stream}, Ppk {ppk}.", stream=name, ppk=ppk)))
    return said if counted is None else f"{said} {counted}"


def part_streams(view: View, stream: Stream) -> tuple[Stream, ...]:
    """Return a stream of one part, or for like parts that of each: limits and claims are a part's own."""
    if stream.like is None:
        return (stream,)
    numbers = view.sheet.charted_numbers(stream.part_number)
    return tuple(replace(stream, part_number=number) for number in numbers)
