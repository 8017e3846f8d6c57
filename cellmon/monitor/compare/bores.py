"""The bores of one side of a comparison, each with its stretch and the bores since a dressing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from cellmon.errors import NotFound, WrongUsage
from cellmon.judged import Bores
from cellmon.monitor.compare.lives import known_sets, spans_of
from cellmon.monitor.view import View
from cellmon.records import EventKind, Events, Flags, Kind, Numbers, Texts, Times, Whole
from cellmon.shifts import to_utc
from cellmon.words import say, to_say

LOOKED_BACK = np.timedelta64(14, "D")
"""Before a side, for the dressing its first bores followed."""
A_MOMENT = np.timedelta64(1, "us")
RESETS = (EventKind.STONES_DRESSED, EventKind.STONES_FITTED)
NOT_KNOWN = {
    "stone_set": to_say("no stone set {name} is known; there are {names}"),
    "spindle": to_say("no spindle {name} is known; there are {names}"),
    "fixture": to_say("no fixture {name} is known; there are {names}"),
    "lot": to_say("no lot {name} is known; there are {names}"),
}


@dataclass(frozen=True, kw_only=True)
class Side:
    """What is compared: the bores of a time [since, until), a stone set or lot, a spindle, a fixture."""

    since: datetime | None = None
    until: datetime | None = None
    stone_set: str | None = None
    spindle: str | None = None
    fixture: str | None = None
    lot: str | None = None
    """All stone sets of one lot."""

    @property
    def name(self) -> str:
        """What it is called; its time is said only where nothing else names it."""
        said = [
            *([say("set {name}", name=self.stone_set)] if self.stone_set is not None else []),
            *([say("lot {name}", name=self.lot)] if self.lot is not None else []),
            *([say("spindle {name}", name=self.spindle)] if self.spindle is not None else []),
            *([say("fixture {name}", name=self.fixture)] if self.fixture is not None else []),
        ]
        return ", ".join(said) if said else self._time_name()

    def _time_name(self) -> str:
        since, until = (None if at is None else f"{at:%Y-%m-%d %H:%M}" for at in (self.since, self.until))
        if since is not None and until is not None:
            return say("{since} to {until}", since=since, until=until)
        if since is not None:
            return say("from {since}", since=since)
        return say("all bores") if until is None else say("until {until}", until=until)


@dataclass(frozen=True, kw_only=True, eq=False)
class SideBores:
    """Undoubted bores of one side, in order; arrays of shape (n,)."""

    side: Side
    bores: Bores
    stretch: Whole
    """Numbers of shift, stones and dressing that each bore was made in."""
    since: Numbers
    """Bores of its position since the stones were dressed or fitted; nan where the log does not say."""
    doubted: int

    def select(self, rows: Flags) -> SideBores:
        """Return some of them."""
        return replace(
            self, bores=self.bores.select(rows), stretch=self.stretch[rows], since=self.since[rows]
        )


def side_bores(view: View, side: Side) -> SideBores:
    """Return the bores of one side.

    Raises
    ------
    NotFound
        When the cell knows no such stone set, or no bore of such a side.
    WrongUsage
        When its time ends before it begins.
    """
    if side.since is not None and side.until is not None and side.since >= side.until:
        ends = {"since": side.since.isoformat(), "until": side.until.isoformat()}
        raise WrongUsage(say("{since} is not before {until}", **ends))
    start, end = _time_of(view, side)
    resets = _resets(view, start, end)
    found = view.session.bores(
        start=_begin(resets, start),
        end=end,
        spindle=side.spindle,
        stone_sets=_wanted_sets(view, side),
        charted=True,
    )
    made: Times = np.where(np.isnat(found.honed_at), found.measured_at, found.honed_at)
    interval = _intervals(found.spindle, made, resets)
    since = _since(found, made, interval)
    mine = np.ones(len(found), dtype=bool) if start is None else found.measured_at >= start
    if side.fixture is not None:
        mine &= found.fixture == side.fixture
    clean = mine & (found.flags == 0)
    if not clean.any():
        raise NotFound(_none(view, side, int(mine.sum())))
    bores = found.select(clean)
    stretch = numbered(
        bores.spindle.astype(str),
        bores.shift_start.astype(np.int64),
        bores.stone_set.astype(str),
        interval[clean],
    )
    return SideBores(
        side=side, bores=bores, stretch=stretch, since=since[clean], doubted=int((mine & ~clean).sum())
    )


def shared(first: SideBores, second: SideBores) -> int:
    """Return how many bores stand on both sides."""
    one, two = (
        set(zip(s.bores.part, s.bores.bore, s.bores.measured_at, strict=True)) for s in (first, second)
    )
    return len(one & two)


def sets_of(side: SideBores) -> tuple[str, ...]:
    """Return the stone sets that ran on one side."""
    return tuple(sorted({str(s) for s in side.bores.stone_set.tolist() if s}))


def _time_of(view: View, side: Side) -> tuple[np.datetime64 | None, np.datetime64]:
    """Return from when and until when a side may have bores."""
    start = None if side.since is None else to_utc(side.since)
    end = view.as_of if side.until is None else min(to_utc(side.until) - A_MOMENT, view.as_of)
    spans = [spans_of(view, name) for name in _wanted_sets(view, side) or ()]
    if not spans or not all(len(s.begins) for s in spans):  # of some no fitting is logged; files may name it
        return start, end
    first: np.datetime64 = min(s.begins.min() for s in spans)
    return first if start is None else max(start, first), min(end, max(s.ends.max() for s in spans))


def _wanted_sets(view: View, side: Side) -> list[str] | None:
    """Return the stone sets that a side names, by itself or by its lot; None where it names none."""
    if side.stone_set is not None:
        return [side.stone_set]
    if side.lot is None:
        return None
    stock = view.session.rows(Kind.STONE_SETS)
    return sorted(set(stock.stone_set[stock.lot == side.lot].tolist()))


def known_names(view: View) -> dict[str, tuple[str, ...]]:
    """Return the names that the cell knows of what a side may be, by the field of `Side`, each in order."""
    return {
        "stone_set": tuple(known_sets(view)),
        "spindle": tuple(sorted({s.spindle for s in view.streams if s.spindle})),
        "fixture": tuple(sorted({s.fixture for s in view.streams if s.fixture})),
        "lot": tuple(lots_of(view)),
    }


def lots_of(view: View, stone_sets: Sequence[str] | None = None) -> list[str]:
    """Return the lots that the stock knows, of all sets or of some, in order."""
    stock = view.session.rows(Kind.STONE_SETS)
    known = zip(stock.stone_set.tolist(), stock.lot.tolist(), strict=True)
    return sorted({str(lot) for name, lot in known if lot and (stone_sets is None or name in stone_sets)})


def _resets(view: View, start: np.datetime64 | None, end: np.datetime64) -> Events:
    since = None if start is None else start - LOOKED_BACK
    events: Events = view.session.rows(Kind.EVENTS, start=since, end=end + A_MOMENT)
    return events.select(np.isin(events.event.astype(str), RESETS))


def _begin(resets: Events, start: np.datetime64 | None) -> np.datetime64 | None:
    """Return from when bores are loaded, so that those since the dressing before a side are counted."""
    if start is None:
        return None
    before = resets.select(resets.at <= start)
    last = [before.at[before.spindle == name].max() for name in set(before.spindle.tolist())]
    return min(last, default=start)


def _intervals(spindle: Texts, made: Times, resets: Events) -> Whole:
    """Return the number of the dressing interval of each bore, 0 before the first that is known."""
    found = np.zeros(len(made), dtype=np.int64)
    for name in set(spindle.tolist()):
        here = spindle == name
        at = np.sort(resets.at[resets.spindle == name])
        found[here] = np.searchsorted(at, made[here], side="right")
    return found


def _since(bores: Bores, made: Times, interval: Whole) -> Numbers:
    """Return how many bores of its position were made before each since the dressing."""
    place = numbered(bores.spindle.astype(str), bores.bore.astype(str), interval)
    order = np.lexsort((made, place))
    count = np.unique(place, return_counts=True)[1]
    found = np.empty(len(made))
    found[order] = np.arange(len(made)) - np.repeat(np.cumsum(count) - count, count)
    return np.where(interval > 0, found, np.nan)


def numbered(*columns: Texts | Whole) -> Whole:
    """Number the different rows of some columns."""
    code = np.zeros(len(columns[0]), dtype=np.int64)
    for column in columns:
        number = np.unique(column, return_inverse=True)[1]
        code = np.unique(code * (int(number.max(initial=0)) + 1) + number, return_inverse=True)[1]
    return code.astype(np.int64)


def _none(view: View, side: Side, doubted: int) -> str:
    if doubted:
        return say(
            "{side}: all of its {doubted} bores are doubted (cellmon flags); none is left to compare",
            side=side.name,
            doubted=doubted,
        )
    for name, names in known_names(view).items():
        wanted = getattr(side, name)
        if wanted is not None and wanted not in names:
            return say(NOT_KNOWN[name], name=wanted, names=", ".join(names) or say("none yet"))
    sets = ", ".join(_wanted_sets(view, side) or ()) if side.lot is not None else ""
    if not sets:
        return say("{side}: no bore was measured", side=side.name)
    return say(
        "{side}: no bore was measured on its sets {sets}; how long the sets of each lot last stands in "
        "cellmon stones",
        side=side.name,
        sets=sets,
    )
