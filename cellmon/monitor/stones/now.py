"""What is known of all stones at the moment of a view: log, bores, rounds, kinds, and lives left.

Answers and the plan are made from this; it is worked out once a view.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property, partial
from itertools import pairwise
from typing import Any, TypeVar

import numpy as np

from cellmon import lengths
from cellmon.monitor.stones.bores_by import bores_at
from cellmon.monitor.stones.formed import Formed, formed
from cellmon.monitor.stones.honed import Honed
from cellmon.monitor.stones.kinds import KindKnown, SetLife, know_kind, life_of
from cellmon.monitor.stones.log import CHIPPED, STONE_EVENTS, Stay, StoneLog
from cellmon.monitor.stones.log_read import read_log
from cellmon.monitor.stones.looked import Looked
from cellmon.monitor.stones.measured import Rounds, rounds_of
from cellmon.monitor.stones.ranges import GoodBores
from cellmon.monitor.view import View
from cellmon.records import EventKind, Events, Flag, Kind, StoneMeasurements, StoneSets, Stream
from cellmon.sheet import StoneKind
from cellmon.stones.feed import FeedWear, feed_wear
from cellmon.words import voice

Told = TypeVar("Told")


@dataclass(frozen=True, kw_only=True)
class Received:
    """A set as it was received."""

    kind: str | None = None
    maker: str | None = None
    lot: str | None = None
    bores_before: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Seen:
    """The sets of one kind that were ever fitted, how many chipped, and the bores of all."""

    sets: tuple[str, ...]
    chipped: int
    bores: float


@dataclass(frozen=True, kw_only=True, eq=False)
class StonesNow:
    """All stones of the cell; made by `stones_now`."""

    view: View
    received: Mapping[str, Received]
    log: StoneLog
    honed: Honed
    rounds: Mapping[str, Rounds]
    kinds: Mapping[str, KindKnown]
    unknown: tuple[str, ...]
    """Sets that were measured and are neither received nor fitted."""

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Every set, in the order of its first fitting; those never fitted last."""
        fitted = sorted(self.log.stays, key=lambda name: self.log.stays[name][0].start)
        return tuple(dict.fromkeys((*fitted, *self.received, *self.rounds)))

    def stays(self, name: str) -> tuple[Stay, ...]:
        """Return when a set was where."""
        return self.log.stays.get(name, ())

    def kind_of(self, name: str) -> StoneKind | None:
        """Return the kind of a set: as fitted or received; the sheet's only one where none is named."""
        return self._kinds.get(self.log.kinds.get(name))

    @cached_property
    def _kinds(self) -> dict[str | None, StoneKind]:
        """The kinds of the sheet by name; its only one also where none is named."""
        kinds = self.view.sheet.stone_kinds
        found: dict[str | None, StoneKind] = {kind.id: kind for kind in reversed(kinds)}
        if len(kinds) == 1:
            found[None] = kinds[0]
        return found

    def is_of(self, name: str, known: KindKnown) -> bool:
        """Return whether a set is of a kind; that may be of an older reading of the sheet."""
        kind = self.kind_of(name)
        return kind is not None and kind.id == known.kind.id

    def bores(self, name: str, at: np.datetime64 | None = None) -> float:
        """Return the bores a set has honed in all, by a moment or by now."""
        if at is None:
            return self._honed[name][0]
        moment = np.array([at], dtype="datetime64[us]")
        before = self.received.get(name, Received()).bores_before
        return float(bores_at(self.stays(name), self.honed, moment, before=before)[0])

    def by_dressings(self, name: str) -> tuple[float, ...]:
        """Return the bores a set had honed by each of its dressings."""
        return self._honed[name][1 : 1 + len(self.log.dressings_of(name))]

    def by_ends(self, name: str) -> tuple[float, ...]:
        """Return the bores a set had honed by the end of each of its stays but the last."""
        return self._honed[name][1 + len(self.log.dressings_of(name)) :]

    @cached_property
    def _honed(self) -> Mapping[str, tuple[float, ...]]:
        """The bores of every set by now, by each of its dressings, and by each stay's end."""
        logged = {name: self.log.logged_of(name) for name in self.names}
        off = {
            name: (one, self.received.get(name), self.honed.stamp(one.last))
            for name, one in logged.items()
            if not one.is_fitted
        }
        stands = self.view.carry_each("bores of stone sets", off, self._count)
        return {name: stands[name] if name in stands else self._count(name) for name in self.names}

    def _count(self, name: str) -> tuple[float, ...]:
        stays, before = self.stays(name), self.received.get(name, Received()).bores_before
        ends = [end_before(earlier, stay) for earlier, stay in pairwise(stays)]
        moments = [self.view.as_of, *(d.at for d in self.log.dressings_of(name)), *ends]
        found = bores_at(stays, self.honed, np.array(moments, dtype="datetime64[us]"), before=before)
        return tuple(found.tolist())

    def rests_on(self, name: str) -> tuple[Any, ...]:
        """Return what all that is told of a set rests on, while it is on no spindle and wears no more."""
        said = (self.received.get(name), self.log.kinds.get(name), self.log.assumed.get(name))
        known = (self._known(name), self.rounds.get(name), self.log.logged_of(name), self._honed[name])
        return (*known, *said, self.view.rules.now.version)

    @cached_property
    def _off(self) -> Mapping[str, tuple[Any, ...]]:
        """What all that is told of each set that is on no spindle rests on."""
        return {name: self.rests_on(name) for name in self.names if not self.log.logged_of(name).is_fitted}

    def each(self, what: str, names: Iterable[str], work: Callable[[str], Told]) -> list[Told]:
        """Return what is told of each of some sets; of those off the spindles as it was, while it stands."""
        rests_on = {name: self._off[name] for name in names if name in self._off}
        spoken = f"{what} {voice()} {lengths.shown()}"  # of each language and unit of lengths
        stands = self.view.carry_each(spoken, rests_on, work)
        return [stands[name] if name in stands else work(name) for name in names]

    def told(self, what: str, name: str, rests_on: tuple[Any, ...], work: Callable[[], Told]) -> Told:
        """Return a part of what is told of a set as it was, while what it rests on stays as it is."""
        spoken = f"{what} of {name} {voice()} {lengths.shown()}"
        return self.view.carry(spoken, (*rests_on, self.view.rules.now.version), work)

    def running(self) -> tuple[Stay, ...]:
        """Return the stays of the sets that are fitted, by spindle."""
        return tuple(sorted(self.log.fitted(), key=lambda stay: (stay.spindle, stay.stone_set)))

    def ended(self, name: str) -> str | None:
        """Return `worn` or `chipped` where a set's life has ended."""
        stays = self.stays(name)
        return stays[-1].why if stays and stays[-1].end is not None and stays[-1].why in ENDS else None

    def seen(self, known: KindKnown) -> Seen:
        """Return what was seen of all sets of a kind; each set that is fitted asks."""
        if known.kind.id not in self._seen:
            mine = tuple(name for name in self.names if self.is_of(name, known) and self.stays(name))
            self._seen[known.kind.id] = Seen(
                sets=mine,
                chipped=sum(self.ended(name) == CHIPPED for name in mine),
                bores=sum(self.bores(name) for name in mine),
            )
        return self._seen[known.kind.id]

    @cached_property
    def _seen(self) -> dict[str, Seen]:
        return {}

    def recent(self, spindle: str) -> Looked:
        """Return the newest bores of a spindle, as made."""
        return self.view.looked_at(spindle).newest

    @cached_property
    def formed(self) -> Mapping[Stream, Formed]:
        """The form that spindles honed in the last weeks, by stream."""
        return formed(self.view)

    def feed(self, stay: Stay) -> FeedWear | None:
        """Return the wear of a fitted set since it was measured last, as its expander tells it."""
        known = self.kinds.get(self.log.kinds.get(stay.stone_set) or "") or self._known(stay.stone_set)
        wear = None if known is None else known.wear.get(stay.stone_set)
        if wear is None:
            return None
        bores = self.recent(stay.spindle)
        at = bores.honed
        # a doubted spindle may be another's bore, with another set's position
        mine = (at >= stay.start) & np.isfinite(bores.feed_um) & (bores.flags & Flag.ROUTING.bit == 0)
        if not mine.any():
            return None
        order = np.flatnonzero(mine)[np.argsort(at[mine], kind="stable")]
        before = self.received.get(stay.stone_set, Received()).bores_before
        count = bores_at(self.stays(stay.stone_set), self.honed, at[order], before=before)
        return feed_wear(count, bores.feed_um[order], measured_bores=wear.bores, measured_um=wear.mean_um)

    def _known(self, name: str) -> KindKnown | None:
        kind = self.kind_of(name)
        return None if kind is None else self.kinds.get(kind.id)

    def known(self, name: str) -> KindKnown | None:
        """Return what is known of a set's kind."""
        return self._known(name)

    def life(self, name: str) -> SetLife | None:
        """Return what a set has left; None where nothing tells how its kind wears."""
        known = self._known(name)
        if known is None:
            return None
        if name not in self._lives:
            stays = self.stays(name)
            fed = self.feed(stays[-1]) if stays and stays[-1].end is None else None
            self._lives[name] = life_of(known, name, bores=self.bores(name), fed=fed)
        return self._lives[name]

    @cached_property
    def good(self) -> dict[str, GoodBores | None]:
        """Bores of good form, by fitted set, as far as they were asked for."""
        return {}

    @cached_property
    def _lives(self) -> dict[str, SetLife | None]:
        return {}


ENDS = ("worn", "chipped")


def stones_now(view: View) -> StonesNow:
    """Read everything that is known of stones up to the moment of a view."""
    until = view.as_of + np.timedelta64(1, "us")
    received = _received(view, until)
    kinds = {name: one.kind for name, one in received.items() if one.kind}
    log = _log(view, kinds, until)
    honed = Honed.of(view)
    honed.count(log.fitted() if "bores of stone sets" in view.carried else log.every_stay())
    newest = view.newest_row_of(Kind.STONE_MEASUREMENTS)
    rows = _upto(view.carry("stones measured", newest, view.session.measured_sets), until)
    measured = sorted(rows, key=lambda name: rows[name].at[0])
    found = StonesNow(
        view=view,
        received=received,
        log=log,
        honed=honed,
        rounds={},
        kinds={},
        unknown=tuple(name for name in measured if name not in received and name not in log.stays),
    )
    by_set = {name: found.kind_of(name) for name in measured}
    before = {name: one.bores_before for name, one in received.items()}
    per_set = {name: kind.stones_per_set for name, kind in by_set.items() if kind is not None}
    rests_on = (newest, sum(map(len, rows.values())), per_set, voice())
    counted_before: Mapping[str, Any] = view.carried.get("rounds as counted", (None, {}))[1]
    rounds = rounds_of(
        rows,
        log,
        honed,
        per_set=per_set,
        before=before,
        grids=lambda work: view.carry("rounds of stones", rests_on, work),
        each=lambda counts, work: view.carry_each("rounds as counted", counts, work),
        before_now={name: one for name, (_, one) in counted_before.items()},
    )
    known = {}
    for kind in view.sheet.stone_kinds:
        mine = {n: r for n, r in rounds.items() if by_set[n] is kind and n not in found.unknown}
        known[kind.id] = _learned(view, kind, mine)
    return replace(found, rounds=rounds, kinds=known)


def _received(view: View, until: np.datetime64) -> dict[str, Received]:
    """Return what is known of each set that had come by a moment: read once, until another has."""
    sets: StoneSets = _rows(view, Kind.STONE_SETS)
    come = sets.select(np.isnat(sets.received_at) | (sets.received_at < until))
    before = np.nan_to_num(come.bores_before).tolist()

    def read() -> dict[str, Received]:
        columns = zip(come.stone_set, come.kind, come.maker, come.lot, before, strict=True)
        return {
            name: Received(kind=kind, maker=maker, lot=lot, bores_before=bores)
            for name, kind, maker, lot, bores in columns
        }

    return view.carry("stone sets that came", (view.newest_row_of(Kind.STONE_SETS), len(come)), read)


def _upto(every: Mapping[str, StoneMeasurements], until: np.datetime64) -> dict[str, StoneMeasurements]:
    """Return what was measured of each set before a moment."""
    inside = {
        name: rows if rows.at[-1] < until else rows.select(rows.at < until) for name, rows in every.items()
    }
    return {name: rows for name, rows in inside.items() if len(rows)}


def _learned(view: View, kind: StoneKind, rounds: Mapping[str, Rounds]) -> KindKnown:
    each = partial(view.carry_each, f"wear of {kind.id}")
    return view.carry(f"kind {kind.id}", (kind, rounds), lambda: know_kind(kind, rounds, each=each))


def _rows(view: View, kind: Kind) -> Any:
    """Return every row of a kind: read once, until one is added."""
    newest = view.newest_row_of(kind)
    return view.carry(f"rows of {kind}", newest, lambda: view.session.rows(kind))


def _log(view: View, kinds: Mapping[str, str], until: np.datetime64) -> StoneLog:
    """Return the log of stones up to a moment: read once, until there is another event of them."""

    def read() -> Events:
        found: Events = view.session.rows(Kind.EVENTS, events=STONE_EVENTS)
        return found

    newest = view.newest_row_of(Kind.EVENTS)
    every = view.carry("events of stones", newest, read)
    mine = every.select(every.at < until)
    rests_on = (newest, len(mine), dict(kinds), view.rules.now.version, voice())
    return view.carry("log of stones", rests_on, lambda: read_log(mine, kinds, view.sheet))


def end_before(earlier: Stay, stay: Stay) -> np.datetime64:
    """Return the last moment of a stay before the next one of its set."""
    end = stay.start if earlier.end is None else min(earlier.end, stay.start)
    return end - np.timedelta64(1, "us")


__all__ = ["EventKind", "Received", "StonesNow", "stones_now"]
