"""Which signals are those of a stream: found at once, and from state to state, as one by one."""

from __future__ import annotations

from itertools import product
from types import SimpleNamespace

import numpy as np
import pytest

from cellmon.monitor.signals_by_stream import ByStream, tells_of
from cellmon.records import Stream

STREAMS = [
    Stream(part_number="P", spindle=spindle, bore=bore, feature=feature)
    for spindle, bore, feature in product((None, "S1", "S2"), (None, "1", "2"), ("diameter", "taper"))
    if spindle is not None or bore is None
]


def some_signals(rng, count):
    """Return signals with as much as tells whose they are, the newest first."""
    found = []
    for _ in range(count):
        called = [STREAMS[i] for i in rng.choice(len(STREAMS), size=rng.integers(1, 4), replace=False)]
        kind = str(rng.choice(["level", "spread", "gauge"]))
        found.append(SimpleNamespace(stream=called[0], kind=kind, streams=tuple(called)))
    return found


def one_by_one(signals, stream):
    return [i for i, signal in enumerate(signals) if tells_of(signal, stream)]


@pytest.mark.parametrize("seed", range(4))
def test_places_from_state_to_state_are_those_found_one_by_one(seed):
    rng = np.random.default_rng(seed)
    signals, known = some_signals(rng, 30), None
    states = [
        signals,
        [*some_signals(rng, 3), *signals],  # some come
        [*some_signals(rng, 2), *signals[1:]],  # the newest is another now
        [*signals[:5], *some_signals(rng, 1), *signals[5:]],  # one comes late
        signals[:4] + signals[9:],  # some are withdrawn
        [],
        signals,
    ]
    for state in states:
        known = ByStream.of(state, known)
        for stream in STREAMS:
            assert known.places(stream) == one_by_one(state, stream)
            assert known.places(stream) == ByStream.of(state).places(stream)


def test_what_an_earlier_state_found_stays_as_it_was():
    signals = some_signals(np.random.default_rng(9), 12)
    first = ByStream.of(signals[2:])
    before = {stream: first.places(stream) for stream in STREAMS}
    ByStream.of(signals, first)
    ByStream.of(signals[5:], first)
    assert {stream: first.places(stream) for stream in STREAMS} == before
