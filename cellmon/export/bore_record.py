"""The record of honing by hand as a table, and as a file whose name says which."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from cellmon.errors import WrongUsage
from cellmon.export.documents import document
from cellmon.export.tables import Table, table_of

if TYPE_CHECKING:
    from cellmon.monitor.bore.record_results import HandRecord, RecordBore

ROUND_COLUMNS = (
    *("number", "at", "stones", "strokes_full", "strokes_top", "strokes_bottom", "rpm", "strokes_per_min"),
    *("feed_um", "part_temp_c", "kept", "by", "note", "corrected"),
)


def write_record(record: HandRecord, path: Path, *, zone: ZoneInfo) -> None:
    """Write a record; the name's ending says as what.

    Raises
    ------
    WrongUsage
        When it ends in none of .pdf, .csv and .json.
    """
    from cellmon.export.files import Format, write_document, write_table

    if path.suffix == ".json":
        write_document(document(record, zone=zone), path)
    elif path.suffix == ".csv":
        write_table(record_table(record, zone=zone), path, to=Format.CSV)
    elif path.suffix == ".pdf":
        from cellmon.export.bore_paper import record_head, record_leaves
        from cellmon.export.paper import write_pdf

        write_pdf(record_leaves(record), path, head=record_head(record))
    else:
        raise WrongUsage(f"a record ends in .pdf, .csv or .json, not {path.name}")


def record_table(record: HandRecord, *, zone: ZoneInfo) -> Table:
    """Return one row a round, sizes as read in µm from nominal; what is of the whole stands in every row."""
    rows = [row for one in record.bores for row in _rows(record, one)]
    return table_of("record", rows, record, zone=zone)


def _rows(record: HandRecord, one: RecordBore) -> list[dict[str, Any]]:
    of_all = {
        "shop": record.shop,
        "reference": record.reference or None,
        "job": record.job or None,
        "part": record.part,
        "part_number": record.part_number,
        "bore": one.bore,
        "nominal_mm": record.nominal_mm,
        "lower_um": record.lower_um,
        "upper_um": record.upper_um,
    }
    room, hatch = one.answer.clearance, one.answer.crosshatch
    last = {
        "finished": one.finished,
        "verdict": None if one.verdict is None else one.verdict.value,
        "guard_um": record.guard_um,
        "mating_part": None if room is None else room.mating_part,
        "clearance_least_um": None if room is None else room.least_um,
        "crosshatch_measured_deg": None if hatch is None else hatch.measured_deg,
        "cleaned": record.cleaned,
        "cleaned_at": record.cleaned_at,
        "cleaned_by": record.cleaned_by,
        "signed_by": record.by or None,
    }
    rounds = one.answer.rounds
    return [
        {
            **of_all,
            **{("round" if name == "number" else name): getattr(r, name) for name in ROUND_COLUMNS},
            **{f"{place}_um": um for place, um in r.um.items()},
            **(last if r is rounds[-1] else dict.fromkeys(last)),
        }
        for r in rounds
    ]
