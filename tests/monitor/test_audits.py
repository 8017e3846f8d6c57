"""Audits and findings the whole way: rows taken, streams answered, signals raised, printed and drawn."""

from __future__ import annotations

import csv
import itertools
import json
import random
from dataclasses import asdict
from datetime import UTC, datetime, timedelta

import numpy as np
import plotly.graph_objects as go
import pytest

import cellmon
from cellmon.charts.shares import most_by_chance
from cellmon.cli.main import main
from cellmon.records import Reason
from dashboards import theme
from dashboards.figures import audited as figures
from dashboards.pages import audited
from tests.small_cell import HEADER, SHEET, new_cell, rows, told, write

FEATURES = """
[features.roundness_trace]
upper = 5.0
[features.Ra]
unit = "um"
lower = 0.2
upper = 1.2
"""
AUDITED = SHEET.replace("[measuring]", FEATURES + "[measuring]")
AUDITS = "part,bore,characteristic,value,at,unit,spindle,gauge"
FINDINGS = "part,bore,at,finding,count,spindle"
START = datetime(2026, 3, 2, 5, 0, tzinfo=UTC)
SHIFT = timedelta(hours=12)
"""The small cell works two shifts a day."""


def audit_rows(shifts=45, *, moved_from=36, seed=3):
    """Return an audit of both bores in each shift; bore 2's roundness doubles from one shift on."""
    rng = np.random.default_rng(seed)
    found = []
    for i in range(shifts):
        at = (START + i * SHIFT + timedelta(hours=4)).isoformat()
        for bore in ("1", "2"):
            size = 1.4 * np.exp(0.2 * rng.standard_normal()) * (2.0 if bore == "2" and i >= moved_from else 1)
            found.append(f"A{i:03d},{bore},roundness_trace,{size:.3f},{at},um,S{bore},R1")
            found.append(f"A{i:03d},{bore},Ra,{0.6 + 0.05 * rng.standard_normal():.3f},{at},um,S{bore},")
            found.append(f"A{i:03d},{bore},Rk,{0.9 + 0.05 * rng.standard_normal():.3f},{at},um,S{bore},")
    return found


def looked_rows(shifts=30, *, bores=60, many_from=26, many=12):
    """Return what was seen in `bores` bores of S1 in each shift: no scratch, then many."""
    found = []
    for i in range(shifts):
        for b in range(bores):
            at = (START + i * SHIFT + timedelta(minutes=5 * b)).isoformat()
            count = 1 + b % 2 if i == many_from and b < many else 0
            found.append(f"L{i:03d}{b:03d},1,{at},Scratch ,{count},S1")
    return found


@pytest.fixture(scope="module")
def monitor(tmp_path_factory):
    folder = tmp_path_factory.mktemp("audited")
    monitor = new_cell(folder, sheet=AUDITED)
    monitor.take(
        [
            write(folder, "audits.csv", AUDITS, audit_rows()),
            write(folder, "findings.csv", FINDINGS, looked_rows()),
        ]
    )
    yield monitor
    monitor.close()


def test_every_audited_feature_of_every_bore_is_a_stream_with_limits(monitor):
    found = monitor.audits()
    names = [str(s.stream) for s in found.audits]
    assert names == ["S1 bore 1 Ra", "S2 bore 2 Ra", "S1 bore 1 roundness trace", "S2 bore 2 roundness trace"]
    for s in found.audits:
        assert (len(s.value), s.baseline_n, dict(s.why_not)) == (45, 25, {})
        assert (s.lower < s.center).all() and (s.center < s.upper).all() and (s.lower > 0).all()
        assert np.isnan(s.deviate[:20]).all() and np.isfinite(s.deviate[20:]).all()
    assert [str(s.scale) for s in found.audits] == ["plain", "plain", "log", "log"]
    assert "Rk" in found.why_not["audits"]


def test_a_level_that_moved_is_a_signal_in_words(monitor):
    (signal,) = [s for s in monitor.signals().signals if s.stream.feature == "roundness_trace"]
    assert (signal.kind, signal.stream.bore, signal.unit) == ("level", "2", "µm")
    assert 0.7 < signal.size < 2.2, "from 1.4 to 2.8 µm, by the few values until the call"
    assert signal.words == f"S2 bore 2 roundness trace: audits moved up by {signal.size:.2g} µm"
    assert signal.change.part == "A036" and not signal.over
    (stream,) = monitor.audits(bore="2", feature="roundness_trace").audits
    assert stream.signals == (signal.id,)
    assert monitor.hold(signal.id).signal == signal.id
    monitor.respond(signal.id, by="A. Person", cause="worn clamp", action="clamp changed")
    assert next(s for s in monitor.signals().signals if s.id == signal.id).state == "answered"


def test_a_share_beyond_its_limit_is_a_signal_with_its_bores(monitor):
    (stream,) = monitor.audits(feature="scratch").findings
    assert (stream.of, stream.stream.spindle, stream.stream.bore) == ("bores looked at", "S1", None)
    assert stream.bores.tolist() == [60] * 30 and stream.found.sum() == 12
    assert np.flatnonzero(stream.beyond).tolist() == [26]
    # nothing in 1,000 bores or more before: 60 bores may have one or two by chance
    assert (
        np.isnan(stream.most[:17]).all() and (stream.most[20:] >= 1).all() and (stream.most[20:] <= 3).all()
    )
    (signal,) = [s for s in monitor.signals().signals if s.stream.feature == "scratch"]
    assert signal.words == "S1 scratch: found in 20 % of the bores of one shift, more than chance gives"
    assert (signal.unit, signal.size, signal.size_um, signal.over) == ("%", 20.0, None, True)
    assert signal.detector == "share of bores with scratch in one shift"
    assert signal.change.part == "L026000" and signal.part == f"L026{int(stream.most[26]):03d}"
    assert stream.signals == (signal.id,)


def test_the_answer_of_an_earlier_moment_knows_nothing_of_later_rows(monitor):
    then = cellmon.open_cell(monitor.folder, as_of=START + 30 * SHIFT)
    found = then.audits()
    assert {len(s.value) for s in found.audits} == {30}
    assert all(not s.signals for s in found.audits)
    then.close()


def answered(monitor):
    """Return the streams and the signals, without the names that tell when they were announced."""
    monitor = cellmon.open_cell(monitor.folder, as_of=START + 60 * SHIFT)
    found = monitor.audits()
    streams = [asdict(s) | {"signals": len(s.signals)} for s in (*found.audits, *found.findings)]
    return json.dumps([streams, told(monitor)], default=str)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_rows_in_any_order_split_and_repeated_give_the_same_answer(tmp_path, seed):
    shuffle, names = random.Random(seed), itertools.count()
    at_once, piecewise = new_cell(tmp_path / "a", sheet=AUDITED), new_cell(tmp_path / "b", sheet=AUDITED)
    audits, found = audit_rows(), looked_rows(24, bores=20, many_from=22)
    at_once.take([write(tmp_path, "a.csv", AUDITS, audits), write(tmp_path, "f.csv", FINDINGS, found)])
    files = []
    for header, lines in ((AUDITS, audits), (FINDINGS, found)):
        mixed = shuffle.sample(lines, k=len(lines))
        cut = shuffle.randrange(1, len(mixed))
        for part in (mixed[cut:], mixed[:cut], mixed[cut:]):
            files.append(write(tmp_path, f"{next(names)}.csv", header, part))
    piecewise.take(shuffle.sample(files, k=len(files)))
    assert answered(piecewise) == answered(at_once)
    assert at_once.check(rebuild=True).sound


def test_without_rows_of_nought_shares_are_of_all_bores_made(tmp_path):
    monitor = new_cell(tmp_path, sheet=AUDITED)
    readings = write(tmp_path, "rows.csv", HEADER, rows(400))
    pores = [f"B0390,1,{(START + timedelta(minutes=3905)).isoformat()},pore,2,S1"]
    monitor.take([readings, write(tmp_path, "pores.csv", FINDINGS, pores)])
    (stream,) = monitor.audits().findings
    made = monitor.bores().columns()
    assert stream.of == "bores made"
    of_s1 = (made["spindle"] == "S1").sum()
    assert 0 <= of_s1 - stream.bores.sum() < 3, "but for the last bores, which are no subgroup yet"
    assert stream.found.sum() == 1 and not stream.beyond.any()
    assert "need at least 20 shifts or 1,000 bores" in stream.why_not["most"]


BAD = {
    "L1,1,2026-03-02T05:00:00Z,pore,-1,S1": Reason.NOT_A_NUMBER,
    "L1,1,2026-03-02T05:00:00Z,pore,1.5,S1": Reason.NOT_A_NUMBER,
    "L1,1,2026-03-02T05:00:00Z,pore,many,S1": Reason.NOT_A_NUMBER,
    "L1,1,2026-03-02T05:00:00Z,pore,,S1": Reason.MISSING_FIELD,
    "L1,1,2026-03-02T05:00:00Z,,1,S1": Reason.MISSING_FIELD,
    "L1,9,2026-03-02T05:00:00Z,pore,1,S1": Reason.UNKNOWN_BORE,
}


@pytest.mark.parametrize("line", BAD)
def test_a_count_that_is_none_is_set_aside(tmp_path, line):
    monitor = new_cell(tmp_path, sheet=AUDITED)
    good = "L0,1,2026-03-02T05:00:00Z,pore,0,S1"
    (taken,) = monitor.take([write(tmp_path, "f.csv", FINDINGS, [good, line])]).files
    assert [(s.line, s.reason) for s in taken.set_aside] == [(3, BAD[line])]
    assert taken.taken == 1
    assert monitor.audits().findings[0].found.tolist() == [0]


def test_more_kinds_of_finding_than_planned_are_said(tmp_path):
    monitor = new_cell(tmp_path, sheet=AUDITED)
    lines = [f"L{i},1,2026-03-02T05:00:00Z,kind {i},1,S1" for i in range(5)]
    monitor.take([write(tmp_path, "f.csv", FINDINGS, lines)])
    found = monitor.audits()
    assert len(found.findings) == 5
    assert "5 kinds of finding" in found.why_not["false_alarms"]


def test_an_empty_cell_says_so(tmp_path, capsys):
    monitor = new_cell(tmp_path, sheet=AUDITED)
    assert monitor.audits().sentence == "no audit of a feature of the sheet and no finding was taken yet"
    assert main(["audits", "--cell", str(tmp_path)]) == 0
    assert "No audit of a feature" in capsys.readouterr().out
    assert audited.choose(monitor, None)[1] == []
    figure, words = audited.show(monitor, None)
    assert words == [] and figure["data"] == []


def test_the_command_prints_a_table_or_a_document(monitor, capsys):
    cell = ["--cell", str(monitor.folder)]
    assert main(["audits", *cell]) == 0
    out = capsys.readouterr().out
    assert "S2 bore 2 roundness trace" in out and "S1 scratch" in out and "Rk: no feature of the sheet" in out
    assert main(["audits", "--json", "--feature", "scratch", *cell]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["audits"] == [] and found["findings"][0]["of"] == "bores looked at"
    assert found["findings"][0]["most"][0] is None
    assert main(["audits", "--json", "--spindle", "S2", *cell]) == 0
    found = json.loads(capsys.readouterr().out)
    assert {s["stream"]["spindle"] for s in found["audits"]} == {"S2"} and found["findings"] == []
    assert found["audits"][0]["moving_range"][0] is None


@pytest.mark.parametrize("to", ["csv", "json", "xlsx", "parquet"])
def test_the_table_is_exported(monitor, tmp_path, to):
    path = tmp_path / f"audits.{to}"
    assert main(["export", "audits", "--to", to, "--out", str(path), "--cell", str(monitor.folder)]) == 0
    assert path.stat().st_size > 1000
    if to == "csv":
        with path.open(encoding="utf-8", newline="") as file:
            read = list(csv.DictReader(file))
        assert len(read) == 4 * 45 + 30
        assert {r["what"] for r in read} == {"audit", "finding"}
        assert [r["found"] for r in read if r["beyond"] == "1" and r["what"] == "finding"] == ["12"]


def test_every_stream_is_drawn_and_saved(monitor):
    lead, options, first = audited.choose(monitor, None)
    assert "4 streams of audits and 1 of findings" in lead and len(options) == 5
    assert "feature=roundness_trace" in first, "one that called a signal comes first"
    ringed = []
    for option in options:
        drawn, words = audited.show(monitor, option["value"])
        go.Figure(drawn)
        assert words, "what its limits rest on"
        if theme.RING in [t.get("marker") for t in drawn["data"]]:
            ringed.append(option["label"])
        saved = figures.rows(audited.stream_of(monitor, option["value"]), "Europe/Berlin")
        assert len({len(column) for column in saved.values()}) == 1
    assert ringed == ["S2 bore 2 roundness trace", "S1 scratch"]
    refused, words = audited.show(monitor, "feature=nothing")
    assert words == [] and "no such stream" in refused["layout"]["annotations"][0]["text"]


def test_one_value_alone_is_no_chart(tmp_path):
    monitor = new_cell(tmp_path, sheet=AUDITED)
    monitor.take([write(tmp_path, "a.csv", AUDITS, audit_rows(1))])
    _, options, _ = audited.choose(monitor, None)
    drawn, words = audited.show(monitor, options[0]["value"])
    assert "Fewer than two values" in drawn["layout"]["annotations"][0]["text"]
    assert "need at least 20, got 1" in str(words)


def slower(shifts=24, *, first=200, bores=8, newest=(0,) * 8):
    """Return what was seen in few bores of each shift, long after `looked_rows`; then a shift just begun."""
    found = []
    for i in range(shifts + 1):
        for b, count in enumerate(newest if i == shifts else (0,) * bores):
            at = (START + (first + i) * SHIFT + timedelta(minutes=5 * b)).isoformat()
            found.append(f"M{i:03d}{b:03d},1,{at},scratch,{count},S1")
    return found


@pytest.mark.parametrize("early", [True, False])
def test_a_shift_just_begun_has_as_many_bores_as_those_of_the_last_month(tmp_path, early):
    """Not as those of half a year ago, when three times as many were looked at and 2 were nothing odd."""
    monitor = new_cell(tmp_path / "cell", sheet=AUDITED + "[alarms]\nfalse_alarms_per_week = 0.5\n")
    files = [write(tmp_path, "a.csv", FINDINGS, looked_rows(30, many=0))]
    files += [write(tmp_path, "b.csv", FINDINGS, slower(newest=(1, 1)))]
    monitor.take(files if early else files[::-1])
    (stream,) = monitor.audits(feature="scratch").findings
    usual, long_ago = (
        most_by_chance(n, seen=0, of=stream.baseline_bores, chance=stream.chance) for n in (8, 60)
    )
    assert (usual, long_ago) == (1, 2) and stream.bores[-1] == 2
    assert stream.most[-1] == usual and bool(stream.beyond[-1])
    assert len(monitor.signals().signals) == 1
    assert "equal" in str(monitor.check(rebuild=True).rebuilt)


def test_after_a_month_without_bores_a_shift_has_those_made_so_far(tmp_path):
    monitor = new_cell(tmp_path / "cell", sheet=AUDITED)
    monitor.take([write(tmp_path, "a.csv", FINDINGS, looked_rows(30, many=0))])
    monitor.take([write(tmp_path, "b.csv", FINDINGS, slower(0, newest=(0, 0, 1)))])
    (stream,) = monitor.audits(feature="scratch").findings
    of = {"seen": 0, "of": stream.baseline_bores, "chance": stream.chance}
    assert stream.most[-1] == most_by_chance(3, **of)
