"""Where each subgroup of a bore lies in all its features at once, in standard errors."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from cellmon.charts.multivariate import dependent_features, inside_covariance
from cellmon.errors import CellmonError, NotEnoughData, NotFound
from cellmon.judged import Bores, Limit, Subgroups
from cellmon.monitor.grouped import Grouped, grouped, windows_of
from cellmon.monitor.judge.inputs import SIZE
from cellmon.monitor.judge.limits import LEAST_SUBGROUPS
from cellmon.monitor.stream import ERRORS, wear_line
from cellmon.monitor.stream_bores import stream_bores, value_column
from cellmon.monitor.view import View
from cellmon.records import Numbers, Stream
from cellmon.words import say

FEATURES = (SIZE, "taper", "barrel", "twist", "ovality")
"""What is judged together. Roundness restates ovality, and the range of sizes all of them."""


class MadeOfOthers(CellmonError, ValueError):
    """Features that cannot be judged together, as some hardly differ or follow from the others."""

    def __init__(self, names: tuple[str, ...], *, still: bool) -> None:
        listed = say(" and ").join(names)
        if still:
            said = say(
                "{names} hardly differs inside subgroups, so the features of this bore have no joint spread",
                names=listed,
            )
        else:
            said = say(
                "{names} follow from one another, so the features of this bore have no joint spread",
                names=listed,
            )
        super().__init__(said)
        self.names = names


@dataclass(frozen=True, kw_only=True)
class Position:
    """One bore of one spindle: the stream of its size, its limits, and its features' streams by fixture."""

    size: Stream
    limit: Limit
    names: tuple[str, ...]
    streams: Mapping[tuple[str, str | None], Stream]


@dataclass(frozen=True, kw_only=True, eq=False)
class Footing:
    """What a baseline says of all features; `sigma` of single bores, `correlation` of shape (p, p)."""

    subgroups: int
    sigma: Numbers
    correlation: Numbers


@dataclass(frozen=True, kw_only=True, eq=False)
class Placed:
    """Subgroups with all their features; `deviation` in standard errors, shape (subgroups, p)."""

    subgroups: Subgroups
    deviation: Numbers
    left_out: Numbers
    """When those subgroups ended that are left out."""


def position(view: View, *, spindle: str | None, bore: str, part_number: str | None) -> Position:
    """Return one bore position; refusals as `cellmon.monitor.joint.joint`."""
    size = view.find_stream(spindle=spindle, bore=bore, feature=SIZE, part_number=part_number)
    part = view.part_of(size)
    here = (size.part_number, size.spindle, size.bore)
    streams = {(s.feature, s.fixture): s for s in view.streams if (s.part_number, s.spindle, s.bore) == here}
    names = tuple(name for name in FEATURES if name in part.charted and any(f == name for f, _ in streams))
    if len(names) < 2:
        what = say("charted features of {spindle} bore {bore}", spindle=spindle, bore=bore)
        raise NotEnoughData(what, need=2, got=len(names))
    limit = view.baseline(size)
    if limit is None:
        raise NotFound(
            say(
                "{stream} has no limits yet: fewer than {least} subgroups", stream=size, least=LEAST_SUBGROUPS
            )
        )
    return Position(size=size, limit=limit, names=names, streams=streams)


def footing(view: View, place: Position) -> Footing:
    """Return spread and correlation of the features inside the subgroups of the baseline."""
    window = windows_of(view, {place.size: place.limit})[place.size]
    bores = stream_bores(view, place.size, place.limit.window_from, place.limit.window_to)
    away = _from_centres(view, place, bores)
    found = _whole(away, grouped(bores, away[:, 0], window))
    count = len(np.unique(found.subgroup))
    if count < LEAST_SUBGROUPS:
        what = say("baseline subgroups with every feature")
        raise NotEnoughData(what, need=LEAST_SUBGROUPS, got=count)
    inside = inside_covariance(away[found.row], found.subgroup)
    tied = dependent_features(inside)
    if len(tied):
        raise MadeOfOthers(tuple(word_of(place.names[i]) for i in tied), still=len(tied) == 1)
    sigma = np.sqrt(np.diag(inside))
    return Footing(subgroups=count, sigma=sigma, correlation=inside / np.outer(sigma, sigma))


def placed(view: View, place: Position, base: Footing, begin: np.datetime64, end: np.datetime64) -> Placed:
    """Return where the subgroups between two moments lie; size against what the watch expected of it."""
    subgroups = view.session.subgroups(place.size, start=begin, end=end)
    first = subgroups.first_at.min() if len(subgroups) else begin
    bores = stream_bores(view, place.size, first, end)
    away = _from_centres(view, place, bores)
    found = _whole(away, grouped(bores, away[:, 0], subgroups))
    n = np.bincount(found.subgroup, minlength=len(subgroups))
    sums = np.zeros((len(subgroups), len(place.names)))
    np.add.at(sums, found.subgroup, away[found.row])
    with np.errstate(invalid="ignore", divide="ignore"):
        deviation = sums / (np.sqrt(n)[:, None] * base.sigma)
    deviation[:, 0] = _size(view, place, subgroups, deviation[:, 0])
    kept = np.isfinite(deviation).all(axis=1) & (subgroups.flagged == 0) & (n == subgroups.n)
    return Placed(subgroups=subgroups.select(kept), deviation=deviation[kept], left_out=subgroups.at[~kept])


def _size(view: View, place: Position, subgroups: Subgroups, plain: Numbers) -> Numbers:
    """Return the deviations of size from what was expected; from the centre where it was never watched."""
    if not len(subgroups):
        return plain
    wear = wear_line(view, place.size, subgroups.at[0], subgroups.at[-1])
    if wear is None:
        return plain
    where = np.minimum(np.searchsorted(wear.at, subgroups.at), len(wear.at) - 1)
    known = wear.at[where] == subgroups.at
    error = (wear.upper_um[where] - wear.level_um[where]) / ERRORS
    return np.where(known, (subgroups.mean - wear.level_um[where]) / error, np.nan)


def _from_centres(view: View, place: Position, bores: Bores) -> Numbers:
    """Return each bore's features less the centre of its own stream, that of its fixture where it has one."""
    away = np.full((len(bores), len(place.names)), np.nan)
    for i, name in enumerate(place.names):
        for (feature, fixture), stream in place.streams.items():
            if feature != name:
                continue
            mine = np.ones(len(bores), dtype=bool) if fixture is None else bores.fixture == fixture
            centre, _ = view.limits[stream].over(bores.measured_at[mine])
            away[mine, i] = getattr(bores, value_column(view, stream))[mine] - centre
    return away


def _whole(away: Numbers, found: Grouped) -> Grouped:
    """Return the subgroups whose bores have every feature."""
    lacking = ~np.isfinite(away[found.row]).all(axis=1)
    keep = ~np.isin(found.subgroup, found.subgroup[lacking])
    return Grouped(row=found.row[keep], subgroup=found.subgroup[keep])


def word_of(name: str) -> str:
    """Return a feature's name in a sentence."""
    return say("size") if name == SIZE else name
