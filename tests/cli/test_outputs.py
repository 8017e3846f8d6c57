"""Exports from the command line, and the dashboard's address."""

from __future__ import annotations

import json

import pytest

from cellmon.cli.serving import check_host
from cellmon.errors import WrongUsage


@pytest.mark.parametrize(
    ("argv", "name"),
    [
        (["capability"], "capability-2026-10-22-1805"),
        (["capability", "--spindle", "S1"], "capability-S1-2026-10-22-1805"),
        (["shift"], "shift-2026-10-22-late-2026-10-22-1805"),
        (["signals"], "signals-2026-10-22-1805"),
        (["hold", "7f3a"], "hold-7f3a-2026-10-22-1805"),
        (["part", "B00412"], "part-B00412-2026-10-22-1805"),
    ],
)
@pytest.mark.parametrize("to", ["csv", "xlsx", "json", "parquet"])
def test_an_export_goes_to_reports_under_a_telling_name(run, tmp_path, argv, name, to):
    ran = run("export", *argv, "--to", to, "--cell", str(tmp_path))
    path = tmp_path / "reports" / f"{name}.{to}"
    assert (ran.status, ran.err) == (0, "")
    assert ran.out.startswith(f"{path}: ")
    assert [p.name for p in path.parent.iterdir()] == [path.name]
    assert path.stat().st_size > 0


@pytest.mark.parametrize(
    ("argv", "name"),
    [
        (["capability", "--to", "pdf"], "capability-2026-10-22-1805.pdf"),
        (["capability", "--to", "pdf", "--paper", "letter"], "capability-2026-10-22-1805.pdf"),
        (["capability", "--bore", "2", "--to", "xlsx"], "capability-2-2026-10-22-1805.xlsx"),
        (["shift", "2026-10-22/late", "--to", "pdf"], "shift-2026-10-22-late-2026-10-22-1805.pdf"),
        (["signals", "--to", "pdf"], "signals-2026-10-22-1805.pdf"),
        (["part", "B00412", "--to", "qif"], "part-B00412-2026-10-22-1805.qif"),
        (["bores", "--to", "qif"], "bores-2026-10-22-1805.qif"),
    ],
)
def test_papers_and_results_go_there_too(run, tmp_path, argv, name):
    ran = run("export", *argv, "--cell", str(tmp_path))
    assert (ran.status, ran.err) == (0, "")
    assert ran.out.startswith(f"{tmp_path / 'reports' / name}: ")
    assert (tmp_path / "reports" / name).stat().st_size > 500


def test_a_shift_may_be_named_behind_the_word(run, monitor, tmp_path):
    for argv in (["2026-10-22/late"], ["--shift", "2026-10-22/late"]):
        run("export", "shift", *argv, "--to", "csv", "--cell", str(tmp_path))
        assert monitor.calls[-1] == ("shifts", (), {"feature": None, "shift": "2026-10-22/late"})


def test_exported_json_is_the_document_of_the_command(run, tmp_path):
    path = tmp_path / "claims.json"
    run("export", "capability", "--to", "json", "--out", str(path))
    assert json.loads(path.read_text()) == run("capability", "--json").document


def test_an_export_never_lands_on_a_file_of_another_kind(run, tmp_path):
    sheet = tmp_path / "cell.toml"
    sheet.write_text("kept")
    ran = run("export", "signals", "--to", "csv", "--out", str(sheet))
    assert ran.status == 2
    assert sheet.read_text() == "kept"


@pytest.mark.parametrize("host", ["127.0.0.1", "127.0.0.2", "::1", "localhost"])
def test_this_machine_may_be_served(host):
    check_host(host)


@pytest.mark.parametrize(
    "host", ["0.0.0.0", "::", "192.168.1.7", "10.0.0.1", "honing.example", "", "127.0.0.1.example"]
)
def test_no_other_machine_may(host):
    with pytest.raises(WrongUsage, match="this machine only"):
        check_host(host)


def test_a_block_is_exported_on_paper(run, tmp_path):
    path = tmp_path / "block.pdf"
    ran = run("export", "part", "B00412", "--to", "pdf", "--out", str(path), "--paper", "letter")
    assert (ran.status, ran.err) == (0, "")
    assert ran.out.rstrip().endswith("block.pdf: 1 measurement")
    assert path.read_bytes().startswith(b"%PDF-")
    assert run("export", "part", "--to", "pdf").status == 2
