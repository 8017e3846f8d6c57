"""The record of one bore in the hand: every round as received, in between and finished; CSV or JSON."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from cellmon.errors import WrongUsage
from cellmon.export.documents import as_json, document

if TYPE_CHECKING:
    from cellmon.monitor.bore import BoreAnswer, BoreRound

ROUND_COLUMNS = (
    *("number", "at", "stones", "strokes_full", "strokes_top", "strokes_bottom", "rpm", "feed_um"),
    *("part_temp_c", "kept", "by", "note", "corrected"),
)


def write_record(answer: BoreAnswer, path: Path, *, zone: ZoneInfo) -> None:
    """Write a bore's record; the name's ending says as what.

    Raises
    ------
    WrongUsage
        When it ends neither in .csv nor in .json, or nothing was measured.
    """
    if not answer.rounds:
        raise WrongUsage(f"nothing of bore {answer.bore} of {answer.part} was measured")
    if path.suffix == ".json":
        path.write_bytes(as_json(document(answer, zone=zone)))
    elif path.suffix == ".csv":
        path.write_text(record_csv(answer), encoding="utf-8", newline="")
    else:
        raise WrongUsage(f"a record ends in .csv or .json, not {path.name}")


def record_csv(answer: BoreAnswer) -> str:
    """Return the rounds as CSV, one a line, sizes as deviations from nominal in µm."""
    places = list(answer.rounds[0].um)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(
        ["part", "part_number", "bore", "nominal_mm", *ROUND_COLUMNS, *(f"{place}_um" for place in places)]
    )
    head = [answer.part, answer.part_number, answer.bore, answer.nominal_mm]
    writer.writerows([*head, *_row(one, places)] for one in answer.rounds)
    return out.getvalue()


def _row(one: BoreRound, places: list[str]) -> list[object]:
    kept = [one.at.isoformat() if name == "at" else getattr(one, name) for name in ROUND_COLUMNS]
    return ["" if value is None else value for value in (*kept, *(one.um[place] for place in places))]
