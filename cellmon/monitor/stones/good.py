"""Bores until the form a set hones leaves its tolerance: the quality limit of its life."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from cellmon.drift.forecast import bores_to_limit
from cellmon.errors import NoSpread
from cellmon.monitor.running import is_running, routed_bores
from cellmon.monitor.stones.drifting import BLOCKS, clear_line
from cellmon.monitor.stones.formed import LOOKED_BACK, Formed
from cellmon.monitor.stones.log import Stay
from cellmon.monitor.stones.now import StonesNow
from cellmon.monitor.stones.quality import cycle_left, spread_left
from cellmon.monitor.stones.ranges import GoodBores
from cellmon.monitor.view import View
from cellmon.records import Stream
from cellmon.stones.life import Life
from cellmon.words import say, to_say

NO_DRIFT = to_say("no form, spread of sizes or honing time of this spindle drifts towards a limit")


def good_bores(now: StonesNow, stay: Stay, why_not: dict[str, str]) -> GoodBores | None:
    """Return what a fitted set is expected to bring to a limit first: form, spread of sizes, honing time.

    `why_not` is told where there is none. What was honed before the set was fitted is another's.
    """
    if stay.stone_set not in now.good:
        now.good[stay.stone_set] = _soonest(now, stay)
    found = now.good[stay.stone_set]
    if found is None:
        why_not["good_bores"] = say(NO_DRIFT)
    return found


def _soonest(now: StonesNow, stay: Stay) -> GoodBores | None:
    view, found = now.view, list[GoodBores]()
    start = max(stay.start, view.as_of - LOOKED_BACK)
    beside = len(routed_bores(view, stay.spindle))
    for stream, rows in now.formed.items():
        if stream.spindle == stay.spindle and is_running(view, stream, stay.spindle):
            one = _left(view, stream, rows, start, beside)
            found += [] if one is None else [one]
    others = (spread_left(view, stay), cycle_left(view, stay, now.kind_of(stay.stone_set)))
    found += [one for one in others if one is not None]
    return min(found, key=lambda one: one.p50, default=None)


def sooner_of(life: Life, good: GoodBores) -> Life:
    """Return the life that ends at whichever comes first, the least thickness or the quality limit.

    The range of the quality limit is straight between its quantiles; the two are taken as independent.
    """
    quality = np.array(list(_quantiles(good)))
    bores = np.unique(np.concatenate([life.bores, quality[:, 0]]))
    spoilt = np.interp(bores, quality[:, 0], quality[:, 1])
    chance = np.maximum.accumulate(1 - (1 - life.cdf(bores)) * (1 - spoilt))
    return Life(bores=bores, chance=chance, limited_by="quality" if good.p50 < life.p50 else "thickness")


def _quantiles(good: GoodBores) -> Iterator[tuple[float, float]]:
    """Yield bores and chances; what lies beyond the last quantile known never comes."""
    yield 0.0, 0.0
    last = 0.0
    for bores, chance in ((good.p05, 0.05), (good.p50, 0.5), (good.p95, 0.95)):
        if bores is not None and bores > last:
            yield float(bores), chance
            last = float(bores)
    if good.p95 is not None:
        yield last + max(float(good.p95 - good.p50), 1.0), 1.0


def _left(view: View, stream: Stream, rows: Formed, start: np.datetime64, beside: int) -> GoodBores | None:
    rows = rows.select(rows.first_at > start)
    line = clear_line(np.cumsum(rows.n).astype(np.float64), rows.mean) if len(rows) >= 3 * BLOCKS else None
    limits, sd = view.tolerance(stream), _bore_sd(rows)
    if line is None or not sd > 0 or (limits.lower_um is None and limits.upper_um is None):
        return None
    try:
        left = bores_to_limit(
            level_um=line.level,
            slope_um=line.slope,
            covariance=line.covariance,
            sigma_um=sd,
            lower_um=limits.lower_um,
            upper_um=limits.upper_um,
        )
    except NoSpread:
        return None
    if left is None:
        return None
    return GoodBores(
        p05=left.p05 * beside,
        p50=left.p50 * beside,
        p95=None if left.p95 is None else left.p95 * beside,
        feature=stream.feature,
        bore=stream.bore,
    )


def _bore_sd(rows: Formed) -> float:
    """Return the standard deviation of a bore inside subgroups; nan where none tells."""
    spread = np.asarray(rows.sd, dtype=np.float64)
    known = spread[np.isfinite(spread)]
    return float(np.sqrt((known**2).mean())) if len(known) else float("nan")
