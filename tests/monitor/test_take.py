"""Taking files: every row is taken, known or set aside, and changes exactly what it should."""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import pytest

from tests.small_cell import CHECKS, EVENTS, HEADER, SHEET, checks, derived, new_cell, rows, write

NAMES = HEADER.split(",")
KINDS = {
    "readings": (HEADER, "B1,1,S1,2026-03-02T05:00:00Z,top,x,50.0010", "B1,1,S1,noon,top,x,50.0010"),
    "events": (EVENTS, "2026-03-02T05:00:00Z,stones-dressed,S1,,", "2026-03-02T05:00:00Z,exploded,S1,,"),
    "stone-sets": ("stone_set,maker,price", "A1,Nobody,420", "A2,Nobody,dear"),
    "stone-measurements": (
        "at,stone_set,stone,position,thickness_mm",
        "2026-03-02T05:00:00Z,A1,1,top,2.95",
        "2026-03-02T05:00:00Z,A1,1,left,2.95",
    ),
    "stock": ("at,kind,change", "2026-03-02T05:00:00Z,D64,3", "2026-03-02T05:00:00Z,D64,"),
    "gauge-checks": (CHECKS, checks()[0], "2026-03-02T05:00:00Z,G1,50.0000,fine,as-found"),
    "gauge-study": ("study,part,trial,reading_mm,operator", "1,A,1,50.0010,P", "1,A,first,50.0010,P"),
    "characteristics": (
        "part,bore,characteristic,value,at",
        "B1,1,Rz,2.5,2026-03-02T05:00:00Z",
        "B1,1,Rz,smooth,2026-03-02T05:00:00Z",
    ),
    "findings": ("part,bore,at,finding,count", "B1,1,2026-03-02T05:00:00Z,pore,2", "B1,1,then,pore,2"),
    "traces": ("part,bore,plane,angle_deg,radius_um", "B1,1,top,0,0.5", "B1,1,top,0,round"),
    "mating-parts": ("part,diameter_mm", "K1,49.9650", "K2,thin"),
    "sizing": (
        "part,bore,round,at,plane,direction,diameter",
        "B1,1,1,2026-03-02T05:00:00Z,top,x,49.9800",
        "B1,1,1,2026-03-02T05:00:00Z,top,z,49.9800",
    ),
}


def counts(file):
    assert file.rows == file.taken + file.known + len(file.set_aside)
    return file.taken, file.known, len(file.set_aside)


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_takes_good_rows_and_sets_bad_ones_aside_once(tmp_path, kind):
    header, good, bad = KINDS[kind]
    monitor = new_cell(tmp_path / "cell")
    path = write(tmp_path, "file.csv", header, [good, bad])
    first = monitor.take([path]).files[0]
    assert (first.kind, counts(first)) == (kind, (1, 0, 1))
    assert first.set_aside[0].line == 3
    before = derived(monitor)
    assert counts(monitor.take([path]).files[0]) == (0, 1, 1)
    assert [(row.line, row.state) for row in monitor.aside().rows] == [(3, "waiting")]
    assert derived(monitor) == before
    assert monitor.check(rebuild=True).sound


@pytest.mark.parametrize("kind", [k for k in KINDS if k not in ("readings", "traces", "findings", "sizing")])
def test_a_plain_row_that_says_otherwise_of_the_same_thing_is_set_aside(tmp_path, kind):
    header, good, _ = KINDS[kind]
    changed = {
        "events": good + "7",
        "stone-sets": good.replace("420", "430"),
        "stone-measurements": good.replace("2.95", "2.90"),
        "stock": good[:-1] + "4",
        "gauge-checks": good.replace("50.0002", "50.0003"),
        "gauge-study": good.replace("50.0010", "50.0020"),
        "characteristics": good.replace("2.5", "2.6"),
        "mating-parts": good.replace("49.9650", "49.9660"),
    }[kind]
    monitor = new_cell(tmp_path / "cell")
    monitor.take([write(tmp_path, "a.csv", header, [good])])
    again = monitor.take([write(tmp_path, "b.csv", header, [good, changed])]).files[0]
    assert counts(again) == (0, 1, 1)
    assert (again.set_aside[0].line, again.set_aside[0].reason) == (3, "contradicts")
    alone = monitor.take([write(tmp_path, "c.csv", header, [changed])]).files[0]
    assert counts(alone) == (0, 0, 1)
    assert alone.set_aside[0].text.split(",")[0] in (good.split(",")[0], "2026-03-02T05:00:00Z")


def written(folder, form, lines):
    """Write readings in one of the formats."""
    table = pd.DataFrame([line.split(",") for line in lines], columns=NAMES)
    table["diameter"] = table["diameter"].astype(float)
    path = folder / f"rows.{form.split()[0]}"
    if form == "parquet":
        table.to_parquet(path)
    elif form == "xlsx":
        table.to_excel(path, index=False, engine="xlsxwriter")
    elif form == "jsonl":
        path.write_text(
            "\n".join(json.dumps(row) for row in table.to_dict("records")) + "\n", encoding="utf-8"
        )
    elif form == "csv german":
        text = table.to_csv(index=False, sep=";", decimal=",", float_format="%.4f")
        path.write_text("\ufeff" + text, encoding="utf-8")
    elif form == "csv wide":
        table["place"] = table["plane"] + "_" + table["direction"]
        keys = ["part", "bore", "spindle", "measured_at"]
        table.pivot(index=keys, columns="place", values="diameter").reset_index().to_csv(path, index=False)
    else:
        table.to_csv(path, index=False, sep="\t" if form == "tsv" else ",", float_format="%.4f")
    return path


FORMS = ["csv", "tsv", "csv german", "csv wide", "xlsx", "parquet", "jsonl"]


@pytest.mark.parametrize("form", FORMS)
def test_the_same_readings_in_any_format_are_the_same_readings(tmp_path, form):
    lines = rows(12)
    monitor = new_cell(tmp_path / "cell")
    monitor.take([write(tmp_path, "first.csv", HEADER, lines)])
    before = derived(monitor)
    again = monitor.take([written(tmp_path, form, lines)]).files[0]
    assert counts(again) == (0, again.rows, 0)
    assert again.rows == (24 if form == "csv wide" else 96)
    assert derived(monitor) == before
    other = new_cell(tmp_path / "other")
    other.take([written(tmp_path, form, lines)])
    assert derived(other) == before


def test_a_row_that_does_not_name_the_usual_gauge_is_the_same_as_one_that_does(tmp_path):
    lines = rows(6)
    monitor = new_cell(tmp_path / "cell")
    monitor.take([write(tmp_path, "a.csv", HEADER, lines)])
    again = monitor.take([write(tmp_path, "b.csv", f"gauge,{HEADER}", [f"G1,{r}" for r in lines])]).files[0]
    assert counts(again) == (0, len(lines), 0)
    assert len(monitor.bores().bores) == 12


def test_an_overlapping_export_adds_only_what_is_new(tmp_path):
    lines = rows(20)
    monitor = new_cell(tmp_path / "cell")
    monitor.take([write(tmp_path, "a.csv", HEADER, lines[:100])])
    changed = lines[60].rsplit(",", 1)[0] + ",50.0199"
    overlap = monitor.take([write(tmp_path, "b.csv", HEADER, [*lines[50:60], changed, *lines[61:]])]).files[0]
    assert counts(overlap) == (60, 49, 1)
    whole = new_cell(tmp_path / "whole")
    whole.take([write(tmp_path, "c.csv", HEADER, lines)])
    assert derived(monitor) == derived(whole), "the first value stands"


def test_a_file_in_another_unit_is_set_aside_whole_until_the_unit_is_said(tmp_path):
    monitor = new_cell(tmp_path / "cell")
    inches = [f"{r.rsplit(',', 1)[0]},{float(r.rsplit(',', 1)[1]) / 25.4:.6f}" for r in rows(6)]
    path = write(tmp_path, "inch.csv", HEADER, inches)
    doubted = monitor.take([path]).files[0]
    assert counts(doubted) == (0, 0, 48)
    assert {a.reason for a in doubted.set_aside} == {"unit-doubt"}
    assert len(monitor.bores().bores) == 0
    assert counts(monitor.take([path], unit="in").files[0]) == (48, 0, 0)
    assert np.abs(monitor.bores().bores.average).max() < 8


def test_a_file_nobody_can_read_or_find_does_not_stop_the_next(tmp_path):
    monitor = new_cell(tmp_path / "cell")
    (tmp_path / "noise.csv").write_bytes(bytes(range(256)) * 4)
    (tmp_path / "empty.csv").write_text("")
    good = write(tmp_path, "rows.csv", HEADER, rows(3))
    taken = monitor.take([tmp_path / "noise.csv", tmp_path / "empty.csv", tmp_path / "no.csv", good])
    assert [f.kind for f in taken.files] == [None, None, None, "readings"]
    assert all(f.why_not for f in taken.files[:3])
    assert counts(taken.files[3]) == (24, 0, 0)


def test_rows_set_aside_for_a_bore_the_sheet_did_not_know_come_in_once_it_does(tmp_path):
    import cellmon

    narrow = SHEET.replace('bores = ["1", "2"]', 'bores = ["1"]').replace(
        '[[spindles]]\nid = "S2"\nbores = ["2"]\n', ""
    )
    monitor = new_cell(tmp_path / "cell", sheet=narrow)
    lines = [r.replace(",S2,", ",S1,") for r in rows(5)]
    first = monitor.take([write(tmp_path, "a.csv", HEADER, lines)]).files[0]
    assert counts(first) == (20, 0, 20)
    wide = narrow.replace('bores = ["1"]', 'bores = ["1", "2"]')
    (tmp_path / "cell" / "cell.toml").write_text(wide.replace("{url}", "sqlite:///cell.db"), encoding="utf-8")
    reopened = cellmon.open_cell(tmp_path / "cell")
    reopened.adopt(by="A. Person", why="bore 2 is gauged now")
    again = reopened.retry_aside().files
    assert [counts(f) for f in again] == [(20, 0, 0)]
    assert {row.state for row in reopened.aside().rows} == {"taken"}
    assert reopened.check(rebuild=True).sound


def test_a_row_typed_by_hand_is_kept_like_one_of_a_file(tmp_path):
    from cellmon.records import Kind

    monitor = new_cell(tmp_path / "cell")
    monitor.take([write(tmp_path, "a.csv", HEADER, rows(6))])
    values = {
        "at": "2026-03-02T05:25:00Z",
        "event": "stones-fitted",
        "spindle": "S1",
        "stone_set": 'A "1", new',
    }
    done = monitor.log(Kind.EVENTS, values)
    assert counts(done) == (1, 0, 0)
    bores = monitor.bores().bores
    fitted = {(p, s) for p, s in zip(bores.part, bores.stone_set, strict=True) if s}
    assert fitted == {(f"B000{i}", 'A "1", new') for i in (3, 4, 5)}
    assert counts(monitor.log(Kind.EVENTS, values)) == (0, 1, 0)
