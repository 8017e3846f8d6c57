"""Independent streams of random numbers, one per cause, all from one seed.

A cause that is taken out of a scenario leaves the numbers of every other cause as they were, so that
two runs differ only by what was planted.
"""

from __future__ import annotations

from dataclasses import dataclass
from zlib import crc32

import numpy as np


@dataclass(frozen=True, kw_only=True)
class Sources:
    """Hands out the generator of each named cause."""

    seed: int

    def of(self, cause: str) -> np.random.Generator:
        """Return a fresh generator for a cause; the same seed and name give the same numbers."""
        return np.random.default_rng([self.seed, crc32(cause.encode())])
