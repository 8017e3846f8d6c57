"""A small cell, and files written the way gauges, spreadsheets and people write them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from cellmon.intake import TakenFile, parse_sheet
from cellmon.records import Readings
from cellmon.sheet import Sheet

SHEET = """
[cell]
name = "Line 3"
timezone = "Europe/Berlin"
[part]
number = "HM-214"
bores = ["1", "2", "3", "4"]
length_mm = 140.0
[features.diameter]
nominal = 87.300
lower = 87.300
upper = 87.324
[measuring]
planes = { top = 15.0, middle = 70.0, bottom = 125.0 }
directions = { x = 0, y = 90 }
gauge = "G1"
[[gauges]]
id = "G2"
unit = "in"
[[spindles]]
id = "S1"
bores = ["1", "2"]
[[spindles]]
id = "S2"
bores = ["3", "4"]
"""

LONG = "part,bore,spindle,measured_at,plane,direction,diameter\n"
WIDE = "part,bore,spindle,measured_at,top_x,top_y,middle_x,middle_y,bottom_x,bottom_y\n"


def sheet_with(*pairs: tuple[str, str], added: str = "") -> Sheet:
    """Return the sheet with texts replaced and lines added at the end."""
    text = SHEET
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new)
    return parse_sheet(text + added).sheet


@pytest.fixture(scope="session")
def sheet() -> Sheet:
    return parse_sheet(SHEET).sheet


@pytest.fixture
def write(tmp_path: Path) -> Callable[..., Path]:
    def written(content: str | bytes, name: str = "readings.csv") -> Path:
        path = tmp_path / name
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return path

    return written


def lines_taken(taken: TakenFile) -> list[int]:
    """Return every file line that became part of the batch."""
    if taken.batch is None:
        return []
    if not isinstance(taken.batch, Readings):
        return sorted(taken.batch.line.tolist())
    return sorted(set(taken.batch.lines[taken.batch.lines > 0].tolist()))


def is_accounted_for(taken: TakenFile) -> None:
    """Fail unless each row of the file is taken, refused or repeated, and none of them twice."""
    lines = lines_taken(taken)
    refused = [row.line for row in taken.refused]
    assert len(lines) + len(refused) + taken.repeated == taken.rows
    assert not set(lines) & set(refused)
    assert refused == sorted(set(refused))
    if isinstance(taken.batch, Readings):
        assert ((taken.batch.lines > 0) == ~np.isnan(taken.batch.um)).all()
        assert (taken.batch.lines > 0).any(axis=(1, 2)).all()


def reasons(taken: TakenFile) -> list[tuple[int, str]]:
    """Return line and reason of what was refused."""
    return [(row.line, row.reason.value) for row in taken.refused]
