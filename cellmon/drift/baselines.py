"""What the windows of many streams taught, and its figures side by side."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from operator import attrgetter

import numpy as np
from numpy.typing import NDArray

from cellmon.drift.wear import FRESH_VAR, FRESH_VAR_OF_WEAR, Learned

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
BEGINS = ("level", "slope", "level_var", "slope_var", "mean_sd", "mean_df", "bore_sd", "bore_df")
"""What of a window the watch begins with."""


class Baselines(tuple[Learned, ...]):
    """What each stream's window taught, in the streams' order.

    Who watches the same streams unit after unit keeps them: their figures are laid side by side once.
    """

    @classmethod
    def of(cls, learned: Iterable[Learned]) -> Baselines:
        """Return them, as they are where they are some already."""
        return learned if isinstance(learned, Baselines) else cls(learned)

    @cached_property
    def figures(self) -> Figures:
        """Their figures, not to be written to."""
        return Figures.of(self)


@dataclass(frozen=True, kw_only=True, eq=False)
class Figures:
    """Figures of baselines, arrays of shape (streams,); micrometres, variances in their square."""

    begins: Floats
    """Shape (8, streams): what the watch begins with, as `BEGINS` names it."""
    centre: Floats
    slope: Floats
    """A bore, as `walk`."""
    walk: Floats
    bore_sd: Floats
    size: Floats
    resets: Flags
    dressed: Floats
    dressed_var: Floats
    """nan where too few dressings were seen to say."""
    unknown_var: Floats
    """What a dressing of which nothing is known leaves, in variances of a mean."""
    set_var: Floats
    """Of the level that other stones begin at."""
    usual_term: Floats
    """2 / 9 df of a subgroup of the usual size, as `variance_ratio` takes it; and its root."""
    usual_root: Floats

    @classmethod
    def of(cls, learned: Sequence[Learned]) -> Figures:
        """Lay them side by side."""
        rows = np.array([_BEGINS(one) for one in learned], dtype=np.float64).reshape(-1, len(BEGINS))
        begins = rows.T.copy()
        size = np.array([float(one.size) for one in learned])
        usual_term = 2 / (9 * np.maximum(size - 1, 1.0))
        return cls(
            begins=begins,
            centre=np.array([one.centre for one in learned]),
            slope=begins[BEGINS.index("slope")],
            walk=np.array([one.walk for one in learned]),
            bore_sd=begins[BEGINS.index("bore_sd")],
            size=size,
            resets=np.array([one.resets for one in learned], dtype=bool),
            dressed=np.array([one.dressed for one in learned]),
            dressed_var=np.array([np.nan if one.dressed_var is None else one.dressed_var for one in learned]),
            unknown_var=np.array([FRESH_VAR_OF_WEAR if one.wears else FRESH_VAR for one in learned]),
            set_var=np.array([max(2 * one.mean_sd, one.spread_of_level) ** 2 for one in learned]),
            usual_term=usual_term,
            usual_root=np.sqrt(usual_term),
        )


_BEGINS = attrgetter(*BEGINS)
