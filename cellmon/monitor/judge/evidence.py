"""What moved beside a call: every stream before and after the moment of the change."""

from __future__ import annotations

import json
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from cellmon.drift.columns import State, Steps, Watched
from cellmon.drift.wear import Learned
from cellmon.judged import OF_ALL, OFFSETS, PROCESS
from cellmon.records import Flags, Numbers, Stream, Whole

LOOKED_AT = 15
"""Subgroups after a change that tell what moved."""
LEAST_BEFORE = 4
LEAST_KELVIN = 1.0
"""What counts as one standard deviation of a temperature: it wanders by more than its readings differ."""


@dataclass(frozen=True, kw_only=True)
class Moved:
    """How one stream of a bore moved: in its bores' standard deviations, offsets taken out."""

    feature: str
    spindle: str | None
    bore: str | None
    fixture: str | None
    sd: float
    """Of one bore, micrometres; of offsets given that of a block."""
    shift: float
    error: float
    """Standard error of `shift`."""
    ratio: float | None
    """Of the standard deviations inside subgroups, after over usual."""
    df: float
    """Degrees of freedom behind `ratio`."""


class Stretch(Protocol):
    """A unit as it was watched: what `moved_with` looks at."""

    @property
    def streams(self) -> Sequence[Stream]: ...
    @property
    def learned(self) -> Sequence[Learned]: ...
    @property
    def steps(self) -> Steps: ...
    @property
    def watched(self) -> Watched: ...
    @property
    def before(self) -> State: ...


def moved_with(begin: int, sure: int, until: int, stretch: Stretch, *, parts: Collection[str]) -> str:
    """Return how every stream of a bore moved from a moment on, as JSON.

    Parameters
    ----------
    begin, sure, until : int
        Before the change, after it, and the end of what is looked at; microseconds.
    parts : collection of str
        Part numbers of the streams looked at: those of other parts tell of another time.
    """
    found, around = [], _Around.of(begin, sure, until, stretch)
    for c, stream in enumerate(stretch.streams):
        if stream.part_number not in parts:
            continue
        own = stream.bore is not None and stream.part_of == "itself"
        if own or stream.feature in PROCESS:
            moved = _moved(c, stream, around, stretch)
            if moved is not None:
                found.append(moved)
    return json.dumps([vars(moved) for moved in found])


@dataclass(frozen=True, kw_only=True, eq=False)
class _Around:
    """The subgroups of every stream about a change, arrays of shape (streams, steps)."""

    before: Flags
    """Those before it, `after` those surely after; `perhaps` may have begun before it."""
    after: Flags
    perhaps: Flags
    changed: Flags
    dressed: Flags
    n: Numbers
    level: Numbers
    """Means with all taken out that is known to move them: offsets, zeroing, wear."""

    @classmethod
    def of(cls, begin: int, sure: int, until: int, stretch: Stretch) -> _Around:
        """Look at all streams at once."""
        steps, slope = stretch.steps, stretch.before.slope
        there, at = np.isfinite(steps.mean), steps.at
        known = steps.moved + steps.by_hand + steps.zeroed + slope * np.where(there, steps.n, 0.0)
        in_time = there & (at <= until)
        return cls(
            before=_by_stream(there & (at < begin)),
            after=_by_stream(in_time & (at > sure)),
            perhaps=_by_stream(in_time & (at >= begin)),
            changed=_by_stream(steps.changed),
            dressed=_by_stream(steps.dressed),
            n=_by_stream(steps.n),
            level=_by_stream(steps.mean - np.cumsum(known, axis=0)),
        )


def _by_stream(steps: NDArray[Any]) -> NDArray[Any]:
    return np.ascontiguousarray(steps.T)


def _moved(c: int, stream: Stream, around: _Around, stretch: Stretch) -> Moved | None:
    """Return how one stream moved; None where too little was made on either side to tell."""
    before, learned, n = stretch.before, stretch.learned[c], around.n[c]
    after = _after(c, stream, around)
    earlier = around.before[c].nonzero()[0][-LOOKED_AT:]
    if not len(after):
        return None
    if stream.feature in PROCESS:  # other stones begin elsewhere: what was before them tells nothing
        begun = around.changed[c, : int(after[0]) + 1].nonzero()[0]
        if len(begun):
            earlier = earlier[earlier >= begun[-1]]
            if len(earlier) < LEAST_BEFORE:
                return None
    usual, unsure = float(before.level[c]), float(before.p11[c])
    if len(earlier) >= LEAST_BEFORE:
        usual, unsure = _mean(around.level[c, earlier]), float(before.mean_var[c]) / len(earlier)
    drifted = learned.walk * float(np.add.reduce(n[after]) + np.add.reduce(n[earlier])) / 2
    error = sqrt(unsure + float(before.mean_var[c]) / len(after) + drifted)
    sd = sqrt((before.mean_var if stream.feature == OFFSETS else before.bore_var)[c])
    sd = max(sd, LEAST_KELVIN) if stream.feature in OF_ALL else sd
    inside = around.after[c].nonzero()[0]
    inside = inside[1:] if len(inside) > 1 else after  # the first may still straddle the change
    ratios = stretch.watched.ratio[inside, c]
    told = np.isfinite(ratios) & (stream.feature not in OF_ALL)
    return Moved(
        feature=stream.feature,
        spindle=stream.spindle,
        bore=stream.bore,
        fixture=stream.fixture,
        sd=round(sd, 4),
        shift=round((_mean(around.level[c, after]) - usual) / sd, 2),
        error=round(error / sd, 3),
        ratio=round(sqrt(_mean(ratios[told])), 2) if told.any() else None,
        df=float((n[inside[told]] - 1).sum()),
    )


def _mean(values: Numbers) -> float:
    """Return the mean of a few figures; their own method asks more than it adds."""
    return float(np.add.reduce(values)) / len(values)


def _after(c: int, stream: Stream, around: _Around) -> Whole:
    """Return the subgroups that tell of the time after a change: up to other stones or another set-up."""
    after = around.after[c].nonzero()[0][:LOOKED_AT]
    if not len(after):
        after = around.perhaps[c].nonzero()[0][:LOOKED_AT]
    if len(after) > 1:
        broken = around.changed[c] | (around.dressed[c] & (stream.feature in PROCESS))
        changed = broken[after[1:]].nonzero()[0]
        after = after[: int(changed[0]) + 1] if len(changed) else after
    found: Whole = after
    return found


def moved_from(text: str | None) -> tuple[Moved, ...]:
    """Read `moved_with` back."""
    return tuple(Moved(**one) for one in json.loads(text)) if text else ()
