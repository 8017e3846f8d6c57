"""Blocks unlike those before are those that one after another, by means and deviations, finds."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from cellmon.monitor.judge import usual_blocks
from cellmon.monitor.judge.usual_blocks import LEAST_BEFORE, UNLIKE, Blocks, Spread, walked


def some_figures(seed, blocks=120):
    rng = np.random.default_rng(seed)
    keys = np.repeat(np.arange(blocks), rng.integers(1, 5, blocks))
    values = np.exp(0.3 * rng.standard_normal(len(keys))) * np.where(keys % 23 == 22, 9.0, 1.0)
    values[rng.integers(0, len(keys), 3)] = 0.0
    return keys, values


def one_after_another(keys, values, upper):
    """Yield of each block whether it is unlike those before, by Student's t of all their logarithms."""
    usual = np.empty(0)
    for key in dict.fromkeys(keys.tolist()):
        mine = values[keys == key]
        unlike = False
        if len(usual) >= LEAST_BEFORE and (mine > 0).all():
            away = (np.log(mine).mean() - usual.mean()) / usual.std(ddof=1)
            t = away / np.sqrt(1 / len(mine) + 1 / len(usual))
            unlike = stats.norm.isf(stats.t.sf(t, len(usual) - 1)) > UNLIKE
        yield unlike
        if not unlike and mine.max() <= upper:
            usual = np.append(usual, np.log(mine[mine > 0]))


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("at_once", [1, 7, 256])
def test_a_block_is_unlike_those_before_by_the_t_of_its_logarithms(seed, at_once, monkeypatch):
    monkeypatch.setattr(usual_blocks, "AT_ONCE", at_once)
    keys, values = some_figures(seed)
    blocks = Blocks.of(values, keys.tolist(), about=2.0)
    beyond = blocks.most > 15.0
    found = walked(blocks, Spread(), beyond=beyond, compared=True)
    assert found.unlike.tolist() == list(one_after_another(keys, values, 15.0)) and found.unlike.sum() >= 3
    assert not walked(blocks, Spread(), beyond=beyond, compared=False).unlike.any()


@pytest.mark.parametrize("place", [0, 1, 40, 119, 120])
def test_from_what_was_usual_before_a_block_it_goes_on_to_the_last_digit(place):
    keys, values = some_figures(9)
    blocks = Blocks.of(values, keys.tolist(), about=0.7)
    whole = walked(blocks, Spread(), beyond=blocks.most > 15.0, compared=True)
    rest = Blocks.of(values[keys >= place], keys[keys >= place].tolist(), about=0.7)
    later = walked(rest, whole.before(place), beyond=rest.most > 15.0, compared=True)
    assert later.unlike.tolist() == whole.unlike[place:].tolist()
    assert [later.before(i) for i in range(121 - place)] == [whole.before(i) for i in range(place, 121)]


def test_figures_without_a_spread_make_nothing_unlike():
    values = np.full(60, 0.1) * 3  # of which a mean is not quite one of them
    values[50] = 5.0
    blocks = Blocks.of(values, list(range(60)), about=1.2)
    assert not walked(blocks, Spread(), beyond=blocks.most > 9, compared=True).unlike[:51].any()
