"""Whether the bores of several streams may be spoken of as one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from cellmon.capability.equality import Test, equal_means, equal_spreads
from cellmon.capability.families import Floats
from cellmon.errors import NotEnoughData
from cellmon.local import number
from cellmon.stats.summary import as_series
from cellmon.words import say, to_say

ALPHA = 0.05
"""Chance that streams that are alike are kept apart; both tests share it."""
LEAST = 25
"""Bores of each stream; fewer cannot show that it differs."""
SMALL_STEP, SMALL_RATIO = 0.1, 1.1
"""A difference of means in standard deviations, and a ratio of spreads, too small to matter."""
TOO_FEW = to_say("{stream} has {bores} bores; {least} are needed to see that it differs.")
ABOVE = to_say("{high} lies {step} standard deviations above {low}: state each for itself.")
WIDER = to_say("{wide} spreads {ratio} times as much as {narrow}: state each for itself.")


@dataclass(frozen=True, kw_only=True)
class Pooling:
    """May the streams be pooled, and why not."""

    may: bool
    means: Test
    spreads: Test
    largest_step: float
    """Between two means, in standard deviations inside a stream."""
    largest_ratio: float
    """Between two standard deviations."""
    highest: str
    lowest: str
    reasons: tuple[str, ...]


def may_pool(streams: Mapping[str, ArrayLike]) -> Pooling:
    """Judge whether streams may be pooled: equal means and equal spreads.

    Streams whose differences are significant but too small to matter (`SMALL_STEP`, `SMALL_RATIO`) may
    be pooled: with thousands of bores no two are equal.

    Parameters
    ----------
    streams : mapping of name to array_like, shape (n,)
        At least two streams of at least `LEAST` bores.

    References
    ----------
    Welch (1951) for means, Brown and Forsythe (1974) for spreads; the limits of what matters are ours.
    """
    samples = {name: as_series(x, what=f"bores of {name}") for name, x in streams.items()}
    if len(samples) < 2:
        raise NotEnoughData("streams to pool", need=2, got=len(samples))
    means, spreads = equal_means(list(samples.values())), equal_spreads(list(samples.values()))
    levels = {name: float(x.mean()) for name, x in samples.items()}
    sds = {name: float(x.std(ddof=1)) for name, x in samples.items()}
    low, *_, high = sorted(levels, key=levels.__getitem__)
    narrow, *_, wide = sorted(sds, key=sds.__getitem__)
    step = (levels[high] - levels[low]) / float(np.sqrt(np.mean(np.square(list(sds.values())))))
    ratio = sds[wide] / sds[narrow]
    reasons = _too_few(samples)
    if means.p_value < ALPHA / 2 and step > SMALL_STEP:
        reasons.append(say(ABOVE, high=high, step=number(step, 1), low=low))
    if spreads.p_value < ALPHA / 2 and ratio > SMALL_RATIO:
        reasons.append(say(WIDER, wide=wide, ratio=number(ratio, 1), narrow=narrow))
    return Pooling(
        may=not reasons,
        means=means,
        spreads=spreads,
        largest_step=step,
        largest_ratio=ratio,
        highest=high,
        lowest=low,
        reasons=tuple(reasons),
    )


def _too_few(samples: Mapping[str, Floats]) -> list[str]:
    fewest = min(samples, key=lambda name: samples[name].size)
    if samples[fewest].size >= LEAST:
        return []
    return [say(TOO_FEW, stream=fewest, bores=samples[fewest].size, least=LEAST)]
