"""The set-up sheet: cautions first, never above the rated speed, with a cell's sheet and without any."""

from __future__ import annotations

import json

import pytest

from cellmon.cli.main import main
from cellmon.errors import WrongUsage
from cellmon.monitor.setup import NotAdvised, SetupRequest, setup_sheet
from tests.small_cell import SHEET, new_cell

BY_HAND = SetupRequest(
    diameter_mm=87.3,
    length_mm=140.0,
    stone_mm=70.0,
    overrun_top_mm=23.0,
    overrun_bottom_mm=23.0,
    strokes_per_min=60.0,
    angle_deg=45.0,
)
STONES = """[stones]
id = "D64"
new_thickness_mm = 3.0
least_thickness_mm = 0.6
stone_length_mm = 50.0
[features.crosshatch_included]
unit = "deg"
lower = 37.0
upper = 53.0
[store]"""
WITH_STONES = SHEET.replace("[store]", STONES)


def speed(answer, name):
    return next(s for s in answer.speeds if s.name == name)


# worked example, derived: 349 rev/min leave 17 degrees by hand, 45 need about 122; 45 mean is 66 mid-bore
def test_the_shop_rule_stands_beside_the_speed_for_the_wanted_angle():
    answer = setup_sheet(BY_HAND)
    rule, wanted = speed(answer, "shop rule"), speed(answer, "wanted angle")
    assert (rule.rpm, rule.angle_mean_deg) == (pytest.approx(349, abs=0.5), pytest.approx(17, abs=0.5))
    assert "common practice, no source" in rule.note
    assert wanted.rpm == pytest.approx(122, abs=1)
    assert wanted.angle_mean_deg == pytest.approx(45)
    assert wanted.angle_mid_stroke_deg == pytest.approx(66, abs=0.5)
    assert answer.stroke_mm == 116
    assert "122 rev/min (wanted angle)" in answer.sentence and "45 degrees (mean)" in answer.sentence


def test_an_angle_wanted_mid_stroke_turns_faster():
    mean = speed(setup_sheet(BY_HAND), "wanted angle")
    from dataclasses import replace

    mid = speed(setup_sheet(replace(BY_HAND, angle_at="mid-stroke")), "wanted angle")
    assert mid.rpm == pytest.approx(mean.rpm * 3.14159265 / 2)
    assert mid.angle_mid_stroke_deg == pytest.approx(45)


def test_no_speed_is_above_the_rated_one():
    from dataclasses import replace

    answer = setup_sheet(replace(BY_HAND, rated_rpm=110.0, surface_m_min=60.0))
    assert all(s.rpm <= 110.0 for s in answer.speeds)
    assert all(s.limited for s in answer.speeds)
    held = speed(answer, "wanted angle")
    assert held.angle_mean_deg == pytest.approx(49.7, abs=0.2)  # slower than wanted: the angle opens
    assert held.strokes_for_angle == pytest.approx(60 * 110 / held.rpm_asked)
    assert "would be above it" in held.note
    free = setup_sheet(BY_HAND)
    assert any("no rated speed is given" in note for note in free.notes)


def test_cautions_come_first_and_the_order_of_work_last():
    answer = setup_sheet(BY_HAND)
    words = " ".join(answer.cautions)
    for said in (
        "Advice only",
        "Never withdraw",
        "drill's kick",
        "plug is pulled",
        "specialist",
        "data sheets",
    ):
        assert said in words, said
    steps = " ".join(answer.steps)
    assert (
        steps.index("tight end") < steps.index("Coarse stones to size") < steps.index("Fine stones to finish")
    )


def test_what_is_missing_is_named_and_the_rest_is_given():
    answer = setup_sheet(SetupRequest(diameter_mm=87.3))
    assert answer.stroke_mm is None and answer.speeds[0].angle_mean_deg is None
    assert set(answer.why_not) == {"stroke_mm", "strokes_per_min", "angle_deg", "removal"}
    with pytest.raises(WrongUsage, match="--diameter-mm"):
        setup_sheet(SetupRequest())


def test_removal_and_wear_follow_from_ones_own_figures():
    from dataclasses import replace

    asked = replace(BY_HAND, stock_um=30.0, um_per_stroke=0.8, g_ratio=1250.0, stone_width_mm=6.0, stones=4)
    removal = setup_sheet(asked).removal
    assert removal.work_mm3 == pytest.approx(576, abs=0.5)
    assert (removal.strokes, removal.minutes) == (38, pytest.approx(38 / 60))
    assert removal.wear_um == pytest.approx(0.274, abs=0.002)
    poor = setup_sheet(replace(asked, um_per_stroke=None, g_ratio=None)).removal
    assert set(poor.why_not) == {"strokes", "wear_um"}


def test_unusual_stones_overruns_and_speeds_are_said():
    from dataclasses import replace

    notes = " ".join(
        setup_sheet(replace(BY_HAND, stone_mm=40.0, overrun_bottom_mm=0.0, surface_m_min=200.0)).notes
    )
    assert "0.29 of the bore length" in notes and "the bottom overrun is 0.00" in notes
    assert "outside the textbook range" in notes
    assert "overrun is" not in " ".join(setup_sheet(BY_HAND).notes)


def test_a_coated_bore_gets_no_advice_until_a_person_confirms():
    from dataclasses import replace

    for surface in ("coated", "plated", "unknown"):
        with pytest.raises(NotAdvised, match=surface):
            setup_sheet(replace(BY_HAND, surface=surface))
    assert setup_sheet(replace(BY_HAND, surface="plain")).stroke_mm == 116


def test_the_sheet_gives_what_the_request_leaves_open(tmp_path):
    monitor = new_cell(tmp_path / "cell", sheet=WITH_STONES)
    answer = monitor.setup(
        SetupRequest(strokes_per_min=60.0, stock_um=20.0, g_ratio=1000.0, stone_width_mm=5.0)
    )
    assert (answer.diameter_mm, answer.length_mm, answer.stone_mm) == (50.0, 100.0, 50.0)
    assert (answer.angle_deg, answer.overrun_top_mm) == (45.0, 16.7)
    assert answer.stroke_mm == pytest.approx(83.4)
    assert answer.removal.bores_per_set == pytest.approx(2400 / answer.removal.wear_um)
    assert answer.sheet is not None
    assert monitor.setup(SetupRequest(diameter_mm=60.0, angle_deg=30.0)).diameter_mm == 60.0
    monitor.close()
    coated = SHEET.replace("length_mm = 100.0", 'length_mm = 100.0\nsurface = "coated"')
    monitor = new_cell(tmp_path / "coated", sheet=coated)
    with pytest.raises(NotAdvised):
        monitor.setup(SetupRequest())
    assert monitor.setup(SetupRequest(surface="plain")).diameter_mm == 50.0
    monitor.close()


def test_the_command_works_without_a_cell(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("CELLMON_CELL", raising=False)
    argv = ["setup", "--diameter-in", "3.437", "--length-mm", "140", "--stone-mm", "70", "--rated-rpm", "300"]
    assert main([*argv, "--strokes-per-min", "60", "--angle-deg", "45", "--stock-um", "30"]) == 0
    shown = capsys.readouterr().out
    assert shown.startswith("Cautions\n")
    for said in ("shop rule", "held at it", "wanted angle", "Start in the tight end", "not known: wear_um"):
        assert said in shown, said
    assert main([*argv, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["sheet"] is None and found["diameter_mm"] == pytest.approx(87.2998)
    assert list(tmp_path.iterdir()) == []
    assert main(["setup"]) == 2
    assert main(["setup", "--diameter-mm", "0"]) == 2
    assert main(["setup", "--diameter-mm", "80", "--stones", "0"]) == 2
    assert main(["setup", "--diameter-mm", "80", "--surface", "plated"]) == 2
    assert main(["setup", "--cell", str(tmp_path / "none")]) == 2


def test_the_command_takes_the_sheet_of_a_cell(tmp_path, monkeypatch, capsys):
    new_cell(tmp_path / "cell", sheet=WITH_STONES).close()
    monkeypatch.chdir(tmp_path / "cell")
    monkeypatch.delenv("CELLMON_CELL", raising=False)
    assert main(["setup", "--strokes-per-min", "60"]) == 0
    assert "Bore 50 mm" in capsys.readouterr().out
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("CELLMON_CELL", str(tmp_path / "cell"))
    assert main(["setup", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["length_mm"] == 100.0
