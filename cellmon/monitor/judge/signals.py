"""Signals: consecutive points of one chart beyond the same limit, and what was announced of them.

A signal never reaches across a break of its subgroups. Its name is made from what it is when it is
first announced, and it keeps that name when later rows move its beginning.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from cellmon.charts.shewhart import mean_limits, range_limits
from cellmon.judged import Episodes, Subgroups
from cellmon.monitor.judge.limits import StreamLimits, all_limits, renew_provisional, stream_key
from cellmon.monitor.judge.subgroups import stream_numbers
from cellmon.records import Numbers, Stream, Texts, Whole, no_rows
from cellmon.store import Announcement, Session


def raise_signals(
    session: Session, fresh: Subgroups, units: Sequence[np.datetime64], *, at: np.datetime64
) -> int:
    """Find signals in some units, whose old ones are gone, and anew in streams whose limits moved.

    Parameters
    ----------
    fresh : Subgroups
        All subgroups of those units.
    at : datetime64
        Kept beside what is announced for the first time.

    Returns
    -------
    int
        How many signals are announced for the first time.
    """
    codes, streams = stream_numbers(fresh)
    moved = renew_provisional(session, streams, since=min(units))
    if session.holds_only(units):  # all there is was just cut: nothing need be read back
        return _announce(session, [fresh], at=at)
    kept = np.array([stream not in moved for stream in streams], dtype=bool)
    rest = fresh.select(kept[codes]) if len(fresh) else fresh
    return _announce(session, [rest, _anew(session, moved)], at=at)


def raise_again(session: Session, streams: Collection[Stream], *, at: np.datetime64) -> int:
    """Find the signals of some streams anew over all time, after their limits were frozen."""
    return _announce(session, [_anew(session, streams)], at=at)


def _anew(session: Session, streams: Collection[Stream]) -> Subgroups:
    for stream in streams:
        session.forget_episodes(stream)
    return session.subgroups_of(streams) if streams else no_rows(Subgroups)


def _announce(session: Session, batches: Sequence[Subgroups], *, at: np.datetime64) -> int:
    limits = all_limits(session)
    found = [_episodes(batch, limits) for batch in batches if len(batch)]
    if not found:
        return 0
    episodes, new = _named(session, Episodes.concat(found), at=at)
    session.add(episodes)
    return new


def sides(subgroups: Subgroups, centre: Numbers, sigma: Numbers) -> tuple[Whole, Whole]:
    """Return for each subgroup -1 below, 0 inside, +1 above its limits: of means, of ranges."""
    found = []
    for values, limit in (
        (subgroups.mean, mean_limits(centre, sigma, subgroups.n)),
        (subgroups.range, range_limits(sigma, subgroups.n)),
    ):
        found.append((values > limit.upper).astype(np.int64) - (values < limit.lower).astype(np.int64))
    return found[0], found[1]


def _episodes(subgroups: Subgroups, limits: Mapping[Stream, StreamLimits]) -> Episodes:
    """Return runs of subgroups beyond the same limit of the same chart."""
    codes, streams = stream_numbers(subgroups)
    order = np.lexsort((subgroups.first_at, subgroups.at, codes))
    subgroups, codes = subgroups.select(order), codes[order]
    centre, sigma = np.full(len(codes), np.nan), np.full(len(codes), np.nan)
    for code, stream in enumerate(streams):
        if stream in limits:
            here = codes == code
            centre[here], sigma[here] = limits[stream].over(subgroups.at[here])
    mean_side, range_side = sides(subgroups, centre, sigma)
    means = subgroups.mean - centre
    found = [
        _runs(subgroups, codes, mean_side, "mean", means),
        _runs(subgroups, codes, range_side, "range", subgroups.range),
    ]
    return Episodes.concat(found)


def _runs(subgroups: Subgroups, codes: Whole, side: Whole, chart: str, size: Numbers) -> Episodes:
    _, unit = np.unique(subgroups.unit_start, return_inverse=True)
    key = np.stack([codes, unit, subgroups.segment, side])
    changed = np.concatenate(([True], (key[:, 1:] != key[:, :-1]).any(axis=0)))
    first = np.flatnonzero(changed)
    last = np.concatenate((first[1:], [len(codes)])) - 1
    farthest = side[first] * np.maximum.reduceat(side * size, first) if len(first) else size[first]
    beyond = side[first] != 0
    first, last, farthest = first[beyond], last[beyond], farthest[beyond]
    return Episodes(
        id=np.full(len(first), "", dtype=object),
        part_number=subgroups.part_number[first],
        spindle=subgroups.spindle[first],
        bore=subgroups.bore[first],
        feature=subgroups.feature[first],
        fixture=subgroups.fixture[first],
        chart=np.full(len(first), chart, dtype=object),
        side=side[first],
        unit_start=subgroups.unit_start[first],
        first_at=subgroups.first_at[first],
        at=subgroups.at[first],
        last_at=subgroups.at[last],
        first_part=subgroups.first_part[first],
        part=subgroups.last_part[first],
        last_part=subgroups.last_part[last],
        points=last - first + 1,
        size=farthest,
    )


def _named(session: Session, episodes: Episodes, *, at: np.datetime64) -> tuple[Episodes, int]:
    """Give each episode the name under which it was announced, or announce it now."""
    units = np.unique(episodes.unit_start)
    announced = session.announced(list(units))
    names = [_name(episodes, i) for i in range(len(episodes))]
    known = {a.id for a in announced}
    free = [a for a in announced if a.id not in set(names)]
    new: list[Announcement] = []
    for i, name in enumerate(names):
        if name in known:
            continue
        moved = next((a for a in free if _same_signal(a, episodes, i)), None)
        if moved is not None:
            free.remove(moved)
            names[i] = moved.id
        else:
            new.append(_announcement(name, episodes, i, at=at))
    session.announce(new)
    ids: Texts = np.empty(len(names), dtype=object)
    ids[:] = names
    return replace(episodes, id=ids), len(new)


def _name(episodes: Episodes, i: int) -> str:
    key = f"{stream_key(episodes.stream_of(i))}|{episodes.chart[i]}|{episodes.side[i]}|{episodes.at[i]}"
    return "S-" + hashlib.sha256(key.encode()).hexdigest()[:10]


def _same_signal(announcement: Announcement, episodes: Episodes, i: int) -> bool:
    body = announcement.body
    same = (
        announcement.stream == stream_key(episodes.stream_of(i))
        and announcement.unit_start == episodes.unit_start[i]
    )
    chart = body["chart"] == episodes.chart[i] and body["side"] == int(episodes.side[i])
    begins, ends = np.datetime64(body["first_at"], "us"), np.datetime64(body["last_at"], "us")
    return bool(same and chart and begins <= episodes.last_at[i] and episodes.first_at[i] <= ends)


def _announcement(name: str, episodes: Episodes, i: int, *, at: np.datetime64) -> Announcement:
    body: dict[str, Any] = {
        "chart": episodes.chart[i],
        "side": int(episodes.side[i]),
        "first_at": str(episodes.first_at[i]),
        "at": str(episodes.at[i]),
        "last_at": str(episodes.last_at[i]),
        "first_part": episodes.first_part[i],
        "part": episodes.part[i],
        "last_part": episodes.last_part[i],
        "points": int(episodes.points[i]),
        "size": float(episodes.size[i]),
    }
    return Announcement(
        id=name,
        at=at,
        unit_start=episodes.unit_start[i],
        stream=stream_key(episodes.stream_of(i)),
        body=body,
    )
