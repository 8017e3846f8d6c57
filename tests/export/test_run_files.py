import json
import runpy
import tomllib
from pathlib import Path

import numpy as np
import pytest

from cellmon.export.run_files import run_files, write_run
from cellmon.intake import read_file
from cellmon.records import Kind, Reason
from cellmon.sheet_checks import checked_sheet
from cellmon.simulate.harrowmere import SEED, harrowmere_week
from cellmon.simulate.line import run
from cellmon.simulate.sheet_text import sheet_text

SAMPLES = Path(__file__).resolve().parents[2] / "sample_runs"


@pytest.fixture(scope="module")
def week():
    return run(harrowmere_week(), seed=SEED)


@pytest.fixture(scope="module")
def folder(week, tmp_path_factory):
    made = tmp_path_factory.mktemp("run")
    write_run(week, made)
    return made


@pytest.fixture(scope="module")
def taken(folder):
    sheet = checked_sheet(tomllib.loads(sheet_text()))
    return {path.name: read_file(path, sheet) for path in sorted(folder.iterdir())}


def test_every_file_is_recognised_by_its_header_and_every_kind_is_there(taken):
    assert {file.kind for file in taken.values()} == set(Kind) - {Kind.SIZING}
    assert {Path(name).suffix for name in taken} == {".csv", ".tsv", ".xlsx", ".parquet", ".jsonl"}
    assert sum("station" in name for name in taken) == 19


def test_only_what_was_left_empty_or_worded_is_refused(taken):
    reasons = {refused.reason for file in taken.values() for refused in file.refused}
    assert reasons <= {Reason.NOT_MEASURED}
    assert all(file.batch is not None for file in taken.values())


def test_the_station_files_give_the_readings_back(week, taken):
    """Sizes to the last digit, and the moments too, but for the hour that local time cannot tell."""
    batches = [f.batch for name, f in taken.items() if name.endswith("station" + Path(name).suffix)]
    found = {
        (part, bore): (um, at)
        for b in batches
        for part, bore, um, at in zip(b.part, b.bore, b.um, b.measured_at, strict=True)
    }
    own = week.readings
    assert len(found) == len(own)
    um = np.array([found[key][0] for key in zip(own.part, own.bore, strict=True)])
    assert np.allclose(um, own.um, atol=1e-6, equal_nan=True)
    at = np.array([found[key][1] for key in zip(own.part, own.bore, strict=True)])
    repeated = (own.measured_at >= np.datetime64("2026-10-25T00:00")) & (
        own.measured_at < np.datetime64("2026-10-25T02:00")
    )
    assert (at[~repeated] == own.measured_at[~repeated]).all()


def test_the_second_export_repeats_120_rows_and_contradicts_three(week, taken):
    again = taken["2026-10-21-late-station-exported-again.csv"].batch
    first = taken["2026-10-21-late-station.csv"].batch
    row_of = {key: i for i, key in enumerate(zip(first.part, first.bore, strict=True))}
    rows = [row_of[key] for key in zip(again.part, again.bore, strict=True)]
    assert again.um.size == 120
    assert (np.abs(again.um - first.um[rows]) > 0.05).sum() == 3
    assert (again.measured_at == first.measured_at[rows]).all()


def test_the_inch_sheet_reads_to_a_quarter_micrometre(week, taken):
    sheet = taken["2026-10-23-hand-gauge.csv"].batch
    own = {(p, b): um for p, b, um in zip(week.audit.part, week.audit.bore, week.audit.um, strict=True)}
    expected = np.array([own[key] for key in zip(sheet.part, sheet.bore, strict=True)])
    assert np.nanmax(np.abs(sheet.um - expected)) < 0.13


def test_no_file_says_what_was_planted(folder):
    for path in folder.iterdir():
        raw = path.read_bytes().lower()
        assert not any(word in raw for word in (b"fault", b"decoy", b"planted", b"answer"))


def test_the_same_run_gives_the_same_bytes(week, folder, tmp_path):
    for path in write_run(week, tmp_path):
        assert path.read_bytes() == (folder / path.name).read_bytes(), path.name


def test_a_run_without_repeated_rows_has_no_second_export():
    scenario = harrowmere_week().without("repeated-export", "inch-sheet")
    names = [file.name for file in run_files(run(scenario, seed=1))]
    assert not any("again" in name for name in names) and len(set(names)) == len(names)


def test_sample_runs_holds_what_is_made_now(folder, taken):
    """Texts byte for byte; workbooks and Parquet by content, since their writers change."""
    sheet = checked_sheet(tomllib.loads(sheet_text()))
    names = {p.name for p in SAMPLES.iterdir() if p.is_file()}
    assert names == {p.name for p in folder.iterdir()} | {"README.md", "cell.toml"}
    for path in folder.iterdir():
        kept = SAMPLES / path.name
        if path.suffix in (".csv", ".tsv", ".jsonl"):
            assert kept.read_bytes() == path.read_bytes(), path.name
            continue
        one, two = read_file(kept, sheet).batch, taken[path.name].batch
        for (name, a), (_, b) in zip(one.arrays(), two.arrays(), strict=True):
            same = list(a) == list(b) if a.dtype == object else np.array_equal(a, b, equal_nan=True)
            assert same, f"{path.name}: {name}"


def test_sample_runs_is_small_and_its_key_agrees_with_the_run(week):
    assert sum(p.stat().st_size for p in SAMPLES.rglob("*") if p.is_file()) < 8e6
    key = json.loads((SAMPLES / "answers" / "key.json").read_text(encoding="utf-8"))
    assert [p["name"] for p in key["planted"]] == [p.name for p in week.truth.planted]
    for entry, planted in zip(key["planted"], week.truth.planted, strict=True):
        assert entry["blocks"] == len(planted.parts) and entry["rows"] == list(planted.rows)


def test_the_sheet_and_the_page_of_sample_runs_are_those_made_now(week):
    made = runpy.run_path(str(SAMPLES.parent / "tests" / "make_sample_runs.py"))
    assert (SAMPLES / "cell.toml").read_text(encoding="utf-8") == sheet_text()
    assert (SAMPLES / "README.md").read_text(encoding="utf-8") == made["page"](week)
    assert (SAMPLES / "answers" / "key.json").read_text(encoding="utf-8") == made["key_text"](week)
