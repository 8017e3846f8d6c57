"""Are the parts that share their streams alike: in level, in spread, and in what they aim at?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations
from typing import Any

import numpy as np

from cellmon.charts.alike import APART, WIDER, Between, Spread, levels_apart, spread_inside, spread_ratio
from cellmon.errors import NoSpread, NotEnoughData
from cellmon.judged import Subgroups
from cellmon.local import number
from cellmon.monitor.answers import Estimate
from cellmon.monitor.view import View
from cellmon.records import Flags, Numbers, Stream, Texts, Whole
from cellmon.sheet import Part
from cellmon.words import say, to_say

CONFIDENCE = 0.95
RECENT = 400
"""Subgroups of each stream that are looked at."""
KEEP_APART = to_say(
    "these parts are not alike: keep them apart (take `like` out of their [[parts]]), or find what sets them "
    "apart"
)


@dataclass(frozen=True, kw_only=True)
class PairOfParts:
    """Two parts compared in one stream; the second against the first, all intervals hold together."""

    stream: Stream
    first: str
    second: str
    effect_sigma: Estimate | None
    """How far the second lies above, in standard deviations of one bore."""
    spread_ratio: Estimate | None
    """How many times as wide it scatters inside subgroups."""
    alike: bool | None
    """None where it cannot be told."""
    words: str
    why_not: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class LikeParts:
    """The parts of one name, whether they are alike, and what is said of it."""

    like: str
    parts: tuple[str, ...]
    alike: bool | None
    sentence: str
    remarks: tuple[str, ...]
    pairs: tuple[PairOfParts, ...]


def like_parts(view: View) -> tuple[LikeParts, ...]:
    """Return whether the parts that the sheet calls like are, by the last 400 subgroups of each stream.

    They are not where levels lie more than half a standard deviation of a bore apart, or spreads differ by
    more than one and a half times, and the interval leaves no doubt that they differ at all.
    """
    names = dict.fromkeys(part.like for part in view.sheet.parts if part.like is not None)
    return tuple(_family(view, name) for name in names)


def _family(view: View, like: str) -> LikeParts:
    parts = tuple(p for p in view.sheet.parts if p.like == like)
    streams = [s for s in view.streams if s.like == like]
    tests = max(2 * len(streams) * len(list(combinations(parts, 2))), 1)
    confidence = 1 - (1 - CONFIDENCE) / tests
    pairs = tuple(pair for s in streams for pair in _pairs(view, s, parts, confidence))
    numbers = tuple(p.number for p in parts)
    alike = _whole([p.alike for p in pairs])
    return LikeParts(
        like=like,
        parts=numbers,
        alike=alike,
        sentence=_sentence(like, numbers, alike, pairs),
        remarks=tuple(_targets(parts)),
        pairs=pairs,
    )


def _whole(told: Sequence[bool | None]) -> bool | None:
    if False in told:
        return False
    return True if told and None not in told else None


def _sentence(like: str, numbers: Sequence[str], alike: bool | None, pairs: Sequence[PairOfParts]) -> str:
    name = f"{like} ({', '.join(numbers)})"
    unlike = [p for p in pairs if p.alike is False]
    if unlike:
        worst = max(unlike, key=_how_far)
        found = worst.words
        if len(unlike) > 1:
            found = say("{found}, and {count} more such", found=found, count=len(unlike) - 1)
        return f"{name}: {found}; {say(KEEP_APART)}."
    known = sum(p.alike is True for p in pairs)
    if not known:
        why = next((why for p in pairs for why in p.why_not.values()), None)
        why = why or say("no stream has bores of two of them")
        return say("{name}: cannot tell yet whether they are alike: {why}.", name=name, why=why)
    if alike:
        return say("{name}: nothing sets them apart in {known} comparisons.", name=name, known=known)
    return say(
        "{name}: nothing sets them apart in {known} comparisons; {rest} of {every} comparisons cannot be "
        "made yet.",
        name=name,
        known=known,
        rest=len(pairs) - known,
        every=len(pairs),
    )


def _how_far(pair: PairOfParts) -> float:
    effect = abs(pair.effect_sigma.value or 0.0) if pair.effect_sigma else 0.0
    ratio = abs(np.log(pair.spread_ratio.value or 1.0)) if pair.spread_ratio else 0.0
    return float(max(effect / APART, ratio / np.log(WIDER)))


def _targets(parts: Sequence[Part]) -> Iterator[str]:
    """Yield what the parts aim at, where that differs as deviation from nominal."""
    for name in parts[0].charted:
        aims = {p.number: p.features[name].target_um for p in parts}
        if len(set(aims.values())) > 1:
            yield say(
                "{name}: targets differ as deviation from nominal ({aims}), so bores on target lie apart: "
                "give as `nominal` what each part aims at, or keep the parts apart",
                name=name,
                aims=", ".join(_aim(part, target) for part, target in aims.items()),
            )


def _aim(part: str, target_um: float | None) -> str:
    if target_um is None:
        return say("{part} at none", part=part)
    return f"{part} {target_um:+.1f} µm"


def _pairs(view: View, stream: Stream, parts: Sequence[Part], confidence: float) -> Iterator[PairOfParts]:
    subgroups = view.session.subgroups(stream, end=view.as_of, last=RECENT, clean=True)
    of = _numbers(view, stream, subgroups)
    run = np.cumsum(np.concatenate(([0], of[1:] != of[:-1])))[: len(of)].astype(np.int64)
    for first, second in combinations([p.number for p in parts], 2):
        yield _pair(stream, (first, second), subgroups, of, run, confidence)


def _numbers(view: View, stream: Stream, subgroups: Subgroups) -> Texts:
    """Return the part number of each subgroup, which holds bores of one only."""
    found: Texts = np.full(len(subgroups), "", dtype=object)
    if len(subgroups):
        bores = view.session.bores(
            start=subgroups.first_at.min(), end=subgroups.at.max(), spindle=stream.spindle, bore=stream.bore
        )
        known = dict(zip(bores.part.tolist(), bores.part_number.tolist(), strict=True))
        found[:] = [known.get(part, "") for part in subgroups.last_part.tolist()]
    return found


def _pair(
    stream: Stream,
    names: tuple[str, str],
    subgroups: Subgroups,
    of: Texts,
    run: Whole,
    confidence: float,
) -> PairOfParts:
    shown: dict[str, Any] = {"stream": stream, "first": names[0], "second": names[1]}
    try:
        one, two = (_spread(subgroups, of == name) for name in names)
        both = Spread(
            sd=float(np.sqrt((one.df * one.sd**2 + two.df * two.sd**2) / (one.df + two.df))),
            df=one.df + two.df,
        )
        ratio = spread_ratio(one, two, confidence=confidence)
        means = [_run_means(subgroups, of == name, run) for name in names]
        effect = levels_apart(*means, spread=both, confidence=confidence)
    except (NotEnoughData, NoSpread) as refused:
        why = say("{first} and {second}: {refused}", first=names[0], second=names[1], refused=refused)
        missing = dict.fromkeys(("effect_sigma", "spread_ratio", "alike"), why)
        words = say("{stream}: cannot tell yet", stream=stream)
        return PairOfParts(
            **shown, effect_sigma=None, spread_ratio=None, alike=None, words=words, why_not=missing
        )
    apart = _either_way(effect).clearly_beyond(APART, nothing=0.0)
    wider = _either_ratio(ratio).clearly_beyond(WIDER, nothing=1.0)
    return PairOfParts(
        **shown,
        effect_sigma=Estimate.of(effect, confidence=CONFIDENCE),
        spread_ratio=Estimate.of(ratio, confidence=CONFIDENCE),
        alike=not (apart or wider),
        words=_words(stream, names, effect, ratio, apart=apart, wider=wider),
    )


def _spread(subgroups: Subgroups, mine: Flags) -> Spread:
    return spread_inside(subgroups.sd[mine], subgroups.n[mine])


def _run_means(subgroups: Subgroups, mine: Flags, run: Whole) -> Numbers:
    runs, number = np.unique(run[mine], return_inverse=True)
    n = subgroups.n[mine].astype(np.float64)
    weight = np.bincount(number, weights=n, minlength=len(runs))
    found: Numbers = np.bincount(number, weights=n * subgroups.mean[mine], minlength=len(runs)) / weight
    return found


def _either_way(effect: Between) -> Between:
    return effect if effect.value >= 0 else Between(value=-effect.value, low=-effect.high, high=-effect.low)


def _either_ratio(ratio: Between) -> Between:
    if ratio.value >= 1:
        return ratio
    return Between(value=1 / ratio.value, low=1 / ratio.high, high=1 / ratio.low)


def _words(
    stream: Stream, names: tuple[str, str], effect: Between, ratio: Between, *, apart: bool, wider: bool
) -> str:
    low, high = names if effect.value >= 0 else names[::-1]
    far, wide = _either_way(effect), _either_ratio(ratio)
    lies = say(
        "{high} lies {by} sigma above {low} ({least} to {most})", high=high, low=low, **_figures(far, "by")
    )
    even, scatters = names if ratio.value >= 1 else names[::-1]
    spreads = say(
        "{scatters} scatters {times} times as wide as {even} ({least} to {most})",
        scatters=scatters,
        even=even,
        **_figures(wide, "times"),
    )
    said = [lies] * (apart or not wider) + [spreads] * wider
    return f"{stream}: {say(' and ').join(said)}"


def _figures(found: Between, name: str) -> dict[str, str]:
    return {
        name: number(found.value, 2),
        "least": number(found.low, 2),
        "most": number(found.high, 2),
    }
