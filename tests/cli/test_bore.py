"""The command `bore` in a pipe: typed lines, a program's lines, the record; and `new --hand`."""

from __future__ import annotations

import csv
import io
import json
import sys

import numpy as np
import pytest

from cellmon.cli.main import main
from cellmon.simulate.hand import gauged, hidden_bore, honed
from tests.monitor.hand_cell import RECEIVED, grown, hand_cell


@pytest.fixture
def cell(tmp_path):
    hand_cell(tmp_path).close()
    return tmp_path


def told(capsys, monkeypatch, cell, lines, *options):
    monkeypatch.setattr(sys, "stdin", io.StringIO("".join(f"{line}\n" for line in lines)))
    assert main(["bore", "K1", "1", "--cell", str(cell), *options]) == 0
    return capsys.readouterr().out


def said(capsys, monkeypatch, cell, requests):
    out = told(capsys, monkeypatch, cell, map(json.dumps, requests), "--json")
    return [json.loads(line) for line in out.splitlines()]


def test_a_person_types_the_bore_as_received_and_hears_a_test_round(capsys, monkeypatch, cell):
    out = told(capsys, monkeypatch, cell, ["", "", "", "", RECEIVED[0], "x", "b", *RECEIVED, "q", ""])
    assert "collapse it before" in out.replace("\n", " ")
    assert "'x' is no figure" in out
    assert "A test round" in out
    assert "to target" in out


def test_an_odd_figure_is_asked_about_and_enter_keeps_it(capsys, monkeypatch, cell):
    lines = ["", "", "", "", "2.6750", "", *RECEIVED[1:], "q", ""]
    out = told(capsys, monkeypatch, cell, lines)
    assert "is it in?" in out
    assert "A test round" in out
    no = told(capsys, monkeypatch, cell, ["", "", "", "", "", *RECEIVED, "n", "q", ""])
    assert "typed twice" in no
    assert "Nothing was kept." in no


def test_a_program_is_asked_before_an_odd_round_is_kept(capsys, monkeypatch, cell):
    dirt = ["67.905", *RECEIVED[1:]]
    first, asked, kept, wrong = said(
        capsys,
        monkeypatch,
        cell,
        [{"readings": dirt}, {"readings": dirt, "sure": True}, {"readings": ["1"]}],
    )
    assert first["bore"]["next"] is None
    assert asked["kept"] is False
    assert "wipe" in asked["asked"][0]
    assert kept["kept"] is True
    assert len(kept["bore"]["rounds"]) == 1
    assert "6 readings" in wrong["refused"]


def test_lines_that_are_no_request_are_answered_in_words(capsys, monkeypatch, cell):
    out = told(capsys, monkeypatch, cell, ["{", "[]", '{"hone": 1}', '{"bore": "9"}'], "--json")
    answers = [json.loads(line) for line in out.splitlines()]
    assert all(answer["refused"] for answer in answers[1:])


class Player:
    """A program at the other end of the pipe: reads an answer, hones the bore, types the next round."""

    def __init__(self, capsys):
        self.capsys, self.rng, self.rounds = capsys, np.random.default_rng(4), 0
        self.bore = hidden_bore(self.rng, target_um=12.0)
        self.um = self.bore.um
        self.next = {}

    def answer(self):
        found = json.loads(self.capsys.readouterr().out.splitlines()[-1])
        assert found["refused"] is None, found
        self.rounds, self.next = len(found["bore"]["rounds"]), found["bore"]["next"]

    def __iter__(self):
        yield self.typed({}, "")
        self.answer()
        while self.next["step"] in ("test round", "strokes", "finer stones"):
            if self.next["change_to"]:
                yield json.dumps({"next_stones": self.next["change_to"]})
                self.answer()
            strokes = {zone: self.next[f"strokes_{zone}"] for zone in ("full", "top", "bottom")}
            fine = int(self.next["stones"] == "fine")
            self.um = honed(self.bore, self.um, list(strokes.values()), self.rng, stage=fine)
            yield self.typed(strokes, self.next["stones"])
            self.answer()

    def typed(self, strokes, stones):
        readings = [f"{value:+.1f}um" for value in gauged(self.bore, self.um, self.rng).ravel()]
        return json.dumps({"readings": readings, "strokes": strokes, "stones": stones, "sure": True})


def test_a_program_plays_a_whole_bore_and_the_record_holds_it(capsys, monkeypatch, cell):
    player = Player(capsys)
    monkeypatch.setattr(sys, "stdin", player)
    assert main(["bore", "K1", "1", "--cell", str(cell), "--json"]) == 0
    assert player.next["step"] == "finished"
    assert 0.0 <= player.um.min() <= player.um.max() <= 24.0
    record = cell / "record.csv"
    told(capsys, monkeypatch, cell, [], "--record", str(record))
    rows = list(csv.DictReader(record.read_text(encoding="utf-8").splitlines()))
    assert len(rows) == player.rounds >= 4
    assert rows[-1]["stones"] == "fine"
    told(capsys, monkeypatch, cell, [], "--record", str(cell / "record.json"))
    assert json.loads((cell / "record.json").read_text(encoding="utf-8"))["part"] == "K1"


def test_the_zero_is_kept_before_and_after(capsys, monkeypatch, cell):
    zero = [
        {"zero": {"reading": "+1", "state": "as-found"}},
        {"zero": {"reading": "68.000", "state": "as-left"}},
    ]
    checks = said(capsys, monkeypatch, cell, zero)[-1]["bore"]["zero_checks"]
    assert [(c["state"], c["zero_um"]) for c in checks] == [("as-found", 2.0), ("as-left", 0.0)]


def test_a_dial_whose_sign_is_wrong_in_the_sheet_is_found(capsys, monkeypatch, cell):
    signs = [{"sign": {"reading": said_, "larger_um": 20}} for said_ in ("-10", "+4", "+10")]
    _, other_way, too_little, right = said(capsys, monkeypatch, cell, signs)
    assert "the other way" in other_way["refused"]
    assert "division is worth" in too_little["refused"]
    assert right["kept"]
    assert right["bore"]["sign_checked"]


def test_a_round_typed_again_by_a_person_stands(capsys, monkeypatch, cell):
    told(capsys, monkeypatch, cell, ["", "", "+10", "", *RECEIVED, "q", ""])
    told(capsys, monkeypatch, cell, ["", "", "", "", "", *grown(5), "q", ""])
    told(capsys, monkeypatch, cell, ["", "", "u", "", *grown(4), "q", ""])
    rounds = said(capsys, monkeypatch, cell, [])[0]["bore"]["rounds"]
    assert len(rounds) == 2
    assert rounds[1]["corrected"] == 1
    assert rounds[1]["um"]["top_x"] == pytest.approx(-51.0)


def test_a_record_needs_a_measured_bore_and_a_known_ending(capsys, cell):
    assert main(["bore", "K1", "1", "--cell", str(cell), "--record", str(cell / "x.csv")]) == 1
    assert "was measured" in capsys.readouterr().err
    assert main(["export", "record", "K1", "--to", "pdf", "--cell", str(cell)]) == 1


def test_a_record_is_exported_of_a_bore_of_a_block_and_blank(capsys, monkeypatch, cell):
    told(capsys, monkeypatch, cell, ["", "", "", "", *RECEIVED, "q", ""])
    at = ["--cell", str(cell)]
    assert (
        main(["bore", "K1", "--job", "12", "--reference", "R-7", "--cleaned", "--by", "A. Person", *at]) == 0
    )
    more = ["--by", "A. Person"]
    for to in ("csv", "json", "pdf"):
        assert main(["export", "record", "K1", "--to", to, "--out", str(cell / f"r.{to}"), *more, *at]) == 0
    kept = json.loads((cell / "r.json").read_text(encoding="utf-8"))
    assert (kept["job"], kept["reference"], kept["cleaned"], kept["by"]) == ("12", "R-7", True, "A. Person")
    assert kept["bores"][0]["received"]["um"]["top_x"] == pytest.approx(-55.0)
    rows = list(csv.DictReader((cell / "r.csv").read_text(encoding="utf-8").splitlines()))
    assert (rows[0]["job"], float(rows[0]["top_x_um"]), rows[0]["cleaned"]) == ("12", -55.0, "true")
    assert (cell / "r.pdf").read_bytes().startswith(b"%PDF")
    assert main(["export", "record", "--blank", "--to", "pdf", "--out", str(cell / "b.pdf"), *at]) == 0
    wrong = {
        ("record", "K1", "--to", "csv", "--blank"): "--blank goes with",
        ("signals", "--to", "csv", "--by", "A"): "takes no --by",
        ("record", "K1", "--to", "pdf", "--mating-part", "7"): "BORE=SERIAL",
        ("record", "--to", "pdf"): "needs the block's SERIAL",
    }
    for words, reason in wrong.items():
        assert main(["export", *words, *at]) == 2
        assert reason in capsys.readouterr().err


ANSWERS = [
    "Bench",
    "B-1",
    "2",
    "i",
    "3.4370",
    "5.5",
    "c",
    "3.4350",
    "0.002",
    "0.003",
    "",
    "",
    "1",
    "200",
    "s",
]


def test_a_handful_of_answers_makes_a_sheet(capsys, monkeypatch, tmp_path):
    lines = [*ANSWERS, "", "", "3", "rough, fine", "12"]
    monkeypatch.setattr(sys, "stdin", io.StringIO("".join(f"{line}\n" for line in lines)))
    assert main(["new", str(tmp_path / "cell"), "--hand"]) == 0
    text = (tmp_path / "cell" / "cell.toml").read_text(encoding="utf-8")
    assert "lower = 87.2998" in text
    assert 'clockwise = "smaller"' in text
    assert "turn_um = 200" in text
    assert main(["check", "--cell", str(tmp_path / "cell")]) == 0


def test_an_answer_that_cannot_be_is_asked_for_again_in_words(capsys, monkeypatch, tmp_path):
    sizes = ["68", "140", "x", "l", "2.677", "68,000", "67.9", "68,024"]
    lines = ["Bench", "B-1", "many", "2", "mm", *sizes, *[""] * 9]
    monkeypatch.setattr(sys, "stdin", io.StringIO("".join(f"{line}\n" for line in lines)))
    assert main(["new", str(tmp_path / "cell"), "--hand"]) == 0
    out = capsys.readouterr().out
    for words in ("no figure", "Type one of limits, clearance.", "2.677 lies far", "more than 68."):
        assert words in out
    assert "# turn_um" in (tmp_path / "cell" / "cell.toml").read_text(encoding="utf-8")


def test_answers_that_end_early_make_nothing(capsys, monkeypatch, tmp_path):
    monkeypatch.setattr(sys, "stdin", io.StringIO("Bench\nB-1\nmany\n"))
    assert main(["new", str(tmp_path / "cell"), "--hand"]) == 2
    assert "ended" in capsys.readouterr().err
    assert not (tmp_path / "cell").exists()


def test_the_demo_by_hand_has_three_finished_bores_and_one_begun(capsys, tmp_path):
    assert main(["demo", str(tmp_path / "cell"), "--hand", "--no-serve"]) == 0
    out = capsys.readouterr().out
    assert out.count("Finished") == 3
    assert "Bore 4" in out


def test_a_shift_and_an_event_are_typed_as_a_bore_is(capsys, monkeypatch, cell):
    lines = ["K5", "1", *grown(70), "", "2", "67.905", "", *grown(70)[1:], "n", "e", "2", "S1", "q", "q"]
    out = told(capsys, monkeypatch, cell, lines, "--measured", "hand")
    assert "Bore 1 of K5 is kept." in out
    assert "Nothing was kept." in out
    assert "1 bore kept." in out


def test_an_event_at_the_bore_is_kept_with_what_is_asked(capsys, monkeypatch, cell):
    out = told(
        capsys,
        monkeypatch,
        cell,
        ["stones-dressed", "S1", "", "", "", "", "", ""],
        "--event",
        "--by",
        "A. Person",
    )
    assert "Logged." in out
    assert "No such event" in told(capsys, monkeypatch, cell, ["tea"], "--event")


def test_a_program_sends_an_event_and_a_measured_bore(capsys, monkeypatch, cell):
    odd = {"part": "K5", "bore": "2", "readings": ["67.905", *grown(70)[1:]]}
    _, dressed, wrong, asked, kept, none = said(
        capsys,
        monkeypatch,
        cell,
        [
            {"event": {"event": "stones-dressed", "spindle": "S1"}, "by": "A. Person"},
            {"event": {"event": "stones-dressed"}},
            {"measured": odd},
            {"measured": {**odd, "readings": grown(70)}},
            {"measured": {"part": "K5", "bore": "2"}},
        ],
    )
    assert dressed["kept"]
    assert "needs spindle" in wrong["refused"]
    assert (asked["kept"], "wipe" in asked["asked"][0]) == (False, True)
    assert kept["kept"]
    assert "6 readings" in none["refused"]


def test_a_person_is_asked_once_for_job_and_reference_and_each_round_for_both_temperatures(
    capsys, monkeypatch, cell
):
    begin = ["A. Person", "12", "R-7", "", ""]
    told(capsys, monkeypatch, cell, [*begin, "68", "20,5", "20.1", *RECEIVED, "q", ""])
    out = told(capsys, monkeypatch, cell, ["A. Person", "", "q", ""])
    assert "Job" not in out
    (answer,) = said(capsys, monkeypatch, cell, [])
    assert (answer["bore"]["block"]["job"], answer["bore"]["block"]["reference"]) == ("12", "R-7")
    (received,) = answer["bore"]["rounds"]
    assert (received["part_temp_c"], received["master_temp_c"], received["by"]) == (20.5, 20.1, "A. Person")


def test_a_figure_typed_in_answer_to_a_question_takes_the_place_of_the_odd_one(capsys, monkeypatch, cell):
    out = told(capsys, monkeypatch, cell, ["", "", "", "", "67.5", "67.945", *RECEIVED[1:], "q", ""])
    assert out.count("is that so?") == 1
    (received,) = said(capsys, monkeypatch, cell, [])[0]["bore"]["rounds"]
    assert received["um"]["top_x"] == pytest.approx(-55.0)


def test_a_reading_one_dial_turn_off_is_asked_about_before_the_next_is_typed(capsys, monkeypatch, cell):
    told(capsys, monkeypatch, cell, ["", "", "", "", "", *RECEIVED, "q", ""])
    odd, right = grown(5)[0], grown(5)
    turned = f"{float(odd) + 0.2:.4f}"  # 100 divisions of 2 um on diameter
    lines = ["A. Person", "", "", "", "", "", turned, right[0], *right[1:], "q", ""]
    out = told(capsys, monkeypatch, cell, lines)
    assert "about +1 dial turn from what was expected" in out.replace("\n", " ")
    (_, first) = said(capsys, monkeypatch, cell, [])[0]["bore"]["rounds"]
    assert first["um"]["top_x"] == pytest.approx(-50.0), "the figure that followed took its place"


@pytest.mark.parametrize(("answer", "cleaned"), [("y", True), ("", None)])
def test_after_a_finished_bore_a_person_is_asked_whether_the_block_was_washed(
    capsys, monkeypatch, cell, answer, cleaned
):
    finished = ["68.012", "68.013", "68.011", "68.012", "68.013", "68.012"]
    out = told(capsys, monkeypatch, cell, ["A. Person", "", "", "", "", "", *finished, "", answer])
    assert "Finished" in out
    assert "wash it" in out.replace("\n", " ")
    assert "Is that done" in out
    assert (said(capsys, monkeypatch, cell, [])[0]["bore"]["block"]["cleaned"] or None) == cleaned
