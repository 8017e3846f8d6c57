"""The mixture of all levels a process passed through, each with the spread of bores about it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri

from cellmon.capability.families import Floats
from cellmon.records import Whole

_STEP = 0.01
"""By which the spreads are changed to see how the scores change with them."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Mixture:
    """Levels with a spread about each, in time order, and what changes where a stretch is left out."""

    centre: float
    shape: Floats
    """Levels as found, from their mean."""
    draw: float
    """By how much they are drawn together."""
    spread: Floats
    weight: Floats
    starts: Whole
    """The place of the first level of each stretch."""
    wider: Floats
    """Change of the spread, relative to it, where each stretch is left out."""
    farther: Floats
    """Change of `draw` there."""

    def scores(self, sizes: Floats) -> Floats:
        """Return the normal score of the share below each size, (1 + stretches, sizes)."""
        levels = self.centre + self.draw * self.shape
        below, above = self._shares(sizes, levels, self.spread)
        found = _score(_left_out(below), _left_out(above))
        # how the whole changes with the two spreads that are estimated again without each stretch
        wider = np.zeros(sizes.shape)
        if self.wider.any():
            wider = self._whole(sizes, levels, self.spread * (1 + _STEP)) - found[0]
        farther = self._whole(sizes, self.centre + (self.draw + _STEP) * self.shape, self.spread) - found[0]
        found[1:] += (self.wider[:, None] * wider + self.farther[:, None] * farther) / _STEP
        return found

    def _whole(self, sizes: Floats, levels: Floats, spread: Floats) -> Floats:
        below, above = self._shares(sizes, levels, spread)
        return _score(below.sum(axis=0), above.sum(axis=0))

    def _shares(self, sizes: Floats, levels: Floats, spread: Floats) -> Floats:
        """Return the weight below and above each size, (2, stretches, sizes), exact where small."""
        score = (sizes[None, :] - levels[:, None]) / spread[:, None]
        small = self.weight[:, None] * ndtr(-np.abs(score))
        large = self.weight[:, None] - small
        low = score < 0
        sides = (np.where(low, small, large), np.where(low, large, small))
        return np.array([np.add.reduceat(side, self.starts, axis=0) for side in sides])


def _left_out(parts: Floats) -> Floats:
    whole = parts.sum(axis=0)
    return np.concatenate([whole[None, :], whole - parts])


def _score(below: Floats, above: Floats) -> Floats:
    """Return the normal score of the share below, from the smaller of both shares."""
    total = below + above
    small = np.clip(np.minimum(below, above) / total, 1e-300, 0.5)
    return np.asarray(np.where(below < above, 1.0, -1.0) * ndtri(small), dtype=np.float64)
