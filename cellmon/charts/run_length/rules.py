"""Run length of means with pattern tests, alone or in any combination: an exact Markov chain.

Points fall into zones between the limits of the tests. What the tests remember is a state of a finite
machine; states that no future can tell apart are merged (Champ and Woodall, 1987, by another road).
Tests of trends compare a point with the one before, so there the chance of a step depends on the point
itself: each state then carries Gauss nodes within its zone, exact but for a polynomial of high degree.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from cellmon.charts.patterns import Test
from cellmon.charts.run_length.distribution import RunLength, alongside
from cellmon.charts.run_length.machines import Machine, machine_of
from cellmon.charts.run_length.trends import step_with_moves

Floats = NDArray[np.float64]


def rules_run_length(
    tests: Sequence[Test], *, shift: float = 0.0, sd: float = 1.0, beside: float = 0.0
) -> RunLength:
    """Return the run length of means judged by pattern tests.

    Parameters
    ----------
    tests : sequence of Test
        Any of them, in any combination.
    shift, sd : float
        True mean and standard deviation of a point, in the standard deviation the chart assumes.
    beside : float
        Chance of a signal at each point of an independent chart beside it, as a range chart.

    References
    ----------
    Champ and Woodall, Technometrics 29 (1987), 393-399, table 1 as a check.

    Examples
    --------
    >>> from cellmon.charts.patterns import FOUR_ZONE_TESTS
    >>> round(rules_run_length(FOUR_ZONE_TESTS).mean, 2)
    91.75
    """
    if not tests or not sd > 0:
        raise ValueError("at least one test, and a standard deviation above 0")
    machine = machine_of(tuple(tests))
    borders = np.array(machine.borders)
    if machine.moves == 2:
        run = step_with_moves(machine.zone, machine.following, borders, shift=shift, sd=sd)
    else:
        edges = ndtr((borders - shift) / sd)
        run = _zone_chain(machine, np.diff(edges, prepend=0.0, append=1.0))
    return alongside(run, beside) if beside else run


def rule_price(tests: Sequence[Test], *, beside: float = 0.0) -> float:
    """Return the points until a false alarm of means judged by these tests, on average.

    >>> from cellmon.charts.patterns import STANDARD_TESTS
    >>> round(rule_price(STANDARD_TESTS))
    93
    """
    return _price(tuple(tests), beside)


@lru_cache(maxsize=128)
def _price(tests: tuple[Test, ...], beside: float) -> float:
    return rules_run_length(tests, beside=beside).mean


def _zone_chain(machine: Machine, chances: Floats) -> RunLength:
    """Return the run length where each point falls into zones with fixed chances."""
    following = machine.following[:, :, 0]
    states = len(following)
    source, zone = np.nonzero(following >= 0)
    step = np.zeros(states * states)
    np.add.at(step, source * states + following[source, zone], chances[zone])
    start = np.zeros(states)
    start[0] = 1.0
    return RunLength(start=start, step=step.reshape(states, states), running=np.ones(states))
