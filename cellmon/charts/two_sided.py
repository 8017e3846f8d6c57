"""Cumulative sums of one series, upwards and downwards, of several references side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

SIDES = ((0, 1), (1, -1))
"""Where each side stands, and its sign."""


@dataclass(kw_only=True, slots=True)
class _Both:
    """The sums of one reference, and where each began to rise."""

    reference: float
    sums: list[float]
    rose: list[int]


@dataclass(frozen=True, kw_only=True)
class Passed:
    """A sum beyond its limit: its side, and where it began to rise."""

    side: int
    onset: int


class TwoSided:
    """Sums that begin at nought, or where they stood.

    Parameters
    ----------
    references : sequence of float
        Of each pair of sums, in standard deviations.
    at : int
        The place of the first value that is added.
    sums : sequence of pairs of float, optional
        Where both sides of each stand; what is above nought there rose before `at`, it is not told when.

    References
    ----------
    Page, Continuous inspection schemes, Biometrika 41 (1954), 100-115.
    """

    def __init__(
        self,
        references: Sequence[float],
        *,
        at: int,
        sums: Sequence[tuple[float, float]] | None = None,
    ) -> None:
        begin = [(0.0, 0.0)] * len(references) if sums is None else sums
        self._pairs = [
            _Both(reference=k, sums=[*both], rose=[at - 1 if one else at for one in both])
            for k, both in zip(references, begin, strict=True)
        ]

    @property
    def now(self) -> tuple[tuple[float, float], ...]:
        """Where both sides of each sum stand."""
        return tuple((one.sums[0], one.sums[1]) for one in self._pairs)

    def add(self, i: int, z: float, limits: Sequence[float]) -> Passed | None:
        """Add the deviate at a place to every sum; return the one farthest beyond its limit there."""
        best, found = 1.0, None
        for one, limit in zip(self._pairs, limits, strict=True):
            k, sums = one.reference, one.sums
            for which, side in SIDES:
                before = sums[which]
                if before == 0.0:
                    one.rose[which] = i
                now = before + side * z - k
                if now > 0.0:
                    sums[which] = now
                    if now > best * limit:
                        best, found = now / limit, (side, one.rose[which])
                elif before:
                    sums[which] = 0.0
        return None if found is None else Passed(side=found[0], onset=found[1])
