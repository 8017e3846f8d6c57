"""What of some steps of the watch can be worked out before it walks through them, for all streams at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cellmon.drift.columns import Steps

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True, eq=False)
class Ahead:
    """Figures that no detector's memory enters: arrays of shape (steps, streams), lists one a step."""

    here: Flags
    """Whether a stream has a subgroup at a step."""
    gone: Flags
    """Whether it has none."""
    whole: list[bool]
    """Whether all have."""
    both: Floats
    """`n` twice over, shape (steps, 2, streams)."""
    n: Floats
    """Bores; none where there is no subgroup."""
    twice_n: Floats
    n_squared: Floats
    n_or_one: Floats
    walked: Floats
    """Variance that a level gathers by itself."""
    sd_squared: Floats
    has_spread: Flags
    all_have_spread: list[bool]
    df: Floats
    """Degrees of freedom of the subgroup's own spread."""
    df_term: Floats
    """2 / 9 df, as Wilson and Hilferty's cube root takes it; and one less that."""
    less_df_term: Floats
    changed: list[bool]
    """Whether any stream has other stones or another set-up; the lists below alike."""
    dressed: list[bool]
    by_hand: list[bool]
    zeroed: list[bool]

    @classmethod
    def of(cls, steps: Steps, walk: Floats) -> Ahead:
        """Work it out for some steps of streams whose levels walk so much a bore."""
        here = np.isfinite(steps.mean)
        gone = ~here
        n = np.where(here, steps.n, 0.0)
        has_spread = here & np.isfinite(steps.sd) & (n >= 2)
        df_term = 2 / (9 * np.maximum(n - 1, 1.0))
        return cls(
            here=here,
            gone=gone,
            whole=[not gap for gap in _any(gone)],
            both=np.stack((n, n), axis=1),
            n=n,
            twice_n=2 * n,
            n_squared=n * n,
            n_or_one=np.maximum(n, 1.0),
            walked=walk * n,
            sd_squared=np.where(has_spread, steps.sd, 0.0) ** 2,
            has_spread=has_spread,
            all_have_spread=[not gap for gap in _any(~has_spread)],
            df=np.maximum(n - 1, 0.0),
            df_term=df_term,
            less_df_term=1 - df_term,
            changed=_any(steps.changed != 0),
            dressed=_any(steps.dressed != 0),
            by_hand=_any(steps.by_hand != 0),
            zeroed=_any(steps.zeroed != 0),
        )


def _any(there: Flags) -> list[bool]:
    """Return for each step whether a stream has it."""
    return np.asarray(there.any(axis=1), dtype=np.bool_).ravel().tolist()
