"""The uncertainty budget: what each source adds, their sum, and the expanded uncertainty."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.special import stdtrit

from cellmon.units import UM_PER, LengthUnit


@dataclass(frozen=True, kw_only=True)
class Contribution:
    """One source of doubt: a standard uncertainty (k = 1) with its degrees of freedom."""

    name: str
    u: float
    df: float = math.inf
    source: str = ""
    """Where the figure comes from: measured, or taken from where."""


@dataclass(frozen=True, kw_only=True)
class Combined:
    """The sum of independent contributions."""

    u: float
    df: float

    def expanded(self, confidence: float | None = None) -> float:
        """Return the expanded uncertainty: k = 2, or Student's factor of a two-sided confidence.

        Whole degrees of freedom are taken, rounded down, as the guide does.
        """
        return self.u * self.factor(confidence)

    def factor(self, confidence: float | None = None) -> float:
        """Return the coverage factor."""
        if confidence is None:
            return 2.0
        df = self.df if math.isinf(self.df) else max(math.floor(self.df), 1)
        return float(stdtrit(min(df, 1e9), (1 + confidence) / 2))


def combined(contributions: Sequence[Contribution]) -> Combined:
    """Return the root of the sum of squares, with its effective degrees of freedom.

    References
    ----------
    JCGM 100:2008 (GUM), sections 5.1 and G.4 (Welch and Satterthwaite).

    Examples
    --------
    >>> combined([Contribution(name="a", u=3.0), Contribution(name="b", u=4.0, df=8)])
    Combined(u=5.0, df=19.53125)
    """
    total = math.fsum(c.u**2 for c in contributions)
    below = math.fsum(c.u**4 / c.df for c in contributions)
    return Combined(u=math.sqrt(total), df=total**2 / below if below else math.inf)


def resolution_uncertainty(resolution: float) -> float:
    """Return the standard uncertainty of a value rounded to steps of `resolution`: step / sqrt 12.

    References
    ----------
    JCGM 100:2008, section F.2.2.1.
    """
    return resolution / math.sqrt(12)


def comparison_uncertainty_um(
    nominal_mm: float,
    *,
    part_expansion: float,
    master_expansion: float,
    above_c: float,
    part_c: float,
    master_c: float,
    expansion_share: float,
) -> float:
    """Return the standard uncertainty, micrometres, that temperature leaves in a comparison with a master.

    Parameters
    ----------
    nominal_mm : float
        The diameter.
    part_expansion, master_expansion : float
        Linear expansion, 1/K.
    above_c : float
        How far the parts may be from the temperature at which the gauge reads right, kelvin, positive.
    part_c, master_c : float
        Standard uncertainties of the two temperatures, kelvin.
    expansion_share : float
        Standard uncertainty of each expansion, as a share of it.

    References
    ----------
    JCGM 100:2008, annex H.1, the terms of first order.
    """
    um = UM_PER[LengthUnit.MM] * nominal_mm
    known = math.hypot(part_expansion * part_c, master_expansion * master_c)
    material = expansion_share * abs(above_c) * math.hypot(part_expansion, master_expansion)
    return um * math.hypot(known, material)
