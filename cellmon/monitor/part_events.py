"""What happened to a block, in order of time: honed, measured, looked at, held, decided."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from cellmon.monitor.part_bores import PartMeasurement
from cellmon.monitor.part_signals import Disposition, PartSignal
from cellmon.monitor.traced_bore import BoreTraces
from cellmon.records import Verdict

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
    found += [
        PartEvent(at=d.at, what="decided", words=f"{d.as_} by {d.by}, for {d.signal}: {d.why}") for d in given
    ]
    order = ("honed", "measured", "audited", "found", "traced", "signalled", "answered", "decided")
    return tuple(sorted(found, key=lambda e: (e.at, order.index(e.what))))


def _honed(measurements: Sequence[PartMeasurement]) -> Iterator[_Done]:
    told: set[tuple[str, datetime]] = set()
    for m in measurements:
        if m.honed_at is None or (m.bore, m.honed_at) in told:
            continue
        told.add((m.bore, m.honed_at))
        with_ = f" with {m.stone_set}" if m.stone_set else ""
        on = f" on fixture {m.fixture}" if m.fixture else ""
        yield _Done(at=m.honed_at, what="honed", how=f"honed by {m.spindle}{with_}{on}", bore=m.bore)


def _measured(measurements: Sequence[PartMeasurement]) -> Iterator[_Done]:
    for m in measurements:
        how = f"measured by {m.gauge}" + (f", stage {m.stage}" if m.stage != "finish" else "")
        how += f", {m.operator}" if m.operator else ""
        outside = m.verdict is Verdict.DOES_NOT_CONFORM
        verdict = {Verdict.CONFORMS: "inside", Verdict.DOES_NOT_CONFORM: "outside"}.get(m.verdict)
        how += f": {verdict or 'not proven inside'}"
        yield _Done(at=m.at, what="measured", how=how, bore=m.bore, look=outside)


def _seen(noted: Sequence[Noted]) -> Iterator[_Done]:
    for note in noted:
        what = "found" if note.what == "finding" else "audited"
        yield _Done(at=note.at, what=what, how=note.words, bore=note.bore)


def _traced(traces: Sequence[BoreTraces]) -> Iterator[_Done]:
    for t in traces:
        if t.at is not None and t.planes:
            planes = f"{len(t.planes)} plane{'s' if len(t.planes) > 1 else ''}"
            bad = Verdict.DOES_NOT_CONFORM in (t.roundness_trace.verdict, t.cylindricity.verdict)
            how = f"traced in {planes}" + (": outside" if bad else "")
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
        bores = f"bore {names[0]}" if len(names) == 1 else f"bores {', '.join(names)}"
        words = f"{bores}: {group[0].how}"
        yield PartEvent(at=group[0].at, what=group[0].what, words=words, look=any(g.look for g in group))


def _held(held: Sequence[PartSignal], began: datetime) -> Iterator[PartEvent]:
    """Tell of signals when they were raised, or of the block's beginning where they stood then."""
    for s in held:
        bores = f"bore {s.bores[0]}" if len(s.bores) == 1 else f"bores {', '.join(s.bores)}"
        stood = f", raised {s.raised_at:%Y-%m-%d %H:%M}, stood then" if s.raised_at < began else ""
        yield PartEvent(
            at=max(s.raised_at, began),
            what="signalled",
            words=f"{bores}: {s.id}{stood}: {s.words}",
            look=s.disposition is None,
        )
        if s.response is not None:
            answer = "seen" if s.response.seen else f"{s.response.cause}; {s.response.action}"
            yield PartEvent(
                at=max(s.response.at, began),
                what="answered",
                words=f"{s.id} answered by {s.response.by}: {answer}",
            )
