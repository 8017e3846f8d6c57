"""`cellmon stream`: one stream in depth on a small cell, as the library answers it."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from cellmon.cli.main import main
from cellmon.shifts import to_local
from tests.small_cell import EVENTS, HEADER, SHEET, events, new_cell, rows, write

STREAM = ("--spindle", "S1", "--bore", "1", "--feature", "diameter")


@pytest.fixture(scope="module")
def cell(tmp_path_factory):
    folder = tmp_path_factory.mktemp("stream")
    opened = new_cell(folder / "cell", sheet=SHEET)
    files = [
        write(folder, "events.csv", EVENTS, events()),
        write(folder, "rows.csv", HEADER, rows(130, seed=3, jump_at=110)),
    ]
    opened.take(files)
    return opened


@pytest.fixture
def printed(cell, capsys):
    def run(*argv: str) -> str:
        assert main(["stream", *argv, "--cell", str(cell.folder)]) == 0
        return capsys.readouterr().out

    return run


def seen(cell):
    return cell.stream(spindle="S1", bore="1", feature="diameter")


def test_the_newest_subgroups_stand_with_their_limits_and_what_was_expected(cell, printed):
    answer = seen(cell)
    found, lines = answer.subgroups, printed(*STREAM, "--last", "2").splitlines()
    assert lines[0] == answer.sentence
    first = next(i for i, line in enumerate(lines) if set(line) == {"-", " "}) + 1
    for row, i in zip(lines[first : first + 2], (-1, -2), strict=True):
        at = to_local(found.at[i], ZoneInfo(cell.sheet.cell.timezone))
        assert row.startswith(at.isoformat(sep=" ", timespec="minutes"))
        assert f"{found.mean_um[i]:+.1f}" in row
        assert f"{found.lower_um[i]:+.1f} to {found.upper_um[i]:+.1f}" in row
        assert f"{answer.wear.level_um[i]:+.1f}" in row
    assert lines[first + 2] == ""
    assert f"the newest 2 of {len(found.at)}" in lines[first + 3]
    assert answer.signals and all(one.id in "\n".join(lines) for one in answer.signals)


def test_all_rows_stand_where_all_are_asked_for_and_those_beyond_are_named(cell, printed):
    found, out = seen(cell).subgroups, printed(*STREAM, "--last", "0")
    assert "--last 0" not in out
    assert out.count("mean above") == int((found.beyond_mean > 0).sum()) > 0


def test_the_document_is_the_answer(cell, printed):
    answer, document = seen(cell), json.loads(printed(*STREAM, "--json"))
    assert document["sentence"] == answer.sentence
    assert document["subgroups"]["mean_um"] == pytest.approx(answer.subgroups.mean_um)
    assert document["bores"]["part"] == answer.bores.part.tolist()
    assert document["wear"]["level_um"] == pytest.approx(answer.wear.level_um)
    assert [one["id"] for one in document["signals"]] == [one.id for one in answer.signals]


def test_a_time_can_be_asked_for(cell, printed):
    middle = seen(cell).subgroups.at[10]
    until = datetime.fromtimestamp(middle.astype(np.int64) / 1e6, tz=UTC).isoformat()
    document = json.loads(printed(*STREAM, "--until", until, "--json"))
    assert len(document["subgroups"]["at"]) == 11


@pytest.mark.parametrize(
    ("kind", "names"),
    [("range", "mean and range"), ("single", "bore and moving range"), ("cusum", "upper sum and lower sum")],
)
def test_a_pair_of_charts_is_told_point_by_point(cell, printed, kind, names):
    pair = cell.pair(spindle="S1", bore="1", feature="diameter", kind=kind)
    beyond = int(((pair.beyond_level != 0) | (pair.beyond_spread != 0)).sum())
    out = printed(*STREAM, "--pair", kind, "--last", "1")
    assert f"{names}: {beyond} of {len(pair.at)} points lie beyond" in out
    last = next(line for line in out.splitlines() if pair.part[-1] in line)
    assert f"{pair.level[-1]:+.1f}" in last
    document = json.loads(printed(*STREAM, "--pair", kind, "--json"))
    assert document["level"] == pytest.approx(pair.level)


def test_a_mean_of_several_is_a_stream_too_and_a_distance_is_asked_for_by_name(cell, printed, capsys):
    assert printed("--feature", "diameter").startswith("all bores diameter")
    assert main(["stream", *STREAM, "--distance", "--cell", str(cell.folder)]) == 1
    said = capsys.readouterr().err
    assert "no stream S1 bore 1 diameter, distance from the others" in said, "one bore alone has none"


def test_a_stream_that_is_not_there_is_refused_with_those_that_are(cell, capsys):
    assert main(["stream", "--spindle", "S9", "--feature", "diameter", "--cell", str(cell.folder)]) == 1
    said = capsys.readouterr().err
    assert "S9" in said
    assert "S1 bore 1 diameter" in said


def test_without_a_signal_the_sentence_counts_what_lies_beyond_plain_limits(cell, printed):
    quiet = cell.stream(spindle="S1", bore="1", feature="taper")
    found = quiet.subgroups
    beyond = int(((found.beyond_mean != 0) | (found.beyond_range != 0)).sum())
    assert not quiet.signals
    ends = (
        f"no signal among {len(found.at)} subgroups; {beyond} lie" if beyond else "lie inside their limits."
    )
    assert ends in quiet.sentence
