"""The pairing list: proved to have most pairs, and to lie nearest, by every pairing of small cases."""

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cellmon.fits import pairing
from cellmon.fits.clearance import Limits
from cellmon.fits.pairing import pair_up

LIMITS = Limits(lower=2.0, upper=4.0)
FEW = st.lists(st.integers(0, 12).map(lambda v: v / 2), min_size=1, max_size=6)


def best_of_all(bores, mates):
    """Return most pairs, and the least sum of squares about the aim among such, trying every pairing."""
    swap = len(bores) > len(mates)
    short, long = (mates, bores) if swap else (bores, mates)
    best = (0, 0.0)
    for chosen in permutations(range(len(long)), len(short)):
        each = [(long[j] - short[i]) if swap else (short[i] - long[j]) for i, j in enumerate(chosen)]
        good = [c for c in each if LIMITS.lower <= c <= LIMITS.upper]
        best = max(best, (len(good), -sum((c - LIMITS.middle) ** 2 for c in good)))
    return best[0], -best[1]


@given(FEW, FEW)
@settings(max_examples=150, deadline=None)
def test_no_pairing_has_more_pairs_or_lies_nearer(bores, mates):
    most, squares = best_of_all(bores, mates)
    found = pair_up(bores, mates, LIMITS)
    assert found.nearest
    assert len(found.bore) == most
    assert sum((found.clearance_um - LIMITS.middle) ** 2) == pytest.approx(squares, abs=1e-9)


@given(FEW, FEW)
@settings(max_examples=150, deadline=None)
def test_many_parts_are_paired_as_often_as_few(bores, mates):
    bore, mate = pairing._most(np.array(bores), np.array(mates), LIMITS)
    assert len(bore) == best_of_all(bores, mates)[0]
    each = np.array(bores)[bore] - np.array(mates)[mate]
    assert ((each >= LIMITS.lower) & (each <= LIMITS.upper)).all()
    assert len(set(bore.tolist())) == len(bore) and len(set(mate.tolist())) == len(mate)


def test_a_long_list_is_paired_without_the_distances(monkeypatch):
    rng = np.random.default_rng(3)
    bores, mates = rng.normal(12, 2, 60), rng.normal(9, 2, 50)
    near = pair_up(bores, mates, LIMITS)
    monkeypatch.setattr(pairing, "MOST_CELLS", 100)
    far = pair_up(bores, mates, LIMITS)
    assert not far.nearest and len(far.bore) == len(near.bore)


@settings(deadline=None)
@given(FEW, FEW, st.floats(-1, 1))
def test_every_part_is_paired_once_or_left(bores, mates, growth):
    found = pair_up(bores, mates, LIMITS, growth_um=growth)
    assert sorted([*found.bore, *found.left_bores]) == list(range(len(bores)))
    assert sorted([*found.mate, *found.left_mates]) == list(range(len(mates)))
    assert found.clearance_um == pytest.approx(
        np.array(bores)[found.bore] + growth - np.array(mates)[found.mate]
    )


def test_a_clearance_aimed_at_one_value_is_paired_too():
    found = pair_up([3.0, 4.0], [1.0, 0.0], Limits(lower=3.0, upper=3.0))
    assert found.bore.tolist() == [0, 1] and found.mate.tolist() == [1, 0]
