"""Statements over several streams of one feature: only where they may be pooled."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from cellmon.capability.fitted import fitted_indices
from cellmon.capability.pooling import LEAST, may_pool
from cellmon.errors import NoSpread, NotEnoughData
from cellmon.monitor.answers import Estimate
from cellmon.monitor.capability_figures import ZERO_BOUNDED, Held
from cellmon.records import Numbers, Stream


@dataclass(frozen=True, kw_only=True)
class PooledCapability:
    """The streams of one feature of one part taken together, or why they may not be."""

    feature: str
    part_number: str
    streams: tuple[str, ...]
    n: int
    may_be_pooled: bool
    ppk: Estimate | None
    lower_bound: float | None
    reasons: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class Member:
    """One stream's share in a pool."""

    stream: Stream
    name: str
    values: Numbers
    """The charted figure, on which levels and spreads are compared."""
    held: tuple[Held, ...]
    worth: float


def pooled(members: Sequence[Member], *, claim_confidence: float) -> tuple[PooledCapability, ...]:
    """Answer for each feature and part with two or more streams of enough bores."""
    groups: dict[tuple[str, str], dict[str, Member]] = {}
    for one in members:
        if len(one.values) >= LEAST:
            key = one.stream.part_number, one.stream.feature
            groups.setdefault(key, {})[one.name] = one
    found = (
        _pooled(part, feature, group, claim_confidence)
        for (part, feature), group in groups.items()
        if len(group) > 1
    )
    return tuple(row for row in found if row is not None)


def _pooled(
    part: str, feature: str, group: Mapping[str, Member], claim_confidence: float
) -> PooledCapability | None:
    try:
        judged = may_pool({name: one.values for name, one in group.items()})
        ppk, bound = (
            _together(list(group.values()), feature, claim_confidence) if judged.may else (None, None)
        )
    except (NotEnoughData, NoSpread):
        return None
    return PooledCapability(
        feature=feature,
        part_number=part,
        streams=tuple(group),
        n=sum(len(one.values) for one in group.values()),
        may_be_pooled=judged.may,
        ppk=ppk,
        lower_bound=bound,
        reasons=judged.reasons,
    )


def _together(
    members: list[Member], feature: str, claim_confidence: float
) -> tuple[Estimate | None, float | None]:
    """Return Ppk of all bores together, the worse limit's, and its cautious bound."""
    worth = min(one.worth for one in members)
    found = []
    for sides in zip(*(one.held for one in members), strict=True):
        values = np.concatenate([side.values for side in sides])
        found.append(
            fitted_indices(
                values,
                lower=sides[0].lower,
                upper=sides[0].upper,
                zero_bounded=feature in ZERO_BOUNDED and sides[0].lower is None and bool(values.min() >= 0),
                worth=worth,
                claim_confidence=claim_confidence,
            )
        )
    ppk = min(found, key=lambda f: f.ppk.value).ppk
    return Estimate.of(ppk, confidence=ppk.confidence), min(f.cautious_bound for f in found)
