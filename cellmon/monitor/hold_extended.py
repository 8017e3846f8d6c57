"""A hold that a person made longer: bores made before the change is thought to have begun, held as well."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from cellmon import local
from cellmon.errors import NotFound, WrongUsage
from cellmon.judged import Bores
from cellmon.monitor.view import View
from cellmon.records import Flags, Times
from cellmon.shifts import to_utc
from cellmon.store import Session
from cellmon.words import say, to_say

KIND = "extend"


TO_PART = to_say("extended from {first} to {to} by {by}, {at}: {why}")
TO_START = to_say("extended from {first} on by {by}, {at}: {why}")


@dataclass(frozen=True, kw_only=True)
class Extension:
    """From which part to which a hold was extended, by whom, when and why; without `to_part` to its start."""

    from_part: str
    to_part: str | None
    from_at: datetime
    to_at: datetime | None
    by: str
    at: datetime
    why: str

    @property
    def words(self) -> str:
        """What was held as well, in words."""
        told = {"first": self.from_part, "by": self.by, "at": local.moment(self.at), "why": self.why}
        return say(TO_START, **told) if self.to_part is None else say(TO_PART, to=self.to_part, **told)


def extensions(view: View, signal: str) -> tuple[Extension, ...]:
    """Return how the hold of a signal was extended, oldest first."""
    return extensions_of(view).get(signal, ())


def extensions_of(view: View) -> dict[str, tuple[Extension, ...]]:
    """Return how each hold was extended, by signal."""
    found: dict[str, tuple[Extension, ...]] = {}
    for d in view.session.decisions(KIND):
        to_at = d.body["to_at"]
        one = Extension(
            from_part=d.body["from_part"],
            to_part=d.body["to_part"],
            from_at=_moment(view, d.body["from_at"]),
            to_at=None if to_at is None else _moment(view, to_at),
            by=d.by,
            at=view.local(d.at),
            why=d.why,
        )
        found[d.subject] = (*found.get(d.subject, ()), one)
    return found


def within(measured_at: Times, start: np.datetime64, extended: Iterable[Extension]) -> Flags:
    """Return which moments a hold covers that begins at `start`, with its extensions."""
    held: Flags = measured_at >= start
    for one in extended:
        inside = measured_at >= to_utc(one.from_at)
        held |= inside if one.to_at is None else inside & (measured_at <= to_utc(one.to_at))
    return held


def earliest(start: np.datetime64, extended: Iterable[Extension]) -> np.datetime64:
    """Return the moment of the first bore that may be held."""
    return min([start, *(to_utc(one.from_at) for one in extended)])


def extend(
    session: Session,
    signal: str,
    *,
    held: Flags,
    bores: Bores,
    from_part: str,
    to_part: str | None,
    by: str,
    why: str,
    at: np.datetime64,
) -> None:
    """Journal that a hold begins with an earlier part, or holds a stretch before it as well.

    Parameters
    ----------
    held : array of bool, shape (n,)
        Which of the bores stand on the hold list now.
    bores : Bores
        All bores that the signal tells of, ascending.

    Raises
    ------
    WrongUsage
        When no reason is given, the range runs backwards, or everything in it is held already.
    NotFound
        When a part has no such bore.
    """
    if not why.strip():
        raise WrongUsage(say("a hold is extended for a reason: say why"))
    from_at = _first(bores, signal, from_part)
    to_at = None if to_part is None else _last(bores, signal, to_part)
    if to_at is not None and to_at < from_at:
        raise WrongUsage(say("{to} was made before {first}", to=to_part, first=from_part))
    asked = (bores.measured_at >= from_at) & (True if to_at is None else bores.measured_at <= to_at)
    if not (asked & ~held).any():
        text = to_say("every bore of that range is on the hold list of {signal} already")
        raise WrongUsage(say(text, signal=signal))
    body = {
        "from_part": from_part,
        "to_part": to_part,
        "from_at": _whole(from_at),
        "to_at": None if to_at is None else _whole(to_at),
    }
    session.decide(at=at, by=by, why=why, kind=KIND, subject=signal, body=body)


def _first(bores: Bores, signal: str, part: str) -> np.datetime64:
    return np.datetime64(_of_part(bores, signal, part).min(), "us")


def _last(bores: Bores, signal: str, part: str) -> np.datetime64:
    return np.datetime64(_of_part(bores, signal, part).max(), "us")


def _of_part(bores: Bores, signal: str, part: str) -> Times:
    found: Times = bores.measured_at[bores.part == part]
    if not len(found):
        raise NotFound(say("{signal} tells of no bore of {part}", part=part, signal=signal))
    return found


def _whole(moment: np.datetime64) -> int:
    return int(moment.astype("datetime64[us]").astype(np.int64))


def _moment(view: View, kept: int) -> datetime:
    return view.local(np.int64(kept).view("datetime64[us]"))
