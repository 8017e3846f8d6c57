"""What moved beside a call: every stream before and after the moment of the change."""

from __future__ import annotations

import json
from collections.abc import Collection, Sequence
from dataclasses import asdict, dataclass
from typing import Protocol

import numpy as np

from cellmon.drift.columns import State, Steps, Watched
from cellmon.drift.wear import Learned
from cellmon.judged import OF_ALL, OFFSETS, PROCESS
from cellmon.records import Numbers, Stream, Whole

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
    found = []
    for c, stream in enumerate(stretch.streams):
        if stream.part_number not in parts:
            continue
        own = stream.bore is not None and stream.part_of == "itself"
        if own or stream.feature in PROCESS:
            moved = _moved(c, stream, begin, sure, until, stretch)
            if moved is not None:
                found.append(asdict(moved))
    return json.dumps(found)


def _moved(c: int, stream: Stream, begin: int, sure: int, until: int, stretch: Stretch) -> Moved | None:
    """Return how one stream moved; None where too little was made on either side to tell."""
    steps, before, learned = stretch.steps, stretch.before, stretch.learned[c]
    there = np.isfinite(steps.mean[:, c])
    after = _after(c, stream, begin, sure, until, steps)
    earlier = np.flatnonzero(there & (steps.at[:, c] < begin))[-LOOKED_AT:]
    if not len(after):
        return None
    if stream.feature in PROCESS:  # other stones begin elsewhere: what was before them tells nothing
        begun = np.flatnonzero(steps.changed[: int(after[0]) + 1, c])
        if len(begun):
            earlier = earlier[earlier >= begun[-1]]
            if len(earlier) < LEAST_BEFORE:
                return None
    level = _own_level(c, before, steps)
    usual, unsure = float(before.level[c]), float(before.p11[c])
    if len(earlier) >= LEAST_BEFORE:
        usual, unsure = float(level[earlier].mean()), float(before.mean_var[c]) / len(earlier)
    drifted = learned.walk * float(steps.n[after, c].sum() + np.nansum(steps.n[earlier, c])) / 2
    error = np.sqrt(unsure + float(before.mean_var[c]) / len(after) + drifted)
    sd = float(np.sqrt((before.mean_var if stream.feature == OFFSETS else before.bore_var)[c]))
    sd = max(sd, LEAST_KELVIN) if stream.feature in OF_ALL else sd
    inside = np.flatnonzero(there & (steps.at[:, c] > sure) & (steps.at[:, c] <= until))
    inside = inside[1:] if len(inside) > 1 else after  # the first may still straddle the change
    ratios = stretch.watched.ratio[inside, c]
    told = np.isfinite(ratios) & (stream.feature not in OF_ALL)
    return Moved(
        feature=stream.feature,
        spindle=stream.spindle,
        bore=stream.bore,
        fixture=stream.fixture,
        sd=round(sd, 4),
        shift=round((float(level[after].mean()) - usual) / sd, 2),
        error=round(float(error) / sd, 3),
        ratio=round(float(np.sqrt(ratios[told].mean())), 2) if told.any() else None,
        df=float((steps.n[inside[told], c] - 1).sum()),
    )


def _after(c: int, stream: Stream, begin: int, sure: int, until: int, steps: Steps) -> Whole:
    """Return the subgroups that tell of the time after a change: up to other stones or another set-up."""
    at, there = steps.at[:, c], np.isfinite(steps.mean[:, c])
    after = np.flatnonzero(there & (at > sure) & (at <= until))[:LOOKED_AT]
    if not len(after):
        after = np.flatnonzero(there & (at >= begin) & (at <= until))[:LOOKED_AT]
    if len(after) > 1:
        broken = steps.changed[:, c] | (steps.dressed[:, c] & (stream.feature in PROCESS))
        changed = np.flatnonzero(broken[after[1:]])
        after = after[: int(changed[0]) + 1] if len(changed) else after
    return after


def _own_level(c: int, before: State, steps: Steps) -> Numbers:
    """Return a stream's means with all taken out that is known to move them: offsets, zeroing, wear."""
    worn = float(before.slope[c]) * np.where(np.isfinite(steps.mean[:, c]), steps.n[:, c], 0.0)
    return steps.mean[:, c] - np.cumsum(steps.moved[:, c] + steps.by_hand[:, c] + steps.zeroed[:, c] + worn)


def moved_from(text: str | None) -> tuple[Moved, ...]:
    """Read `moved_with` back."""
    return tuple(Moved(**one) for one in json.loads(text)) if text else ()
