"""The predictive distribution of the next round: how likely strokes carry a place beyond a size."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

from cellmon.sizing.learned import PLANE_SCATTER, Learned
from cellmon.sizing.strokes import Strokes

Floats = NDArray[np.float64]

NODES, NODE_WEIGHTS = np.polynomial.hermite_e.hermegauss(9)
NODE_WEIGHTS = NODE_WEIGHTS / NODE_WEIGHTS.sum()


@dataclass(frozen=True, kw_only=True, eq=False)
class Outlook:
    """What some strokes would do to each plane: a mixture over the points of the grid.

    Attributes
    ----------
    weight : ndarray, shape (points,)
    size, size_sd : ndarray, shape (points, planes)
        Where the plane stands before the strokes with what is not known of it and of the shares, µm.
    removal : ndarray, shape (points, planes)
        Middle of the removal, µm: log-normal round by round.
    log_sd : ndarray, shape (points,)
        Its scatter, log scale, the round's and the plane's own.
    """

    weight: Floats
    size: Floats
    size_sd: Floats
    removal: Floats
    log_sd: Floats

    def chance_beyond(self, limit_um: ArrayLike, *, shared_um: float = 0.0) -> Floats:
        """Return for each plane the chance that its mean ends larger than a limit, µm from nominal.

        `shared_um` is what all readings may be wrong together: it counts for true sizes, not for readings.
        """
        size_sd = np.hypot(self.size_sd, shared_um)
        limit = np.broadcast_to(np.asarray(limit_um, dtype=np.float64), self.removal.shape[1:])
        left = limit - self.size
        room = left[..., None] - size_sd[..., None] * NODES
        with np.errstate(divide="ignore", invalid="ignore"):
            far = (np.log(self.removal)[..., None] - np.log(room)) / self.log_sd[:, None, None]
        beyond = np.where(room <= 0, 1.0, np.where(self.removal[..., None] <= 0, 0.0, ndtr(far)))
        found: Floats = np.einsum("g,gpn,n->p", self.weight, beyond, NODE_WEIGHTS)
        return found

    def quantile(self, share: float) -> Floats:
        """Return for each plane the size that is passed with a chance of 1 - share, µm from nominal."""
        from scipy.optimize import brentq  # late: slow to import

        found = np.empty(self.removal.shape[1])
        for plane in range(len(found)):
            one = Outlook(
                weight=self.weight,
                size=self.size[:, plane : plane + 1],
                size_sd=self.size_sd[:, plane : plane + 1],
                removal=self.removal[:, plane : plane + 1],
                log_sd=self.log_sd,
            )
            low = float((one.size - 8 * one.size_sd).min()) - 1e-3
            high = float((one.size + 8 * one.size_sd + one.removal * np.exp(8 * one.log_sd[:, None])).max())
            found[plane] = brentq(
                lambda at, one=one: float(one.chance_beyond(at)[0]) - (1 - share), low, high + 1e-3, xtol=1e-3
            )
        return found

    @property
    def expected_um(self) -> Floats:
        """Expected size of each plane after the strokes, µm from nominal."""
        mean = self.size + self.removal
        found: Floats = self.weight @ mean
        return found


def outlook(known: Learned, strokes: Strokes | ArrayLike) -> Outlook:
    """Return what strokes would do, before they are made.

    Parameters
    ----------
    known : Learned
        What the rounds so far taught.
    strokes : Strokes or array_like, shape (3,)
        Strokes by zone.

    Notes
    -----
    Scatter is log-normal here, so that its upper tail is not thinner than a hand's; what is not known of
    size and shares is normal. The filter that learns takes both as normal with the same deviation.
    """
    counts = strokes.counts if isinstance(strokes, Strokes) else np.asarray(strokes, dtype=np.float64)
    p, rate = known.planes, np.exp(known.log_rate)
    shares = np.maximum(known.mean[:, p:], 0.0).reshape(len(rate), 3, p)
    removal = rate[:, None] * np.einsum("z,gzp->gp", counts, shares)
    weights = np.zeros((len(rate), p, 4 * p))
    for plane in range(p):
        weights[:, plane, plane] = 1.0
        for zone in range(3):
            weights[:, plane, p * (zone + 1) + plane] = rate * counts[zone]
    variance = np.einsum("gpi,gij,gpj->gp", weights, known.cov, weights)
    return Outlook(
        weight=known.weight,
        size=known.mean[:, :p],
        size_sd=np.sqrt(np.maximum(variance, 0.0)),
        removal=removal,
        log_sd=known.scatter * np.sqrt(1 + PLANE_SCATTER**2),
    )
