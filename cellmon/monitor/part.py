"""All that is known of one block."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from cellmon.errors import NotFound
from cellmon.monitor.answers import Answer
from cellmon.monitor.bores import known_features
from cellmon.monitor.signals import all_signals
from cellmon.monitor.view import View
from cellmon.records import Flag, Numbers, Verdict


@dataclass(frozen=True, kw_only=True, eq=False)
class PartMeasurement:
    """One measurement of one bore; `um` of shape (planes, directions), nan = not measured."""

    bore: str
    spindle: str
    gauge: str
    at: datetime
    stage: str
    fixture: str | None
    stone_set: str | None
    um: Numbers
    features: Mapping[str, float | None]
    verdict: Verdict
    charted: bool
    flags: tuple[Flag, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class PartStory(Answer):
    """A block: its measurements in time order, signals it is part of, and its dispositions."""

    part: str
    part_number: str
    sentence: str
    measurements: tuple[PartMeasurement, ...]
    signals: tuple[str, ...]
    dispositions: tuple[Mapping[str, str], ...]


def part_story(view: View, serial: str) -> PartStory:
    """Answer with everything known of one block.

    Raises
    ------
    NotFound
        When nothing was measured under that serial.
    """
    bores = view.session.bores(part=serial, end=view.as_of)
    if not len(bores):
        raise NotFound(f"no part {serial}")
    measurements = tuple(
        PartMeasurement(
            bore=bores.bore[i],
            spindle=bores.spindle[i],
            gauge=bores.gauge[i],
            at=view.local(bores.measured_at[i]),
            stage=bores.stage[i],
            fixture=bores.fixture[i],
            stone_set=bores.stone_set[i],
            um=bores.um[i],
            features=known_features(bores, i),
            verdict=bores.verdict_of(i),
            charted=bool(bores.charted[i]),
            flags=bores.flags_of(i),
        )
        for i in range(len(bores))
    )
    first, last = bores.measured_at.min(), bores.measured_at.max()
    signals = tuple(
        s.id
        for s in all_signals(view)
        if s.state != "withdrawn"
        and any(m.spindle == s.stream.spindle and m.bore == s.stream.bore for m in measurements)
        and s.raised_at >= view.local(first)
        and _holds(view, s.id, serial)
    )
    released = tuple(
        {"signal": d.subject, "as": d.body["as"], "by": d.by, "why": d.why}
        for d in view.session.decisions("release")
        if serial in d.body["parts"]
    )
    return PartStory(
        **view.head(),
        part=serial,
        part_number=bores.part_number[0],
        sentence=_sentence(serial, measurements, view.local(last)),
        measurements=measurements,
        signals=signals,
        dispositions=released,
    )


def _holds(view: View, signal: str, serial: str) -> bool:
    """Return whether a block was among the subgroups a signal rests on."""
    episodes = view.session.episodes(end=view.as_of)
    mine = episodes.select(episodes.id == signal)
    if not len(mine):
        return False
    bores = view.session.bores(part=serial)
    when = bores.measured_at
    return bool(((when >= mine.first_at[0]) & (when <= mine.last_at[0])).any())


def _sentence(serial: str, measurements: tuple[PartMeasurement, ...], last: datetime) -> str:
    charted = [m for m in measurements if m.charted]
    bad = [m.bore for m in charted if m.verdict is not Verdict.CONFORMS]
    at = f"{last:%Y-%m-%d %H:%M}"
    if not charted:
        return f"{serial}: no complete measurement, last seen {at}."
    if not bad:
        return f"{serial}: all {len(charted)} bores conform, last seen {at}."
    return f"{serial}: bore {', '.join(bad)} not proven inside the limits, last seen {at}."
