"""Which streams should be split: where fixture, side or order in the block moves a feature lastingly."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np

from cellmon.charts.splits import LEAST_IN_GROUP, WORTH, Apart, apart
from cellmon.errors import NoSpread, NotEnoughData
from cellmon.judged import Bores
from cellmon.local import number
from cellmon.monitor.answers import Answer, Estimate
from cellmon.monitor.groups import fixture_tells, less_fixture, orders, segments, sides, values_of
from cellmon.monitor.judge.inputs import SIZE
from cellmon.monitor.kept import kept
from cellmon.monitor.split_windows import Window, window_of
from cellmon.monitor.view import View
from cellmon.records import Numbers, Stream, Texts, Whole
from cellmon.words import say, to_say, voice

CONFIDENCE = 0.95
SPLIT_BY_FILE = {
    "side": to_say(
        "the sheet splits by fixture only: let the files say the side in their column `fixture`, then write "
        "`by_fixture = true` under [{section}]"
    ),
    "order": to_say(
        "the sheet splits by fixture only: let the files say the order in their column `fixture`, then write "
        "`by_fixture = true` under [{section}]"
    ),
}
NO_ORDER = to_say(
    "each bore is honed in one order only, or the order is not known: what order does cannot be told from "
    "what the position does"
)
FIXTURE_SAYS = to_say("the two sides are two fixtures: asked as fixture")
LIES = {
    "fixture": to_say("{stream}: parts on fixture {high} lie {by} above those on {low}"),
    "side": to_say("{stream}: every other part lies {by} above its neighbours, those counted {high}"),
    "order": to_say("{stream}: honed as number {high} of its block it lies {by} above number {low}"),
}


@dataclass(frozen=True, kw_only=True)
class Split:
    """One question asked of one stream: do two groups of its bores lie apart?"""

    stream: Stream
    by: str
    """`fixture`, `side` (every other part the spindle honed) or `order` (place in the block, as honed)."""
    high: str
    low: str
    high_part: str
    """The last part of the group that lies higher."""
    low_part: str
    effect_sigma: Estimate
    """How far apart, in standard deviations of one bore; its interval allows for every question asked."""
    sigma_um: float
    n_high: int
    n_low: int
    lasts: bool
    """Whether each quarter of the bores shows it: a fault of some hours is no reason to split."""
    proposed: bool
    write: str | None
    """What to write in the sheet; None where no split is proposed."""
    words: str


@dataclass(frozen=True, kw_only=True)
class Unasked:
    """A question that could not be asked of one stream, and why."""

    stream: Stream
    by: str
    why_not: str


@dataclass(frozen=True, kw_only=True)
class Splits(Answer):
    """Every question asked, the widest apart first, and those that could not be."""

    asked: tuple[Split, ...]
    unasked: tuple[Unasked, ...]

    @property
    def proposed(self) -> tuple[Split, ...]:
        """The splits that are proposed."""
        return tuple(s for s in self.asked if s.proposed)


@dataclass(frozen=True, kw_only=True)
class SplitSummary:
    """What `check` says of splits."""

    proposed: tuple[Split, ...]
    asked: int
    unasked: int
    why_not: Mapping[str, str] = field(default_factory=dict)
    """By question: why it could not be asked of some stream."""


def splits(view: View) -> Splits:
    """Answer which streams fixture, side or order in the block move by more than half a sigma.

    A spindle's bores of the window its limits were frozen from are looked at, or its last 400 a
    position: of the shifts that are over, where these have so many. Features that the sheet keeps by
    fixture already are not asked of the fixture.
    """
    windows = {spindle: window_of(view, spindle) for spindle in _spindles(view)}
    rests_on = {spindle: window.rests_on for spindle, window in windows.items()}
    found = view.carry(f"splits {voice()}", rests_on, lambda: _found(view, windows))
    return Splits(
        **view.head(),
        asked=found.asked,
        unasked=found.unasked,
        why_not={}
        if found.asked
        else {"asked": say("no stream has bores enough of two fixtures, sides or orders")},
    )


@dataclass(frozen=True, kw_only=True)
class _Found:
    asked: tuple[Split, ...]
    unasked: tuple[Unasked, ...]


def _found(view: View, windows: Mapping[str, Window]) -> _Found:
    """Return what is found in the bores of each spindle, the widest apart first."""
    every = [one for spindle, window in windows.items() for one in _questions(view, spindle, window.bores())]
    questions = [one for one in every if isinstance(one, _Question)]
    asked, unasked = [], [one for one in every if isinstance(one, Unasked)]
    for question in questions:
        try:
            found = kept(
                apart,
                question.values,
                question.groups,
                question.segment,
                tests=len(questions),
                confidence=CONFIDENCE,
            )
        except (NotEnoughData, NoSpread) as refused:
            unasked.append(Unasked(stream=question.stream, by=question.by, why_not=str(refused)))
        else:
            asked.append(_split(question, found))
    asked.sort(key=lambda s: (not s.proposed, -(s.effect_sigma.value or 0.0)))
    return _Found(asked=tuple(asked), unasked=tuple(unasked))


def summary(found: Splits) -> SplitSummary:
    """Return what `check` says of splits."""
    return SplitSummary(
        proposed=found.proposed,
        asked=len(found.asked),
        unasked=len(found.unasked),
        why_not={one.by: one.why_not for one in reversed(found.unasked)},
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Question:
    """One stream's values in making order with the group of each bore."""

    stream: Stream
    by: str
    values: Numbers
    groups: Texts
    segment: Whole
    part: Texts


def _spindles(view: View) -> tuple[str, ...]:
    return view.sheet.spindle_ids or tuple(sorted({s.spindle for s in view.streams if s.spindle}))


def _questions(view: View, spindle: str, bores: Bores) -> Iterator[_Question | Unasked]:
    """Yield every question of a spindle's streams, and those that cannot be asked."""
    if not len(bores):
        return
    groups = {"fixture": bores.fixture, "side": sides(bores), "order": orders(bores)}
    segment = segments(view, spindle, bores)
    for drawing in dict.fromkeys(view.sheet.charted_as(p.number) for p in view.sheet.parts):
        part = view.sheet.charted_part(drawing)
        values = values_of(bores, part)
        of_part = np.isin(bores.part_number.astype(str), view.sheet.charted_numbers(drawing))
        for bore in part.bores:
            here = of_part & (bores.bore == bore)
            if not view.routed(_stream(drawing, spindle, bore, SIZE)) or not here.any():
                continue
            for name, figures in values.items():
                kept_apart = part.features[name].by_fixture or "fixture" in view.sheet.subgroups.within
                stream = _stream(drawing, spindle, bore, name)
                for by, group in groups.items():
                    if by == "fixture" and kept_apart:
                        continue
                    why_not = _why_not(by, group[here], bores.fixture[here])
                    if why_not:
                        yield Unasked(stream=stream, by=by, why_not=why_not)
                        continue
                    own = figures[here]
                    yield _Question(
                        stream=stream,
                        by=by,
                        values=less_fixture(own, bores.fixture[here]) if kept_apart else own,
                        groups=group[here],
                        segment=segment[here],
                        part=bores.part[here],
                    )


def _stream(drawing: str, spindle: str, bore: str, feature: str) -> Stream:
    return Stream(part_number=drawing, spindle=spindle, bore=bore, feature=feature)


def _why_not(by: str, groups: Texts, fixture: Texts) -> str | None:
    """Return why a question cannot be asked of some bores; None where it can."""
    _, counts = np.unique(groups[groups != None].astype(str), return_counts=True)  # noqa: E711
    if (counts >= LEAST_IN_GROUP).sum() < 2:
        return {
            "fixture": say("fewer than {least} bores on each of two fixtures", least=LEAST_IN_GROUP),
            "side": say("fewer than {least} bores", least=2 * LEAST_IN_GROUP),
            "order": say(NO_ORDER),
        }[by]
    return say(FIXTURE_SAYS) if by == "side" and fixture_tells(groups, fixture) else None


def _split(question: _Question, found: Apart) -> Split:
    section, write = f"features.{question.stream.feature}", None
    if found.splits and question.by == "fixture":
        write = say("write `by_fixture = true` under [{section}]", section=section)
    elif found.splits:
        write = say(SPLIT_BY_FILE[question.by], section=section)
    return Split(
        stream=question.stream,
        by=question.by,
        high=found.high,
        low=found.low,
        high_part=str(question.part[question.groups == found.high][-1]),
        low_part=str(question.part[question.groups == found.low][-1]),
        effect_sigma=Estimate(
            value=round(found.effect, 3),
            low=round(found.effect_low, 3),
            high=round(found.effect_high, 3),
            confidence=CONFIDENCE,
        ),
        sigma_um=round(found.sigma, 4),
        n_high=found.n_high,
        n_low=found.n_low,
        lasts=found.lasts,
        proposed=found.splits,
        write=write,
        words=_words(question, found),
    )


def _words(question: _Question, found: Apart) -> str:
    """Return what a question found, in a sentence."""
    by = say(
        "{effect} sigma ({low} to {high})",
        effect=number(found.effect, 2),
        low=number(found.effect_low, 2),
        high=number(found.effect_high, 2),
    )
    said = say(LIES[question.by], stream=question.stream, high=found.high, low=found.low, by=by)
    if found.lasts or found.effect <= WORTH:
        return f"{said}."
    return say("{said}; not in each quarter, so no lasting split.", said=said)
