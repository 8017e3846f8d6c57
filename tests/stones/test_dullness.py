"""Glazed, loaded, quickly worn or sharp, under both ways of expanding the stones."""

import numpy as np
import pytest

from cellmon.stones.dullness import Face, Honing, dullness

EVERY = 800


def honing(
    seed, *, cycle=0.0, load=0.0, ripple=0.0, usual_cycle=0.0, usual_load=0.0, intervals=4, stock=None
):
    """Return dressing intervals; figures grow over each by `usual`, over the last by the others."""
    rng = np.random.default_rng(seed)
    since = np.tile(np.arange(1.0, EVERY + 1), intervals)
    interval = np.repeat(np.arange(intervals), EVERY)
    last, share = interval == intervals - 1, since / EVERY
    grown = lambda now, usual: 1 + share * np.where(last, now, usual)  # noqa: E731
    noise = lambda sd: 1 + sd * rng.standard_normal(len(since))  # noqa: E731
    return Honing(
        since=since,
        interval=interval,
        cycle_s=38.0 * grown(cycle, usual_cycle) * noise(0.03),
        load_pct=60.0 * grown(load, usual_load) * noise(0.02),
        ripple_pct=3.0 * grown(ripple, 0.0) * noise(0.15),
        stock_um=np.full(len(since), np.nan) if stock is None else np.full(len(since), stock),
    )


@pytest.mark.parametrize(
    ("feed", "moved", "face"),
    [
        ("force", {"cycle": 0.25, "load": -0.1}, Face.GLAZED),
        ("force", {"cycle": 0.02, "load": 0.25, "ripple": 0.8}, Face.LOADED),
        ("force", {"cycle": 0.25, "load": 0.3}, Face.UNCLEAR),
        ("force", {"cycle": 0.02}, Face.SHARP),
        ("force", {"load": 0.25}, Face.SHARP),
        ("feed", {"load": 0.25}, Face.GLAZED),
        ("feed", {"load": 0.25, "ripple": 0.8}, Face.LOADED),
        ("feed", {"cycle": 0.25, "load": 0.01}, Face.SHARP),
        ("feed", {"load": -0.2}, Face.SHARP),
    ],
)
def test_the_same_fault_shows_with_opposite_signs_by_the_way_of_expanding(feed, moved, face):
    assert dullness(honing(1, **moved), feed=feed).face is face


def test_what_is_usual_until_dressing_is_not_dull():
    usual = honing(2, cycle=0.24, usual_cycle=0.24)
    found = dullness(usual, feed="force")
    assert found.face is Face.SHARP
    assert found.usual == pytest.approx(0.22, abs=0.03)
    assert dullness(honing(2, cycle=0.5, usual_cycle=0.24), feed="force").face is Face.GLAZED


def test_quick_wear_is_told_only_where_the_face_cuts():
    assert dullness(honing(3), feed="force", wear_ratio=1.5).face is Face.WEARS_FAST
    assert dullness(honing(3, cycle=0.4), feed="force", wear_ratio=1.5).face is Face.GLAZED
    assert dullness(honing(3), feed="force", wear_ratio=1.1).face is Face.SHARP


def test_removal_falls_as_the_cycle_grows():
    found = dullness(honing(4, cycle=0.25, stock=30.0), feed="force")
    assert found.removal is not None and found.removal.value == pytest.approx(-0.18, abs=0.03)


def test_without_figures_it_is_not_known():
    nothing = np.full(10, np.nan)
    empty = Honing(
        since=np.arange(10.0),
        interval=np.zeros(10, dtype=np.int64),
        cycle_s=nothing,
        load_pct=nothing,
        ripple_pct=nothing,
        stock_um=nothing,
    )
    found = dullness(empty, feed="force")
    assert found.face is Face.NOT_KNOWN and found.cycle is None
    assert dullness(empty, feed="feed", wear_ratio=2.0).face is Face.WEARS_FAST


# 300 spindles that change nothing: none is called dull or loaded
def test_sharp_stones_are_left_alone():
    faces = [dullness(honing(seed, intervals=2), feed="force").face for seed in range(300)]
    assert faces.count(Face.SHARP) == 300
