"""Results as flat tables: one row a thing, the unit in the name of each column."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from cellmon.export.documents import stream_fields
from cellmon.monitor.answers import Answer, Estimate
from cellmon.monitor.audits import Audits, AuditStream, FindingStream
from cellmon.monitor.capability import CapabilityAnswer
from cellmon.monitor.capability_stream import StreamCapability
from cellmon.monitor.compare import ComparedStream, Comparison
from cellmon.monitor.fit import FitAnswer
from cellmon.monitor.hold import HeldPart, Hold
from cellmon.monitor.part import PartStory
from cellmon.monitor.part_bores import PartMeasurement
from cellmon.monitor.shifts import Shifts, StreamShift, SubgroupPoint
from cellmon.monitor.signals import Signal, Signals


@dataclass(frozen=True, kw_only=True, eq=False)
class Table:
    """Columns of one length, by name, and what every row of them rests on.

    Times are `datetime64[us]` in UTC, texts object arrays with None, numbers float64 with nan.
    """

    kind: str
    columns: Mapping[str, NDArray[Any]]
    as_of: datetime
    sheet: int
    zone: ZoneInfo

    def __len__(self) -> int:
        return len(next(iter(self.columns.values()), ()))


Row = dict[str, Any]
_FIGURES = (
    "_um",
    "ratio",
    "_weight",
    "cp",
    "cpk",
    "pp",
    "ppk",
    "_low",
    "_high",
    "_expected",
    "_observed",
    "_bound",
    "_confidence",
    *("_bores", "_dressing"),
    *("value", "lower", "center", "upper", "moving_range", "deviate", "most"),
)
"""How the names of columns of figures end, so that one in which nothing stands keeps its type."""


def capability_table(answer: CapabilityAnswer, *, zone: ZoneInfo) -> Table:
    """Return one row a stream: every index with its interval, the claim and what forbids it."""
    rows = [_capability_row(s, answer) for s in answer.capability]
    return table_of("capability", rows, answer, zone=zone)


def compare_table(answer: Comparison, *, zone: ZoneInfo) -> Table:
    """Return one row a stream: both sides, and the difference of level and spread with its interval."""
    rows = [_compared_row(s, answer) for s in answer.streams]
    return table_of("compare", rows, answer, zone=zone)


def shift_table(answer: Shifts, *, zone: ZoneInfo) -> Table:
    """Return one row a subgroup of the shift, with the limits it was held against."""
    rows = [_subgroup_row(stream, point) for stream in answer.shifts for point in stream.subgroups]
    return table_of("shift", rows, answer, zone=zone)


def signals_table(answer: Signals, *, zone: ZoneInfo) -> Table:
    """Return one row a signal: the change, its likeliest cause with the caution, and its answer."""
    return table_of("signals", [_signal_row(s) for s in answer.signals], answer, zone=zone)


def hold_table(answer: Hold, *, zone: ZoneInfo) -> Table:
    """Return one row a bore of a hold list: its verdict, and what became of its part."""
    return table_of("hold", [_held_row(p, answer) for p in answer.parts], answer, zone=zone)


def audits_table(answer: Audits, *, zone: ZoneInfo) -> Table:
    """Return every value of every audit with its limits, and every shift of every finding with its own."""
    rows = [row for s in answer.audits for row in _audit_rows(s)]
    rows += [row for s in answer.findings for row in _finding_rows(s)]
    return table_of("audits", rows, answer, zone=zone)


def part_table(
    answer: PartStory, *, zone: ZoneInfo, planes: Sequence[str], directions: Sequence[str]
) -> Table:
    """Return one row a measurement, one column a reading and a feature, micrometres from nominal."""
    rows = [_measurement_row(m, answer, planes=planes, directions=directions) for m in answer.measurements]
    return table_of("part", rows, answer, zone=zone)


def fit_table(answer: FitAnswer, *, zone: ZoneInfo) -> Table:
    """Return the pairing list: one row a pair, then the bores and the parts that are left over."""
    pairing = answer.pairing
    rows: list[Row] = [] if pairing is None else [dict(vars(pair)) for pair in pairing.pairs]
    if pairing is not None:
        rows += [{"part": left.part, "bore": left.bore, "bore_um": left.um} for left in pairing.left_bores]
        rows += [{"mating_part": left.part, "mating_um": left.um} for left in pairing.left_mates]
    return table_of("fit", rows, answer, zone=zone)


def bores_table(columns: Mapping[str, NDArray[Any]], *, as_of: datetime, sheet: int, zone: ZoneInfo) -> Table:
    """Return the bores' own columns as a table."""
    return Table(kind="bores", columns=dict(columns), as_of=as_of, sheet=sheet, zone=zone)


def table_of(kind: str, rows: Sequence[Row], answer: Answer, *, zone: ZoneInfo) -> Table:
    """Return rows as a table; a column stands where any row has it."""
    names = list(dict.fromkeys(name for row in rows for name in row))
    columns = {name: _column(name, [row.get(name) for row in rows]) for name in names}
    return Table(kind=kind, columns=columns, as_of=answer.as_of, sheet=answer.sheet, zone=zone)


def _column(name: str, cells: Sequence[Any]) -> NDArray[Any]:
    there = [cell for cell in cells if cell is not None]
    if there and all(isinstance(cell, bool) for cell in there) and len(there) == len(cells):
        return np.array(cells, dtype=bool)
    if there and all(isinstance(cell, datetime) for cell in there):
        naive = [None if c is None else c.astimezone(UTC).replace(tzinfo=None) for c in cells]
        return np.array(naive, dtype="datetime64[us]")
    if there and all(isinstance(cell, (int, float)) for cell in there):
        whole = len(there) == len(cells) and all(isinstance(cell, int) for cell in there)
        return np.array([np.nan if c is None else c for c in cells], dtype=np.int64 if whole else np.float64)
    if not there and name.endswith(_FIGURES):
        return np.full(len(cells), np.nan)
    texts = np.full(len(cells), None, dtype=object)
    texts[:] = [None if cell is None else str(cell) for cell in cells]
    return texts


def _estimate(name: str, estimate: Estimate | None) -> Row:
    return {
        name: estimate and estimate.value,
        f"{name}_low": estimate and estimate.low,
        f"{name}_high": estimate and estimate.high,
    }


def _capability_row(s: StreamCapability, answer: CapabilityAnswer) -> Row:
    indices = {"cp": s.cp, "cpk": s.cpk, "pp": s.pp, "ppk": s.ppk, "ppm_expected": s.ppm_expected}
    row: Row = stream_fields(s.stream) | {"bores": s.n, "model": s.model}
    row |= {"mean_um": s.mean_um, "sd_within_um": s.sd_within_um, "sd_total_um": s.sd_total_um}
    for name, estimate in indices.items():
        row |= _estimate(name, estimate)
    confidences = [e.confidence for e in indices.values() if e is not None and e.confidence is not None]
    row |= {"interval_confidence": confidences[0] if confidences else None, "ppm_observed": s.ppm_observed}
    row |= {"stable": s.stable, "movement": s.movement, "required": answer.required, "claim": s.claim}
    row |= {"lower_bound": s.lower_bound, "lower_bound_confidence": answer.confidence}
    row |= {"reasons": "; ".join(s.reasons) or None}
    return row | {"signature": s.signature.sentence if s.signature else None}


def _compared_row(s: ComparedStream, answer: Comparison) -> Row:
    row: Row = stream_fields(s.stream)
    for name, side, figures in (("first", answer.first, s.first), ("second", answer.second, s.second)):
        row |= {name: side.name, f"{name}_bores": figures.bores, f"{name}_stretches": figures.stretches}
        row |= {f"{name}_mean_um": figures.mean_um, f"{name}_sd_within_um": figures.sd_within_um}
    row |= _estimate("level_um", s.level_um) | _estimate("spread_ratio", s.spread_ratio)
    row |= {"interval_confidence": answer.each, "together_confidence": answer.confidence}
    row |= {"at_bores_since_dressing": s.at_bores_since_dressing}
    row |= {"slope_um_per_100_bores": s.slope_um_per_100_bores, "differs": "; ".join(s.differs) or None}
    return row | {"words": s.words, "why_not": "; ".join(dict.fromkeys(s.why_not.values())) or None}


def _subgroup_row(s: StreamShift, p: SubgroupPoint) -> Row:
    row: Row = stream_fields(s.stream)
    row |= {"shift": s.shift.name, "shift_date": s.shift.date.isoformat()}
    row |= {"shift_starts": s.shift.starts, "shift_ends": s.shift.ends, "shift_bores": s.bores}
    row |= {"shift_mean_um": s.mean_um, "previous_mean_um": s.previous_mean_um}
    row |= _estimate("moved_um", s.moved_um)
    row |= {"first_part": p.first_part, "last_part": p.last_part, "at": p.at, "bores": p.n}
    row |= {"mean_um": p.mean_um, "range_um": p.range_um}
    for name, limits in (("mean", p.mean_limits), ("range", p.range_limits)):
        for edge in ("lower", "center", "upper"):
            row[f"{name}_{edge}_um"] = None if limits is None else getattr(limits, edge)
    return row | {"beyond": "; ".join(p.beyond) or None, "flagged": p.flagged}


def _signal_row(s: Signal) -> Row:
    row: Row = {"id": s.id} | stream_fields(s.stream)
    row |= {"raised_at": s.raised_at, "part": s.part, "last_at": s.last_at, "last_part": s.last_part}
    row |= {"over": s.over, "kind": s.kind, "detector": s.detector, "size_um": s.size_um}
    row |= {"size": s.size, "unit": s.unit}
    row |= {"ratio": s.ratio, "streams": "; ".join(map(str, s.streams))}
    row |= {"state": s.state, "words": s.words, "owner": s.owner, "age_s": s.age_s}
    row |= _cause_cells(s)
    for name in ("at", "part", "earliest_at", "earliest_part", "latest_at", "latest_part"):
        row[f"change_{name}"] = None if s.change is None else getattr(s.change, name)
    for name in ("cause", "action", "by", "at", "seen"):
        row[f"answer_{name}"] = None if s.response is None else getattr(s.response, name)
    return row


def _cause_cells(s: Signal) -> Row:
    """Return the likeliest cause in full, and all of them with their weights in one cell."""
    first = s.causes[0] if s.causes else None
    row: Row = {"causes": "; ".join(f"{c.cause} {c.weight:g}" for c in s.causes) or None}
    row |= {"likely_cause": first and first.cause, "likely_cause_weight": first and first.weight}
    row |= {"likely_cause_title": first and first.title, "likely_cause_why": first and first.why}
    row |= {"check_first": first and first.check_first, "correction": first and first.correction}
    return row | {"caution": first and first.caution, "reaction": s.reaction}


def _held_row(p: HeldPart, answer: Hold) -> Row:
    row: Row = {"signal": answer.signal, "part": p.part, "bore": p.bore, "measured_at": p.measured_at}
    return row | {"verdict": p.verdict, "disposition": p.disposition}


def _audit_rows(s: AuditStream) -> Iterator[Row]:
    names = ("value", "lower", "center", "upper", "moving_range", "range_center", "range_upper", "deviate")
    for i in range(len(s.value)):
        row: Row = {"what": "audit"} | stream_fields(s.stream)
        row |= {"part": s.part[i], "at": _aware(s.at[i]), "unit": s.unit, "scale": s.scale.value}
        row |= {name: _finite(getattr(s, name)[i]) for name in names}
        known = bool(np.isfinite(s.upper[i]))
        row |= {"beyond": int(s.beyond[i]) if known else None}
        yield row | {"beyond_range": int(s.beyond_range[i]) if known else None}


def _finding_rows(s: FindingStream) -> Iterator[Row]:
    for i in range(len(s.bores)):
        row: Row = {"what": "finding"} | stream_fields(s.stream)
        row |= {"at": _aware(s.shift_start[i]), "unit": "bores", "shift": s.shift[i], "of": s.of}
        row |= {"bores": int(s.bores[i]), "found": int(s.found[i]), "most": _finite(float(s.most[i]))}
        yield row | {"beyond": int(s.beyond[i]) if np.isfinite(s.most[i]) else None}


def _aware(at: Any) -> datetime:
    plain: datetime = at.astype("datetime64[us]").item()
    return plain.replace(tzinfo=UTC)


def _measurement_row(
    m: PartMeasurement, story: PartStory, *, planes: Sequence[str], directions: Sequence[str]
) -> Row:
    row: Row = {"part": story.part, "part_number": story.part_number, "bore": m.bore, "spindle": m.spindle}
    row |= {"gauge": m.gauge, "measured_at": m.at, "stage": m.stage, "fixture": m.fixture}
    row |= {"stone_set": m.stone_set}
    row |= {name: _finite(um) for name, um in readings_by_name(m.um, planes, directions).items()}
    row |= {f"{name}_um": value for name, value in m.features.items()}
    row |= {"verdict": m.verdict, "charted": m.charted, "flags": "; ".join(m.flags) or None}
    return row


def readings_by_name(
    um: NDArray[np.float64], planes: Sequence[str], directions: Sequence[str]
) -> dict[str, float]:
    """Return the readings of one bore, shape (planes, directions), as `<plane>_<direction>_um`."""
    if um.shape != (len(planes), len(directions)):
        planes = [f"plane{i + 1}" for i in range(um.shape[0])]
        directions = [f"direction{i + 1}" for i in range(um.shape[1])]
    return {
        f"{plane}_{direction}_um": float(um[i, j])
        for i, plane in enumerate(planes)
        for j, direction in enumerate(directions)
    }


def _finite(value: float) -> float | None:
    return value if np.isfinite(value) else None
