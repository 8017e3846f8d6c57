"""Audits as streams: a feature that another instrument measures, of one bore, value after value.

A pure function of the rows and of the sheet in force. Where a series is shown it is computed anew: audits
are few, one of each spindle and shift. What it called is kept, `cellmon.monitor.judge.audit_stands`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Protocol

import numpy as np

from cellmon.charts.individuals import BASELINE_VALUES, Scale, on_scale, refusal_of, scale_of
from cellmon.charts.level_watch import LevelWatch, watch_level
from cellmon.drift.watch import LEVEL_K
from cellmon.monitor.judge.allowed import Allowed
from cellmon.monitor.judge.budget import level_limits
from cellmon.records import Characteristics, Findings, Numbers, Stream, Texts, Times, Whole
from cellmon.records.alike import numbered
from cellmon.sheet import TRACE_SIZE, Part, Sheet
from cellmon.words import say, to_say

IN_UM = {
    "um": 1.0,
    "µm": 1.0,
    "μm": 1.0,
    "micron": 1.0,
    "mm": 1000.0,
    "nm": 0.001,
    "in": 25400.0,
    "inch": 25400.0,
    "µin": 0.0254,
    "μin": 0.0254,
    "uin": 0.0254,
}
"""Micrometres in one of each unit of length an instrument may name (the inch is 25.4 mm, 1959)."""
SAME = {"°": "deg", "degree": "deg", "degrees": "deg", "percent": "%"}
"""Other words for a unit."""
NO_LOGARITHM = to_say("at or below nought: no place on a log scale")
OTHER_PLANES = to_say("measured in other planes or by another instrument than most")
OTHER_UNIT = to_say("in another unit than the sheet's")
NOT_ROUTED = to_say("its spindle is not on the sheet, so no share of the false alarms is planned for it")


@dataclass(frozen=True, kw_only=True, eq=False)
class AuditSeries:
    """One feature of one bore, a value an audited block, in order of time.

    Rows of one block in several planes are one value, their mean; measured again, the first counts.
    """

    stream: Stream
    unit: str
    scale: Scale
    part: Texts
    at: Times
    value: Numbers
    left_out: tuple[str, ...]
    """What was left out of the series, and why."""
    gauge: str | None = None
    """The instrument, the first where a block is measured by several."""
    measured: frozenset[tuple[str, str]] = frozenset()
    """In which planes and by which instruments a block of it is measured."""


@dataclass(frozen=True, kw_only=True, eq=False)
class JudgedSeries:
    """A series with what was watched of it; no watch where nothing is called a limit."""

    series: AuditSeries
    watch: LevelWatch | None
    why_not: str | None


def part_of_feature(sheet: Sheet, name: str) -> Part:
    """Return the first part with a feature: rows of audits name no drawing."""
    return next((p for p in sheet.parts if name in p.features or name in p.audited), sheet.part())


def in_sheet_units(rows: Characteristics, sheet: Sheet) -> Characteristics:
    """Return rows with values in the sheet's units; nan where the unit named cannot be brought to it."""
    value = rows.value.copy()
    for name in set(rows.characteristic.tolist()):
        own = unit_of(sheet, name)
        here = rows.characteristic == name
        for given in set(rows.unit[here].tolist()) - {None}:
            mine = here & (rows.unit == given)
            value[mine] *= _factor(given, own)
    return replace(rows, value=value)


def unit_of(sheet: Sheet, feature: str) -> str:
    """Return the unit of a feature that an instrument measures; micrometres unless the sheet says else."""
    named = getattr(part_of_feature(sheet, feature).feature(feature), "unit", None)
    return "µm" if named is None or _plain(named) in ("um", "µm", "μm") else str(named)


def _factor(given: str, own: str) -> float:
    one, other = _plain(given), _plain(own)
    if one == other:
        return 1.0
    if one in IN_UM and other in IN_UM:
        return IN_UM[one] / IN_UM[other]
    return float("nan")


def _plain(unit: str) -> str:
    known = unit.strip().lower()
    return SAME.get(known, known)


def audited_spindles(rows: Characteristics | Findings, sheet: Sheet) -> Texts:
    """Return the spindle of each row: as it says, else the only one that hones its bore, else ""."""
    usual = {bore: sheet.usual_spindle(bore) for bore in set(rows.bore.tolist())}
    return np.array([s or usual[b] or "" for s, b in zip(rows.spindle, rows.bore, strict=True)], object)


def audit_series(rows: Characteristics, sheet: Sheet) -> Iterator[AuditSeries]:
    """Yield the series of every feature that the sheet has from another instrument, streams in order."""
    audited = {name for part in sheet.parts for name in part.audited}
    wanted = np.array([name in audited for name in rows.characteristic], dtype=bool)
    for stream, mine in rows_by_stream(rows.select(wanted), sheet).items():
        yield series_of(stream, mine, sheet)


def rows_by_stream(rows: Characteristics, sheet: Sheet) -> dict[Stream, Characteristics]:
    """Return the rows of features of the sheet by their streams, streams in order."""
    spindles = audited_spindles(rows, sheet)
    places: dict[tuple[str, str, str], list[int]] = {}
    for i, place in enumerate(zip(rows.characteristic, spindles, rows.bore, strict=True)):
        places.setdefault(place, []).append(i)
    found = {}
    for (name, spindle, bore), mine in sorted(places.items()):
        part = part_of_feature(sheet, name)
        stream = Stream(part_number=part.number, spindle=spindle or None, bore=bore, feature=name)
        found[stream] = rows.select(np.array(mine))
    return found


class Known(Protocol):
    """What the first blocks of a series settle for good."""

    @property
    def measured(self) -> frozenset[tuple[str, str]]: ...
    @property
    def scale(self) -> Scale: ...


def series_of(stream: Stream, rows: Characteristics, sheet: Sheet, known: Known | None = None) -> AuditSeries:
    """Bring the rows of one feature and bore to one value a block; those after the first by what is known."""
    rows = in_sheet_units(rows, sheet)
    there = np.isfinite(rows.value)
    left_out = _counted(int((~there).sum()), OTHER_UNIT)
    rows = rows.select(there)
    rows = rows.select(np.lexsort((rows.value, rows.plane.astype(str), rows.gauge.astype(str), rows.at)))
    found = _by_block(rows, None if known is None else known.measured)
    left_out += _counted(found.others, OTHER_PLANES)
    at, names, value = rows.at[found.first], rows.part[found.first], found.value
    scale = _scale(stream.feature, value, sheet) if known is None else known.scale
    there = np.isfinite(on_scale(value, scale))
    left_out += _counted(int((~there).sum()), NO_LOGARITHM)
    return AuditSeries(
        stream=stream,
        unit=unit_of(sheet, stream.feature),
        scale=scale,
        part=names[there],
        at=at[there],
        value=value[there],
        left_out=left_out,
        gauge=rows.gauge[found.first[0]] if len(found.first) else None,
        measured=found.measured,
    )


def _scale(name: str, value: Numbers, sheet: Sheet) -> Scale:
    """Return the scale of a series, by the sheet and its first values."""
    feature = part_of_feature(sheet, name).feature(name)
    assert feature is not None, "only features of the sheet have a series"
    if name == TRACE_SIZE:  # nominal is no nought below which a size cannot fall
        return Scale.PLAIN
    return scale_of(value[:BASELINE_VALUES], lower=feature.lower_um, upper=feature.upper_um)


@dataclass(frozen=True, kw_only=True, eq=False)
class _ByBlock:
    """Blocks that are measured as most are, in the order of their first rows."""

    first: Whole
    """The first row of each."""
    value: Numbers
    """The mean of what was measured first in each plane by each instrument."""
    measured: frozenset[tuple[str, str]]
    """In which planes and by which instruments."""
    others: int
    """How many more blocks there are, measured otherwise."""


def _by_block(rows: Characteristics, usual: frozenset[tuple[str, str]] | None) -> _ByBlock:
    """Gather rows, in order of time, by their blocks; without `usual` as most of the first are measured."""
    block, parts = numbered(rows.part)
    numbers: dict[tuple[str | None, str | None], int] = {}
    pairs = zip(rows.plane.tolist(), rows.gauge.tolist(), strict=True)
    place = np.array([numbers.setdefault(pair, len(numbers)) for pair in pairs], dtype=np.int64)
    places = [(str(plane), str(gauge)) for plane, gauge in numbers]
    once = np.sort(np.unique(block * len(places) + place, return_index=True)[1])
    block, place = block[once], place[once]
    if usual is None:
        usual = _usual(block, place, places)
    is_usual = np.isin(place, [i for i, one in enumerate(places) if one in usual])
    many, alike = (np.bincount(of, minlength=len(parts)) for of in (block, block[is_usual]))
    kept = (alike == len(usual)) & (many == len(usual))
    total = np.bincount(block, weights=rows.value[once], minlength=len(parts))
    return _ByBlock(
        first=once[np.unique(block, return_index=True)[1]][kept],
        value=total[kept] / many[kept],
        measured=usual,
        others=int((~kept).sum()),
    )


def _usual(block: Whole, place: Whole, places: Sequence[tuple[str, str]]) -> frozenset[tuple[str, str]]:
    """Return which planes and instruments most of the first blocks have; of equally many the earlier."""
    first = range(min(int(block.max(initial=-1)) + 1, BASELINE_VALUES))
    counts = Counter(frozenset(places[i] for i in place[block == one]) for one in first)
    return max(counts, key=lambda one: counts[one]) if counts else frozenset()


def _counted(many: int, why: str) -> tuple[str, ...]:
    return (f"{many} left out, {why}",) if many else ()  # in English; whoever shows it says it


def judged_series(series: AuditSeries, allowed: Allowed) -> JudgedSeries:
    """Watch one series with its share of the false alarms, or say why it is not watched."""
    why_not = refusal_of(series.value, series.scale)
    rates = allowed.log_rates(series.stream, series.at)
    if why_not is None and rates is None:
        why_not = say(NOT_ROUTED)
    if why_not is not None or rates is None:
        return JudgedSeries(series=series, watch=None, why_not=why_not)
    y = on_scale(series.value, series.scale)
    return JudgedSeries(series=series, watch=_watched(y.tobytes(), rates.tobytes()), why_not=None)


REFERENCES = tuple(float(k) for k in LEVEL_K[:, 0])
"""Of the sums that watch a level, standard deviations."""


def limits_of(log_rates: Numbers) -> Numbers:
    """Return the limits of those sums at each of some rates, shape (n, sums)."""
    rates, which = np.unique(log_rates, return_inverse=True)
    each = [level_limits(float(rate)) for rate in rates]
    return np.array(each).reshape(-1, len(REFERENCES))[which]


@lru_cache(maxsize=512)
def _watched(values: bytes, log_rates: bytes) -> LevelWatch:
    """Return the watch of a series; it is asked for at every look at the signals."""
    limits = limits_of(np.frombuffer(log_rates))
    return watch_level(np.frombuffer(values), references=REFERENCES, limits=limits)
