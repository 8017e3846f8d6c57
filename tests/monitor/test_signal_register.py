"""The register of signals: from state to state what sorting all of them anew makes, each at its age."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import product

import numpy as np
import pytest

from cellmon.monitor.signal_register import (
    ANSWERED,
    EVERY,
    LONG_AGO,
    STANDING,
    WAIT,
    WITHDRAWN,
    Register,
    tells_of,
)
from cellmon.monitor.signals import WAITING, Response, Signal
from cellmon.records import Stream

BEGUN = datetime(2026, 3, 2, 6, tzinfo=UTC)
STREAMS = [
    Stream(part_number="P", spindle=spindle, bore=bore, feature=feature)
    for spindle, bore, feature in product((None, "S1", "S2"), (None, "1", "2"), ("diameter", "taper"))
    if spindle is not None or bore is None
]
KINDS = ("level", "spread", "gauge")


def one_signal(rng, name):
    """Return a signal of some streams, raised and perhaps answered at some minute."""
    called = [STREAMS[i] for i in rng.choice(len(STREAMS), size=rng.integers(1, 4), replace=False)]
    raised = BEGUN + timedelta(minutes=int(rng.integers(0, 400)))
    response, state = None, str(rng.choice(["open", "open", "answered", "withdrawn"]))
    if state == "answered":
        at = raised + timedelta(minutes=int(rng.integers(1, 60)))
        response = Response(cause="stones", action="changed", by="R. Hale", at=at, seen=False)
    return Signal(
        id=name,
        stream=called[0],
        streams=tuple(called),
        raised_at=raised,
        part="B1",
        last_at=raised + timedelta(minutes=5),
        last_part="B2",
        over=bool(rng.integers(0, 2)),
        kind=str(rng.choice(KINDS)),
        detector="",
        size_um=1.0,
        ratio=None,
        state=state,
        words="",
        age_s=0.0,
        response=response,
    )


def shown(signals):
    """Return signals in their order, newest first, each as it stands: looked through one by one."""
    found, came = [], {}
    for signal in sorted(signals, key=lambda s: (s.raised_at, s.id), reverse=True):
        last = came.get((signal.stream, signal.kind))
        if signal.state == "answered" and last is not None and last > signal.response.at:
            found.append(replace(signal, state="reopened"))
        else:
            found.append(signal)
        if signal.state == "open":
            came.setdefault((signal.stream, signal.kind), signal.raised_at)
    return found


def held(register, signals):
    """Hold every pile of a register against all signals, one by one."""
    wanted = shown(signals)
    standing = [s for s in wanted if s.state != "withdrawn"]

    def same(pile, those):
        assert list(reversed(pile)) == those

    same(register.pile(EVERY), wanted)
    same(register.pile(STANDING), standing)
    same(register.pile(WITHDRAWN), [s for s in wanted if s.state == "withdrawn"])
    same(register.pile(WAIT), [s for s in standing if s.state in WAITING])
    same(register.pile(ANSWERED), [s for s in standing if s.state == "answered"])
    for stream in STREAMS:
        same(register.of_stream(stream), [s for s in standing if tells_of(s, stream)])
        same(register.called_by(stream), [s for s in standing if stream in (s.stream, *s.streams)])
        levels = [s.called_until for s in standing if tells_of(s, stream) and s.kind == "level"]
        assert register.level_until(stream) == max(levels, default=LONG_AGO)
    for spindle in ("S1", "S2"):
        at = [s for s in standing if s.state in WAITING and s.stream.spindle in (None, spindle)]
        same(register.waiting_at(spindle), at)
        same(register.lasting_at(spindle), [s for s in at if not s.over])
    assert register.signals == {s.id: s for s in wanted}
    return any(s.state == "reopened" for s in wanted)


@pytest.mark.parametrize("seed", range(6))
def test_from_state_to_state_it_is_what_all_signals_make(seed):
    rng = np.random.default_rng(seed)
    signals = {f"S-{i}": one_signal(rng, f"S-{i}") for i in range(60)}
    register, reopened = Register().changed(signals), 0
    reopened += held(register, signals.values())
    for step in range(12):
        names = [str(name) for name in rng.choice(sorted(signals), size=4, replace=False)]
        changes = {name: one_signal(rng, name) for name in (*names[:2], f"S-new-{step}")}
        before, piles = register, {name: list(pile) for name, pile in register.piles.items()}
        register = register.changed({**changes, names[2]: None, names[3]: None})
        signals = {k: s for k, s in {**signals, **changes}.items() if k not in names[2:]}
        reopened += held(register, signals.values())
        assert piles == before.piles, "an earlier state stays as it was"
    assert reopened
    assert register.changed({}) is register


def test_signals_are_given_their_age_as_they_are_looked_at():
    from cellmon.monitor.signal_register import Aged

    rng = np.random.default_rng(3)
    register = Register().changed({f"S-{i}": one_signal(rng, f"S-{i}") for i in range(9)})
    pile, at = register.pile(EVERY), np.datetime64("2026-03-03T06:00:00", "us")
    aged = Aged(pile, at)
    until = datetime(2026, 3, 3, 6, tzinfo=UTC)
    wanted = [replace(s, age_s=(until - s.raised_at).total_seconds()) for s in reversed(pile)]
    assert list(aged) == wanted and len(aged) == 9
    assert aged[0] is aged[0] and aged[-1] == wanted[-1] and aged[2:5] == tuple(wanted[2:5])
    assert {s.age_s for s in pile} == {0.0}
    with pytest.raises(IndexError):
        aged[9]
