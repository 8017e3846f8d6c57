"""`cellmon stones --plan` and its exports, as typed."""

import json
import re

import pyarrow.csv
import pytest
from python_calamine import CalamineWorkbook

from cellmon.cli.main import main
from tests.monitor.planned_cell import planned_cell


@pytest.fixture(scope="module")
def cell(tmp_path_factory):
    folder = tmp_path_factory.mktemp("planned")
    planned_cell(folder).close()
    return folder / "cell"


def run(capsys, *words):
    status = main([*words])
    printed = capsys.readouterr()
    return status, printed.out, printed.err


def test_the_plan_says_first_whether_to_order(cell, capsys):
    status, out, _ = run(capsys, "stones", "--cell", str(cell), "--plan", "--last", "3")
    assert status == 0 and out.startswith("Nothing to order until ")
    assert "comes off" in out and "A bore costs" in out and "locked out" in out
    assert "These are the next 3 of" in out
    _, listed, _ = run(capsys, "stones", "--cell", str(cell))
    assert listed.startswith("Nothing to order until "), "the listing of all sets begins with it too"


def test_what_if_is_said_and_asks_for_the_plan(cell, capsys):
    _, out, _ = run(capsys, "stones", "--cell", str(cell), "--stock", "0", "--service-level", "0.9")
    assert out.startswith("Order ") and "What if: stock 0, service level 0.9." in out
    status, _, err = run(capsys, "stones", "--cell", str(cell), "--stock", "-1")
    assert status == 2 and "stock cannot be below 0" in err
    status, _, err = run(capsys, "stones", "--cell", str(cell), "--plan", "--set", "A1")
    assert status == 2 and "the plan is of all" in err


def test_what_if_of_one_spindle_and_of_the_lead_time(cell, capsys):
    asked = ("--spindle-rate", "S1=900", "--spindle-rate", "S2=0", "--lead-time-days", "25")
    _, out, _ = run(capsys, "stones", "--cell", str(cell), *asked)
    assert "What if: lead time days 25, rate of S1 900, rate of S2 0." in out
    assert "note: no bores are planned for S2: not in the plan" in out
    _, document, _ = run(capsys, "stones", "--cell", str(cell), *asked, "--json")
    assert json.loads(document)["asked"]["rates"][0] == {"spindle": "S1", "bores": 900.0}
    status, _, err = run(capsys, "stones", "--cell", str(cell), "--spindle-rate", "900")
    assert status == 2 and "S1=500" in err
    status, _, err = run(capsys, "stones", "--cell", str(cell), "--spindle-rate", "S9=900")
    assert status == 2 and "no spindle S9" in err


def test_documents_hold_the_plan(cell, capsys):
    _, out, _ = run(capsys, "stones", "--cell", str(cell), "--plan", "--json", "--price", "100")
    plan = json.loads(out)
    assert plan["asked"]["price"] == 100 and plan["changes"] and plan["order_list"]
    _, out, _ = run(capsys, "stones", "--cell", str(cell), "--json")
    assert json.loads(out)["plan"]["sets_needed"] == plan["sets_needed"]


@pytest.mark.parametrize("kind", ["stone-plan", "stone-orders"])
def test_tables_of_the_plan_are_written(cell, tmp_path, capsys, kind):
    _, out, _ = run(capsys, "stones", "--cell", str(cell), "--plan", "--json")
    plan = json.loads(out)
    rows = plan["changes"] if kind == "stone-plan" else plan["order_list"]
    for to in ("csv", "xlsx", "json", "parquet"):
        path = tmp_path / f"{kind}.{to}"
        status, out, _ = run(capsys, "export", kind, "--cell", str(cell), "--to", to, "--out", str(path))
        assert status == 0 and path.exists(), out
    table = pyarrow.csv.read_csv(tmp_path / f"{kind}.csv")
    assert table.num_rows == len(rows)
    sheet = CalamineWorkbook.from_path(tmp_path / f"{kind}.xlsx").get_sheet_by_index(0).to_python()
    assert len(sheet) == len(rows) + 1
    status, _, err = run(capsys, "export", "stone-orders", "--cell", str(cell), "--to", "ics")
    assert status == 2 and "stone-plan" in err


def test_the_calendar_has_every_stop_and_order(cell, tmp_path, capsys):
    path = tmp_path / "stones.ics"
    status, out, _ = run(
        capsys, "export", "stone-plan", "--cell", str(cell), "--to", "ics", "--out", str(path)
    )
    assert status == 0
    content = path.read_bytes().decode()
    assert len(re.findall("BEGIN:VEVENT", content)) == int(re.search(r"(\d+) dates", out)[1])
    assert "SUMMARY:Order " in content and "SUMMARY:Change stones on S2" in content
