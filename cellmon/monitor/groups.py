"""To which fixture, side and place in the block each bore of a spindle belongs, and what moves its level."""

from __future__ import annotations

import numpy as np

from cellmon.charts.splits import LEAST_IN_GROUP
from cellmon.judged import SIZE_COLUMNS, Bores
from cellmon.monitor.judge.doubts import CONTEXT_FLAGS
from cellmon.monitor.view import View
from cellmon.records import EventKind, Kind, Numbers, Texts, Times, Whole
from cellmon.sheet import DiameterFeature, Part

SAME = 0.9
"""Of the bores, when side and fixture say the same of so many they are one question."""
BREAKS = (
    EventKind.FEED_OFFSET,
    EventKind.GAUGE_ZEROED,
    EventKind.SETUP_CHANGED,
    EventKind.STONES_DRESSED,
    EventKind.STONES_FITTED,
)
"""What no stretch of bores reaches across."""


def fixture_tells(groups: Texts, fixture: Texts) -> bool:
    """Return whether nearly each fixture carries parts of one side only."""
    told = np.array([name is not None for name in fixture], dtype=bool)
    names, code = np.unique(fixture[told].astype(str), return_inverse=True)
    if len(names) < 2:
        return False
    one = np.bincount(code, weights=groups[told] == groups[told][0])
    all_of = np.bincount(code)
    large = all_of >= LEAST_IN_GROUP
    return float(np.maximum(one, all_of - one)[large].sum()) >= SAME * len(groups)


def sides(bores: Bores) -> Texts:
    """Return for each bore whether its part was an odd or an even one of those its spindle honed."""
    import pandas as pd

    place, _ = pd.factorize(bores.part)
    return np.where(place % 2 == 0, "odd", "even").astype(object)


def orders(bores: Bores) -> Texts:
    """Return for each bore as which of its part the spindle honed it; None where that is not known."""
    import pandas as pd

    part, _ = pd.factorize(bores.part)
    honed = bores.honed_at.astype(np.int64).astype(np.float64)
    timed = np.where(np.isnat(bores.honed_at), np.nan, honed)
    found: Texts = np.full(len(bores), None, dtype=object)
    for when in (bores.sequence, timed):
        order = np.lexsort((when, part))
        first = np.searchsorted(part[order], np.arange(part.max() + 1))
        rank = np.empty(len(bores), dtype=np.int64)
        rank[order] = np.arange(len(bores)) - first[part[order]]
        tied = np.zeros(len(bores), dtype=bool)
        same = (part[order][1:] == part[order][:-1]) & ~(when[order][1:] > when[order][:-1])
        tied[order[1:]] |= same
        tied[order[:-1]] |= same
        bad = np.isin(part, part[tied | np.isnan(when)])
        many = np.bincount(part)[part] > 1
        told = ~bad & many
        found[told] = (rank[told] + 1).astype(str)
    return found


def segments(view: View, spindle: str, bores: Bores) -> Whole:
    """Number the times between shifts, offsets, zeroings, dressings and changes, each part by itself."""
    made: Times = np.where(np.isnat(bores.honed_at), bores.measured_at, bores.honed_at)
    events = view.session.rows(Kind.EVENTS, start=made.min(), end=made.max())
    moved = np.isin(events.event.astype(str), [str(kind) for kind in BREAKS])
    mine = moved & ((events.spindle == spindle) | (events.event == EventKind.GAUGE_ZEROED))
    after = np.searchsorted(np.sort(events.at[mine]), made)
    _, unit = np.unique(bores.unit_start, return_inverse=True)
    parts, part = np.unique(bores.part_number.astype(str), return_inverse=True)
    return np.asarray((unit * (len(events) + 1) + after) * len(parts) + part, dtype=np.int64)


def values_of(bores: Bores, part: Part) -> dict[str, Numbers]:
    """Return each charted feature of each bore; nan where the bore is doubted."""
    doubted = (bores.flags & ~CONTEXT_FLAGS) != 0
    found = {}
    for name in part.charted:
        feature = part.features[name]
        column = SIZE_COLUMNS.get(feature.size, "average") if isinstance(feature, DiameterFeature) else name
        found[name] = np.where(doubted, np.nan, getattr(bores, column))
    return found


def less_fixture(values: Numbers, fixture: Texts) -> Numbers:
    """Take out of each bore what its fixture does on average."""
    code = np.unique(fixture.astype(str), return_inverse=True)[1]
    known = np.isfinite(values)
    count = np.maximum(np.bincount(code, weights=known), 1.0)
    mean = np.bincount(code, weights=np.where(known, values, 0.0)) / count
    return np.asarray(values - mean[code], dtype=np.float64)
