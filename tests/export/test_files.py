"""Files: written whole or not at all, read back by independent libraries as what they were."""

from __future__ import annotations

import csv
import json
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pyarrow.parquet as pq
import pytest
import python_calamine
from hypothesis import given
from hypothesis import strategies as st

from cellmon.errors import WrongUsage
from cellmon.export import files
from cellmon.export.files import Format, write_document, write_table
from cellmon.export.tables import Table

ZONE = ZoneInfo("Europe/Berlin")
AS_OF = datetime(2026, 10, 25, 5, 0, tzinfo=UTC)
DANGEROUS = ["=1+1", "+49 30", "-5", "@SUM(A1)", "https://honing.example", 'a,b\n"c"', "0007"]


def table() -> Table:
    """One column of each type, with a gap in each that can have one."""
    n = len(DANGEROUS) + 1
    at = np.array(["2026-10-25T00:30", "2026-10-25T01:30"] + ["NaT"] * (n - 2), dtype="datetime64[us]")
    columns = {
        "part": np.array([*DANGEROUS, None], dtype=object),
        "measured_at": at,
        "mean_um": np.array([1 / 3, -1e-7, np.nan, 24.0, np.inf, 1e17, 0.1, 2.0]),
        "bores": np.arange(n, dtype=np.int64),
        "stable": np.array([True, False] * (n // 2)),
    }
    return Table(kind="bores", columns=columns, as_of=AS_OF, sheet=3, zone=ZONE)


def test_csv_keeps_every_digit_letter_and_offset(tmp_path):
    path = write_table(table(), tmp_path / "a.csv", to=Format.CSV)
    with path.open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [r["part"] for r in rows] == [*DANGEROUS, ""]
    assert [float(r["mean_um"]) for r in rows[:2]] == [1 / 3, -1e-7]
    assert rows[2]["mean_um"] == ""
    assert [r["measured_at"] for r in rows[:3]] == [
        "2026-10-25T02:30:00+02:00",
        "2026-10-25T02:30:00+01:00",
        "",
    ]
    assert {(r["as_of"], r["sheet_version"]) for r in rows} == {("2026-10-25T06:00:00+01:00", "3")}


def test_xlsx_has_numbers_as_numbers_and_text_as_text(tmp_path):
    path = write_table(table(), tmp_path / "a.xlsx", to=Format.XLSX)
    book = python_calamine.CalamineWorkbook.from_path(str(path))
    heading, *rows = book.get_sheet_by_name("bores").to_python()
    assert heading == list(table().columns)
    assert [row[0] for row in rows] == [*DANGEROUS, ""]
    assert [row[2] for row in rows[:4]] == [1 / 3, -1e-7, "", 24.0]
    assert rows[4][2] == ""
    assert rows[0][1] == rows[1][1] == datetime(2026, 10, 25, 2, 30)
    assert [row[4] for row in rows[:2]] == [True, False]
    about = dict(row[:2] for row in book.get_sheet_by_name("about").to_python())
    assert about["as of"] == "2026-10-25T06:00:00+01:00"
    assert about["sheet version in force"] == "3"


def test_xlsx_holds_no_formula_and_freezes_its_heading(tmp_path):
    import zipfile

    path = write_table(table(), tmp_path / "a.xlsx", to=Format.XLSX)
    with zipfile.ZipFile(path) as parts:
        sheet = parts.read("xl/worksheets/sheet1.xml").decode()
    assert "<f>" not in sheet
    assert 'state="frozen"' in sheet
    assert "hyperlink" not in sheet


def test_parquet_carries_types_and_zone(tmp_path):
    path = write_table(table(), tmp_path / "a.parquet", to=Format.PARQUET)
    arrow = pq.read_table(path)
    assert str(arrow.schema.field("measured_at").type) == "timestamp[us, tz=Europe/Berlin]"
    frame = pd.read_parquet(path)
    assert frame["measured_at"][1] == pd.Timestamp("2026-10-25T01:30Z")
    assert arrow["mean_um"].null_count == 1
    assert frame["bores"].dtype == np.int64
    assert frame["part"][0] == "=1+1"


def test_json_has_null_for_what_is_no_number(tmp_path):
    path = write_table(table(), tmp_path / "a.json", to=Format.JSON)
    found = json.loads(path.read_text())
    assert (found["as_of"], found["sheet"]) == ("2026-10-25T06:00:00+01:00", 3)
    assert [row["mean_um"] for row in found["bores"][:5]] == [1 / 3, -1e-7, None, 24.0, None]
    assert found["bores"][-1]["part"] is None


@pytest.mark.parametrize("to", list(Format))
def test_a_table_without_rows_is_a_file_with_a_heading(tmp_path, to):
    empty = {name: column[:0] for name, column in table().columns.items()}
    none = Table(kind="bores", columns=empty, as_of=AS_OF, sheet=3, zone=ZONE)
    assert write_table(none, tmp_path / f"a.{to}", to=to).stat().st_size > 0
    if to is Format.CSV:
        assert (tmp_path / "a.csv").read_text().startswith('"part"')


@pytest.mark.parametrize("to", list(Format))
def test_a_failed_write_leaves_what_stood_there(tmp_path, monkeypatch, to):
    path = tmp_path / f"a.{to}"
    path.write_text("what stood there")

    def fail(one: Table, beside: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setitem(files._WRITERS, to, fail)
    with pytest.raises(OSError, match="No space left"):
        write_table(table(), path, to=to)
    assert path.read_text() == "what stood there"
    assert list(tmp_path.iterdir()) == [path]


def test_the_name_must_say_the_format(tmp_path):
    with pytest.raises(WrongUsage, match=r"ends in \.csv"):
        write_table(table(), tmp_path / "cell.toml", to=Format.CSV)
    with pytest.raises(WrongUsage, match=r"ends in \.json"):
        write_document({}, tmp_path / "cell.db")
    assert list(tmp_path.iterdir()) == []


def test_more_rows_than_a_workbook_holds_are_refused_in_words(tmp_path, monkeypatch):
    monkeypatch.setattr(files, "SHEET_ROWS", 3)
    with pytest.raises(WrongUsage, match="use csv or parquet"):
        write_table(table(), tmp_path / "a.xlsx", to=Format.XLSX)


@given(st.lists(st.floats(allow_nan=False, allow_infinity=False), min_size=1, max_size=30))
def test_csv_gives_back_the_very_same_figures(tmp_path_factory, values):
    path = tmp_path_factory.mktemp("csv") / "a.csv"
    one = Table(kind="bores", columns={"um": np.array(values)}, as_of=AS_OF, sheet=1, zone=ZONE)
    write_table(one, path, to=Format.CSV)
    with path.open(newline="") as file:
        assert [float(row["um"]) for row in csv.DictReader(file)] == values
