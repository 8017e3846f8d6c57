"""How a level wanders from bore to bore: a random walk along times ahead."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Wander:
    """A random walk as its longest waves (Karhunen and Loeve)."""

    waves: Floats
    """Of unit steps; shape (waves, times)."""
    left_out_um2: Floats
    """Variance that the level wanders between two times, and in the waves that are left out."""

    @classmethod
    def of(cls, at: Floats, reach: float, walk_um: float, *, waves: int) -> Wander:
        """Return the longest so many waves over times that end `reach` bores ahead."""
        last, wave = float(at[-1]), (np.arange(waves) + 0.5) * np.pi
        shape = np.sqrt(2 * last) * np.sin(np.multiply.outer(wave, at / last)) / wave[:, None]
        left_out = walk_um**2 * (np.gradient(at) / 6 + 0.7 * reach / (np.pi**2 * waves))
        return cls(waves=shape, left_out_um2=left_out)
