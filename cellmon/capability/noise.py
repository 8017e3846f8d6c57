"""What the noise of the gauge does to an index, and the index of the process alone."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.special import ndtri

from cellmon.capability.indices import Index
from cellmon.errors import NoSpread, NotEnoughData


@dataclass(frozen=True, kw_only=True)
class WithoutNoise:
    """An index as it was seen and as it would be seen with a perfect gauge."""

    seen: float
    process: Index
    """Of the bores themselves."""
    bound: float
    """What the index of the process exceeds with the one-sided confidence of claims."""
    noise_share: float
    """Share of the variance seen that is the gauge's."""


def without_noise(
    index: float,
    *,
    sd: float,
    n: float,
    df: float,
    gauge_sd: float,
    gauge_df: float | None = None,
    confidence: float = 0.95,
    claim_confidence: float = 0.975,
) -> WithoutNoise:
    """Return the index of normal bores with the random error of the gauge taken out.

    Variances add, so that of the bores is what was seen less that of the gauge. The claim still rests
    on the index seen: taking noise out can only raise it.

    Parameters
    ----------
    index : float
        Seen, towards the governing limit: distance of the mean over 3 sd.
    sd : float
        The spread it rests on.
    n, df : float
        Bores behind the mean, degrees of freedom of the spread.
    gauge_sd : float
        Standard deviation of one reading of one bore, in the unit of `sd`.
    gauge_df : float, optional
        Its degrees of freedom; without, it is taken as known.

    Raises
    ------
    NoSpread
        When the gauge's noise is all that is seen.

    References
    ----------
    Variances of independent errors add (JCGM 100:2008, 5.1); the interval is by the delta method on
    log(index) for the spread and exact for the mean, its coverage simulated.
    """
    if n < 2:
        raise NotEnoughData("bores for an index", need=2, got=int(n))
    if gauge_sd < 0:
        raise ValueError(f"a gauge_sd of at least 0, not {gauge_sd}")
    own = sd * sd - gauge_sd * gauge_sd
    if not own > 0:
        raise NoSpread("bores beyond the noise of the gauge")
    process = index * sd / math.sqrt(own)
    variance = (sd * sd / own) / (9 * n) + process**2 * _log_variance(sd, own, df, gauge_sd, gauge_df)
    scale = math.sqrt(1 / 9 + process * process / 2)
    error = math.sqrt(variance) / scale
    half = float(ndtri((1 + confidence) / 2)) * error
    return WithoutNoise(
        seen=index,
        process=Index(
            value=process, low=_moved(process, -half), high=_moved(process, half), confidence=confidence
        ),
        bound=_moved(process, -float(ndtri(claim_confidence)) * error),
        noise_share=gauge_sd * gauge_sd / (sd * sd),
    )


def _log_variance(sd: float, own: float, df: float, gauge_sd: float, gauge_df: float | None) -> float:
    """Return the variance of the logarithm of the spread of the bores themselves."""
    seen = sd**4 / (2 * df)
    gauge = 0.0 if gauge_df is None else gauge_sd**4 / (2 * gauge_df)
    return (seen + gauge) / (own * own)


def _moved(index: float, by: float) -> float:
    """Move an index on the scale where its error hardly depends on it (see `intervals.steadied`)."""
    root = math.sqrt(2)
    return math.sinh(math.asinh(3 * index / root) + by / root) * root / 3
