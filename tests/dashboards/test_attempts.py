"""How long somebody waits who was wrong too often."""

from __future__ import annotations

import pytest

from dashboards import attempts


class Clock:
    """A clock that stands until it is moved."""

    now = 1_800_000_000.0

    def __call__(self) -> float:
        return self.now


def test_the_wait_never_grows_beyond_a_quarter_of_an_hour_and_is_forgotten():
    clock = Clock()
    counted, key = attempts.Attempts(clock), ("name", "ada")
    for _ in range(60):
        try:
            counted.begin(key)
        except attempts.TooOften as refusal:
            assert refusal.wait_s <= attempts.LONGEST_WAIT_S
            clock.now += refusal.wait_s
    counted.begin(key)
    with pytest.raises(attempts.TooOften, match="15 minutes"):
        counted.begin(key)
    clock.now += attempts.FORGET_S["name"] + attempts.LONGEST_WAIT_S
    for _ in range(attempts.FREE["name"]):
        counted.begin(key)


def test_nobody_waits_longer_because_the_clock_was_put_back():
    clock = Clock()
    counted, key = attempts.Attempts(clock), ("name", "ada")
    for _ in range(attempts.FREE["name"]):
        counted.begin(key)
    clock.now -= 86_400
    with pytest.raises(attempts.TooOften, match="15 seconds"):
        counted.begin(key)
    clock.now += attempts.FIRST_WAIT_S
    counted.begin(key)


def test_many_names_do_not_fill_the_memory(monkeypatch):
    monkeypatch.setattr(attempts, "MOST", 50)
    counted = attempts.Attempts(Clock())
    for i in range(200):
        counted.begin(("name", str(i)))
    assert len(counted._counts) == 50
