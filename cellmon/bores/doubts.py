"""Doubts about single bores and runs of them: a stray reading, a dial misread, planes swapped.

A doubt is raised seldom and settled by a person; nothing is altered here. Each test looks at one bore,
or at neighbouring bores of one gauge, never at the file they came in, so that the order in which
files arrive changes nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cellmon.bores.readings import BLOCK, as_readings
from cellmon.stats.constants import d2

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
MAD_TO_SIGMA = 1.482602218505602
"""Standard deviation of a normal population over its median absolute deviation."""
EVIDENCE = 16.0
"""Log likelihood ratio at which a run is doubted: by chance from one start in 9 million (exp 16)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class DialTurn:
    """For each bore the reading that is off by a turn of the dial."""

    cell: Whole
    """Plane times number of directions plus direction; -1 for none."""
    turn_um: Floats
    """The turn with its sign: what was read too much; nan for none."""


def single_reading(
    um: ArrayLike, *, tolerance_um: float, sigmas: float = 6.0, least_sigma_um: float = 0.0
) -> Whole:
    """Return for each bore the one reading that its companions do not bear out, or -1.

    A reading is doubted that lies from the median of the others of its bore by more than `sigmas` of
    their robust sigma and by more than half the tolerance. Robust sigma is the larger of two: the
    median absolute deviation times 1.4826, and the range over d2; the second keeps five companions
    that agree by luck from doubting a sixth.

    Parameters
    ----------
    um : array_like, shape (bores, planes, directions)
        A bore with fewer than four readings, or one that is nan, is not judged.
    tolerance_um : float
        Width of the size tolerance.
    least_sigma_um : float
        Known spread of readings inside a bore, as a floor for the companions' own.

    Returns
    -------
    ndarray of int64
        Plane times number of directions plus direction, or -1.

    Notes
    -----
    Simulated on a million clean normal bores of six readings: spread inside a bore of a tenth of the
    tolerance or less doubts at most 2 in 100,000 (an eighth, in a cell without any control, 4 in
    10,000). Of readings that are off by 20 um at a tolerance of 24 um, 98 % are found at a spread of
    1.5 um, 89 % at 2 um; of those off by 16 um, 92 % and 71 %; below half the tolerance none is.
    """
    x = as_readings(um)
    flat = x.reshape(len(x), x.shape[1] * x.shape[2])
    result = np.full(len(x), -1, dtype=np.int64)
    if flat.shape[1] < 4:
        return result
    for start in range(0, len(x), BLOCK):
        block = flat[start : start + BLOCK]
        farthest = np.full(len(block), tolerance_um / 2)
        for cell in range(flat.shape[1]):
            away, sigma, _ = _against_companions(block, cell)
            doubted = (np.abs(away) > farthest) & (np.abs(away) > sigmas * np.maximum(sigma, least_sigma_um))
            result[start : start + BLOCK][doubted] = cell
            farthest[doubted] = np.abs(away[doubted])
    return result


def dial_turn(um: ArrayLike, *, turns_um: Sequence[float] = (200.0, 1000.0)) -> DialTurn:
    """Return the one reading of each bore that is off by about a whole turn of the dial.

    About: within a tenth of the turn from the median of its companions plus or minus the turn, while
    the companions lie within a quarter of the turn of one another. Clean bores whose readings spread
    by less than 20 um are never doubted (180 um are nine of their sigmas).

    Parameters
    ----------
    um : array_like, shape (bores, planes, directions)
        A bore with fewer than three readings, or one that is nan, is not judged.
    turns_um : sequence of float
        What one turn of the dials in use measures.
    """
    x = as_readings(um)
    flat = x.reshape(len(x), x.shape[1] * x.shape[2])
    cells, found = np.full(len(x), -1, dtype=np.int64), np.full(len(x), np.nan)
    if flat.shape[1] < 3:
        return DialTurn(cell=cells, turn_um=found)
    # most bores spread far less than any turn: only the others are looked at
    wide = np.flatnonzero(flat.max(axis=1) - flat.min(axis=1) > 0.6 * min(turns_um))
    for cell in range(flat.shape[1]):
        away, _, apart = _against_companions(flat[wide], cell)
        for turn in turns_um:
            off = (np.abs(np.abs(away) - turn) <= turn / 10) & (apart <= turn / 4)
            cells[wide[off]] = cell
            found[wide[off]] = np.sign(away[off]) * turn
    return DialTurn(cell=cells, turn_um=found)


def swapped_planes(
    taper: ArrayLike,
    *,
    template_mean: ArrayLike,
    template_sd: ArrayLike,
    stream: ArrayLike | None = None,
    least_run: int = 6,
) -> NDArray[np.bool_]:
    """Return which bores of one gauge were probably read with top and bottom exchanged.

    A run of neighbouring bores is doubted whose top minus bottom has the size its streams show but
    the other sign. The evidence of a bore is the log likelihood of -template against template; a run
    is taken where its sum passes 16, it has `least_run` bores, and it fits the mirrored template with
    a slope between 0.6 and 1.5. Streams whose template is near nought add no evidence, and cannot be
    told from a swap.

    Parameters
    ----------
    taper : array_like, shape (bores,)
        Top minus bottom, in the order in which one gauge read them, all streams; nan is passed over.
    template_mean, template_sd : array_like, shape (bores,)
        What the stream of each bore usually shows; nan where that is not known.
    stream : array_like of int, optional
        If given, a run must have evidence from two streams or more: a real change of one spindle or
        bore is then never taken for a swap.

    Notes
    -----
    Simulated: none in a million clean bores. A run of 12 swapped bores is found in 97 of 100 cases
    where templates are 1.5 of their sigma, in 82 where they are 1, in 30 where they are 0.75 (a run
    of 40: in 97); its ends may be a bore or two off.
    """
    x, mean, sd = (np.asarray(a, dtype=np.float64) for a in (taper, template_mean, template_sd))
    x, mean, sd = np.broadcast_arrays(x, mean, sd)
    known = np.flatnonzero(np.isfinite(x) & np.isfinite(mean) & (sd > 0))
    streams = None if stream is None else np.asarray(stream)[known]
    weight = 1 / sd[known] ** 2
    product, square = -x[known] * mean[known] * weight, mean[known] ** 2 * weight
    doubted = np.zeros(x.shape, dtype=np.bool_)
    for run in _runs_of_evidence(2 * product):
        slope = float(product[run].sum() / square[run].sum())
        if run.stop - run.start < least_run or not 0.6 <= slope <= 1.5:
            continue
        if streams is not None and _streams_agreeing(2 * product[run], streams[run]) < 2:
            continue
        doubted[known[run]] = True
    return doubted


def swapped_directions(
    ovality: ArrayLike,
    *,
    template_mean: ArrayLike,
    template_sd: ArrayLike,
    stream: ArrayLike | None = None,
    least_run: int = 6,
) -> NDArray[np.bool_]:
    """Return which bores were probably read with the two directions exchanged: see `swapped_planes`."""
    return swapped_planes(
        ovality, template_mean=template_mean, template_sd=template_sd, stream=stream, least_run=least_run
    )


def _against_companions(flat: Floats, cell: int) -> tuple[Floats, Floats, Floats]:
    """Return a reading less the median of its companions, their robust sigma, and their range."""
    others = np.sort(np.delete(flat, cell, axis=1), axis=1)
    count = others.shape[1]
    median = (others[:, (count - 1) // 2] + others[:, count // 2]) / 2
    deviations = np.sort(np.abs(others - median[:, None]), axis=1)
    spread = (deviations[:, (count - 1) // 2] + deviations[:, count // 2]) / 2
    apart = others[:, -1] - others[:, 0]
    return flat[:, cell] - median, np.maximum(MAD_TO_SIGMA * spread, apart / d2(count)), apart


def _runs_of_evidence(evidence: Floats) -> list[slice]:
    """Return the stretches whose summed evidence passes the bar, each as long as it still gains."""
    found, waiting = [], [(0, len(evidence))]
    while waiting:
        start, stop = waiting.pop()
        if stop <= start:
            continue
        total = np.concatenate(([0.0], np.cumsum(evidence[start:stop])))
        gain = total - np.minimum.accumulate(total)
        end = int(gain.argmax())
        if gain[end] < EVIDENCE:
            continue
        # the last place where the sum was at its lowest before the end
        begin = end - int(total[: end + 1][::-1].argmin())
        found.append(slice(start + begin, start + end))
        waiting += [(start, start + begin), (start + end, stop)]
    return sorted(found, key=lambda run: run.start)


def _streams_agreeing(evidence: Floats, streams: NDArray[np.generic]) -> int:
    """Count streams that speak for a swap; any that speaks clearly against it makes the count 0."""
    _, which = np.unique(streams, return_inverse=True)
    sums = np.bincount(which, weights=evidence)
    return 0 if bool((sums < -4).any()) else int((sums > 2).sum())
