"""What happened to a block, in order of time: honed, measured, looked at, held, decided."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from cellmon.local import dated
from cellmon.monitor.part_bores import PartMeasurement
from cellmon.monitor.part_signals import Disposition, PartSignal
from cellmon.monitor.traced_bore import BoreTraces
from cellmon.records import Verdict
from cellmon.words import say, say_many

TOGETHER = timedelta(minutes=3)
"""The same thing done to several bores within so long is told once."""


@dataclass(frozen=True, kw_only=True)
class PartEvent:
    """One thing that happened; `look` where a person should look."""

    at: datetime
    what: str
    """`honed`, `measured`, `audited`, `found`, `traced`, `signalled`, `answered` or `decided`."""
    words: str
    look: bool = False


@dataclass(frozen=True, kw_only=True)
class Noted:
    """What another instrument or an eye gave, as far as its telling needs."""

    at: datetime
    bore: str
    what: str
    words: str


@dataclass(frozen=True, kw_only=True)
class _Done:
    at: datetime
    what: str
    how: str
    bore: str
    look: bool = False


def happened(
    measurements: Sequence[PartMeasurement],
    noted: Sequence[Noted],
    traces: Sequence[BoreTraces],
    held: Sequence[PartSignal],
    given: Sequence[Disposition],
) -> tuple[PartEvent, ...]:
    """Return everything that happened to a block, oldest first."""
    done = [*_honed(measurements), *_measured(measurements), *_seen(noted), *_traced(traces)]
    began = min(m.honed_at or m.at for m in measurements)
    found = [*_told_once(sorted(done, key=lambda d: (d.at, d.what, d.bore))), *_held(held, began)]
    found += [PartEvent(at=d.at, what="decided", words=_decided(d)) for d in given]
    order = ("honed", "measured", "audited", "found", "traced", "signalled", "answered", "decided")
    return tuple(sorted(found, key=lambda e: (e.at, order.index(e.what))))


def _decided(one: Disposition) -> str:
    return say(
        "{as_} by {by}, for {signal}: {why}", as_=say(one.as_), by=one.by, signal=one.signal, why=one.why
    )


def _honed(measurements: Sequence[PartMeasurement]) -> Iterator[_Done]:
    told: set[tuple[str, datetime]] = set()
    for m in measurements:
        if m.honed_at is None or (m.bore, m.honed_at) in told:
            continue
        told.add((m.bore, m.honed_at))
        yield _Done(at=m.honed_at, what="honed", how=_how_honed(m), bore=m.bore)


def _how_honed(m: PartMeasurement) -> str:
    known = {"spindle": m.spindle, "stones": m.stone_set, "fixture": m.fixture}
    if m.stone_set and m.fixture:
        return say("honed by {spindle} with {stones} on fixture {fixture}", **known)
    if m.stone_set:
        return say("honed by {spindle} with {stones}", **known)
    if m.fixture:
        return say("honed by {spindle} on fixture {fixture}", **known)
    return say("honed by {spindle}", **known)


def _measured(measurements: Sequence[PartMeasurement]) -> Iterator[_Done]:
    for m in measurements:
        how = say("measured by {gauge}", gauge=m.gauge)
        if m.stage != "finish":
            how = say("{how}, stage {stage}", how=how, stage=m.stage)
        how += f", {m.operator}" if m.operator else ""
        outside = m.verdict is Verdict.DOES_NOT_CONFORM
        how = say("{how}: {verdict}", how=how, verdict=say(m.verdict.value))
        yield _Done(at=m.at, what="measured", how=how, bore=m.bore, look=outside)


def _seen(noted: Sequence[Noted]) -> Iterator[_Done]:
    for note in noted:
        what = "found" if note.what == "finding" else "audited"
        yield _Done(at=note.at, what=what, how=note.words, bore=note.bore)


def _traced(traces: Sequence[BoreTraces]) -> Iterator[_Done]:
    for t in traces:
        if t.at is not None and t.planes:
            how = say_many("traced in {count} plane", "traced in {count} planes", len(t.planes))
            bad = any(f.verdict is Verdict.DOES_NOT_CONFORM for f in t.figures)
            how = say("{how}: {verdict}", how=how, verdict=say("does not conform")) if bad else how
            yield _Done(at=t.at, what="traced", how=how, bore=t.bore, look=bad)


def _told_once(done: Sequence[_Done]) -> Iterator[PartEvent]:
    """Tell what was done to several bores at about one time in one line."""
    open_: list[list[_Done]] = []
    for one in done:
        mine = next(
            (
                g
                for g in reversed(open_)
                if (g[0].what, g[0].how) == (one.what, one.how) and one.at - g[0].at <= TOGETHER
            ),
            None,
        )
        if mine is None:
            open_.append([one])
        else:
            mine.append(one)
    for group in open_:
        names = list(dict.fromkeys(one.bore for one in group))
        words = f"{_bores(names)}: {group[0].how}"
        yield PartEvent(at=group[0].at, what=group[0].what, words=words, look=any(g.look for g in group))


def _bores(names: Sequence[str]) -> str:
    if len(names) == 1:
        return say("bore {bore}", bore=names[0])
    return say("bores {bores}", bores=", ".join(names))


def _held(held: Sequence[PartSignal], began: datetime) -> Iterator[PartEvent]:
    """Tell of signals when they were raised, or of the block's beginning where they stood then."""
    for s in held:
        named = s.id
        if s.raised_at < began:
            at = dated(s.raised_at)
            named = say("{signal}, raised {at}, stood then", signal=s.id, at=at)
        yield PartEvent(
            at=max(s.raised_at, began),
            what="signalled",
            words=f"{_bores(s.bores)}: {named}: {s.words}",
            look=s.disposition is None,
        )
        if s.response is not None:
            answer = say("seen") if s.response.seen else f"{s.response.cause}; {s.response.action}"
            yield PartEvent(
                at=max(s.response.at, began),
                what="answered",
                words=say(
                    "{signal} answered by {by}: {answer}", signal=s.id, by=s.response.by, answer=answer
                ),
            )
