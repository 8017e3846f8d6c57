"""From rows of readings to judged bores: merged, corrected where a person said so, measured, doubted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cellmon.bores.form import TwoPointFeatures, two_point_features
from cellmon.bores.measurements import measurement_numbers
from cellmon.bores.temperature import correction_um
from cellmon.judged import FEATURE_COLUMNS, Bores, Doubts, StoredReadings
from cellmon.monitor.judge.context import Context
from cellmon.monitor.judge.doubts import CONTEXT_FLAGS, correct, doubts_of
from cellmon.monitor.judge.verdict import verdict_codes
from cellmon.monitor.rules import SheetInForce, Unit
from cellmon.records import Numbers, Readings, Texts, Whole, absent
from cellmon.records.alike import Numbered, numbered, said
from cellmon.sheet import Part, Sheet, Zeroing

CARRIED = ("fixture", "operator", "sequence", "honed_at", "cycle_s", "feed_um", "load_pct", "load_ripple_pct")


def judged_bores(
    stored: StoredReadings, version: SheetInForce, units: Sequence[Unit], context: Context
) -> tuple[Bores, Doubts]:
    """Return the measurements that begin in some units, judged, and the doubts about them."""
    sheet = version.sheet
    merged, bounds = _merged(stored, sheet)
    readings = merged.readings
    starts, ends = np.array([(u.start, u.end) for u in units], dtype="datetime64[us]").T
    unit = np.searchsorted(starts, readings.measured_at, side="right") - 1
    inside = (unit >= 0) & (readings.measured_at < ends[unit])
    merged, bounds, unit = merged.select(inside), bounds[inside], unit[inside]
    readings = merged.readings
    um = _deviations(readings, sheet)
    doubts = doubts_of(merged, um, sheet, context, unit_start=starts[unit])
    um, spindle, flags = correct(readings, um, doubts, context)
    when = np.where(np.isnat(readings.honed_at), readings.measured_at, readings.honed_at)
    order, position = _made_order(readings, starts[unit])
    features = _features(readings, um, sheet)
    trace_size, trace_gauge = _of_traces(readings, context)
    bores = Bores(
        planes=tuple(sheet.measuring.planes),
        directions=tuple(sheet.measuring.directions),
        um=um,
        part_number=readings.part_number,
        part=readings.part,
        bore=readings.bore,
        spindle=spindle,
        gauge=readings.gauge,
        measured_at=readings.measured_at,
        unit_start=starts[unit],
        shift_start=version.calendar.starts_of(readings.measured_at),
        stage=readings.stage,
        charted=np.zeros(len(readings), dtype=np.int64),
        flags=flags,
        verdict=np.zeros(len(readings), dtype=np.int64),
        sheet=np.full(len(readings), version.version),
        position=position,
        stone_set=_stone_set(readings, context, spindle, when),
        part_temp_c=readings.part_temp_c,
        master_temp_c=readings.master_temp_c,
        thermal=_thermal(readings, sheet),
        trace_size=trace_size,
        trace_gauge=trace_gauge,
        **{name: getattr(readings, name) for name in CARRIED},
        **{name: getattr(features, name) for name in FEATURE_COLUMNS},
    )
    bores = replace(bores, verdict=verdict_codes(bores, sheet))
    return bores.select(order), doubts


def charted(bores: Bores, sheet: Sheet, elsewhere: NDArray[np.bool_]) -> Bores:
    """Mark the first complete measurement of each bore by a gauge that serves the streams.

    `elsewhere` marks bores whose charted measurement was made before, in another unit.
    """
    complete = np.isfinite(bores.um).all(axis=(1, 2))
    value_doubt = (bores.flags & ~CONTEXT_FLAGS) != 0
    serving, gauges = np.zeros(len(bores), dtype=bool), Numbered.of(bores.gauge)
    for gauge in sheet.stream_gauges:
        serving |= gauges.says(gauge)
    machine = Numbered.of(bores.stage).says("finish") & serving
    able = (complete | value_doubt) & machine & ~elsewhere
    rows = np.flatnonzero(able)
    rows = rows[np.argsort(bores.measured_at[rows], kind="stable")]
    import pandas as pd

    part, bore = (numbered(column[rows])[0] for column in (bores.part, bores.bore))
    first = ~pd.Series(part * (bore.max(initial=0) + 1) + bore).duplicated().to_numpy()
    marked = np.zeros(len(bores), dtype=np.int64)
    marked[rows[first]] = 1
    return replace(bores, charted=marked)


def _merged(stored: StoredReadings, sheet: Sheet) -> tuple[StoredReadings, NDArray[np.datetime64]]:
    """Join rows into measurements, first row first, late or ahead where any is; and when the last was."""
    r = _complete_words(stored.readings, sheet)
    read = np.isfinite(r.um)
    number = measurement_numbers(r.gauge, r.part, r.bore, r.measured_at, r.measurement, read)
    order = np.lexsort((np.argmax(read.reshape(len(r), -1), axis=1), r.measured_at, number))
    number = number[order]
    first = np.concatenate(([True], number[1:] != number[:-1]))
    starts = np.flatnonzero(first)
    merged = r.select(order[starts])
    late, ahead = (np.logical_or.reduceat(of[order], starts) for of in (stored.late, stored.ahead))
    last_at = np.maximum.reduceat(r.measured_at[order].astype(np.int64), starts).view("datetime64[us]")
    if len(starts) < len(order):
        cells = r.um[order]
        count = np.add.reduceat(np.isfinite(cells), starts, axis=0)
        total = np.add.reduceat(np.nan_to_num(cells), starts, axis=0)
        um = np.where(count > 0, total, np.nan)
        repeated = np.logical_or.reduceat(r.repeated_hour[order], starts)
        merged = replace(merged, um=um, repeated_hour=repeated)
    return StoredReadings(readings=merged, late=late, ahead=ahead), last_at


def _complete_words(r: Readings, sheet: Sheet) -> Readings:
    """Say what the sheet says where a row is silent: gauge, part number, stage."""
    return replace(
        r,
        gauge=_filled(r.gauge, sheet.measuring.gauge),
        part_number=_filled(r.part_number, sheet.part().number),
        stage=_filled(r.stage, "finish"),
    )


def _filled(texts: Texts, word: str) -> Texts:
    gone = absent(texts)
    return np.where(gone, said(word, len(texts)), texts) if gone.any() else texts


def _deviations(r: Readings, sheet: Sheet) -> NDArray[np.float64]:
    """Return readings on the sheet's planes and directions, from the sheet's nominal, at 20 degrees
    where the sheet asks for it."""
    measuring = sheet.measuring
    um = r.laid_on(tuple(measuring.planes), tuple(measuring.directions)).copy()
    zero = measuring.zeroed_at or Zeroing()
    for number in set(r.part_number.tolist()):
        here = r.part_number == number
        part = _part(sheet, number)
        off = (r.nominal_mm[here] - part.diameter.nominal) * 1000.0
        if measuring.temperature == "correct" and part.expansion is not None:
            off = off + correction_um(
                part.diameter.nominal,
                r.part_temp_c[here],
                r.master_temp_c[here],
                part_expansion=part.expansion,
                master_expansion=measuring.master_expansion_per_c,
                zeroed_part_c=zero.part_c,
                zeroed_master_c=zero.master_c,
            )
        um[here] += off[:, None, None]
    return np.round(um, 4)


def _thermal(r: Readings, sheet: Sheet) -> Numbers:
    """Return what the temperatures of part and master made each bore read too large, micrometres.

    Nothing where the readings are referred to 20 degrees already; nan where no temperature is known.
    """
    measuring, zero = sheet.measuring, sheet.measuring.zeroed_at or Zeroing()
    high = np.full(len(r), np.nan)
    for number in set(r.part_number.tolist()):
        part = _part(sheet, number)
        here = (r.part_number == number) & np.isfinite(r.part_temp_c)
        if measuring.temperature == "correct":
            high[here] = 0.0
        elif part.expansion is not None and here.any():
            high[here] = -correction_um(
                part.diameter.nominal,
                r.part_temp_c[here],
                r.master_temp_c[here],
                part_expansion=part.expansion,
                master_expansion=measuring.master_expansion_per_c,
                zeroed_part_c=zero.part_c,
                zeroed_master_c=zero.master_c,
            )
    return np.round(high, 4)


def _part(sheet: Sheet, number: str) -> Part:
    return next((p for p in sheet.parts if p.number == number), sheet.part())


def _features(r: Readings, um: NDArray[np.float64], sheet: Sheet) -> TwoPointFeatures:
    measuring = sheet.measuring
    lengths = {_part(sheet, number).length_mm for number in set(r.part_number.tolist())}
    return two_point_features(
        um,
        depths_mm=tuple(measuring.planes.values()),
        angles_deg=tuple(measuring.directions.values()),
        length_mm=lengths.pop() if len(lengths) == 1 else None,
    )


def _stone_set(r: Readings, context: Context, spindle: Texts, when: NDArray[np.datetime64]) -> Texts:
    fitted = context.set_fitted(spindle, when)
    return np.where(absent(r.stone_set), fitted, r.stone_set)


def _of_traces(r: Readings, context: Context) -> tuple[Numbers, Texts]:
    """Return the size of each bore from its newest trace and who traced it; nan where none was."""
    size, gauge = np.full(len(r), np.nan), np.full(len(r), None, dtype=object)
    if context.traced:
        for i, key in enumerate(zip(r.part, r.bore, strict=True)):
            found = context.traced.get(key)
            if found is not None and found.value is not None:
                size[i], gauge[i] = found.value, found.of.gauge
    return size, gauge


def _made_order(r: Readings, unit_start: NDArray[np.datetime64]) -> tuple[Whole, Whole]:
    """Return the order in which bores were made, and each bore's place in it within its unit.

    By sequence where every row of a unit has one, else by time; then by part and bore.
    """
    _, unit = np.unique(unit_start, return_inverse=True)
    unnumbered = np.bincount(unit, weights=np.isnan(r.sequence), minlength=1) > 0
    made: Numbers = np.where(unnumbered[unit], r.measured_at.astype(np.int64), r.sequence)
    order = np.lexsort((r.measured_at, made, unit))
    if _tied(order, r.measured_at, made, unit):  # words are slow to sort
        order = np.lexsort(
            (r.gauge.astype(str), r.bore.astype(str), r.part.astype(str), r.measured_at, made, unit)
        )
    position = np.empty(len(r), dtype=np.int64)
    position[order] = np.arange(len(r))
    begins = np.full(unit.max() + 1 if len(unit) else 0, len(r))
    np.minimum.at(begins, unit, position)
    return order, position - begins[unit]


def _tied(order: Whole, *columns: NDArray[Any]) -> bool:
    """Return whether two rows are alike in all of some columns by which they stand in order."""
    alike = np.ones(max(len(order) - 1, 0), dtype=bool)
    for column in columns:
        alike &= column[order[1:]] == column[order[:-1]]
    return bool(alike.any())
