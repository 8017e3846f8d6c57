"""Can the gauge be believed: checks, studies, budget, decisions and two gauges, from files to the answer."""

from __future__ import annotations

import math

import numpy as np
import pytest

from cellmon.errors import NotFound
from cellmon.export.documents import as_json, document
from tests.small_cell import HEADER, SHEET, checks, new_cell, rows, write

TWO_GAUGES = SHEET.replace(
    "uncertainty_reading_um = 0.3\n",
    'uncertainty_reading_um = 0.3\nresolution_um = 0.1\n[[gauges]]\nid = "G2"\nresolution_um = 1.0\n'
    "uncertainty_reading_um = 0.8\n",
).replace("[features.taper]", "[features.roundness]\nupper = 4.0\n[features.taper]")
STUDY = "study,part,trial,reading_mm,operator,bore,plane,direction,gauge,master_mm,at"
SD = {"part": 5.0, "operator": 0.4, "repeat": 0.3}
PLACES = [(p, d) for p in ("top", "bottom") for d in ("x", "y")]


def crossed(name: str = "C1", *, parts: int = 8, people=("P", "Q", "R"), trials: int = 3, seed: int = 3):
    """Return rows of a study of known spreads, every place of one bore; no operator for None."""
    rng = np.random.default_rng(seed)
    off = {who: SD["operator"] * (i - 1) for i, who in enumerate(people)}
    found = []
    for part in range(parts):
        true = {place: SD["part"] * rng.standard_normal() for place in PLACES}
        for who in people:
            for trial in range(trials):
                for plane, direction in PLACES:
                    um = true[plane, direction] + off[who] + SD["repeat"] * rng.standard_normal()
                    found.append(
                        f"{name},T{part},{trial + 1},{50 + round(um, 1) / 1000:.4f},{who or ''},1,{plane},"
                        f"{direction},G1,,2026-03-01T08:00:00Z"
                    )
    return found


def ring(name: str = "M1", *, n: int = 25, bias: float = 0.4, seed: int = 4):
    rng = np.random.default_rng(seed)
    return [
        f"{name},ring,{i + 1},{50 + round(bias + 0.3 * rng.standard_normal(), 1) / 1000:.4f},,,,,G1,50.0000,"
        "2026-03-01T09:00:00Z"
        for i in range(n)
    ]


def second_gauge(lines, *, large: float = 0.6, every: int = 5):
    """Return the same bores read by G2 as well, so much larger, in whole micrometres."""
    rng = np.random.default_rng(9)
    found = []
    for line in lines:
        part, bore, spindle, at, plane, direction, size = line.split(",")
        if int(part[1:]) % every == 0:
            um = (float(size) - 50) * 1000 + large + 0.7 * rng.standard_normal()
            when = str(np.datetime64(at.rstrip("Z")) + np.timedelta64(1, "h"))
            found.append(
                f"{part},{bore},{spindle},{when}Z,{plane},{direction},{50 + round(um) / 1000:.4f},G2"
            )
    return found


READINGS = "part,bore,spindle,measured_at,plane,direction,diameter"


@pytest.fixture(scope="module")
def cell(tmp_path_factory):
    folder = tmp_path_factory.mktemp("gauge")
    monitor = new_cell(folder / "cell", sheet=TWO_GAUGES)
    lines = rows(100)
    monitor.take(
        [
            write(folder, "readings.csv", READINGS, lines),
            write(folder, "audit.csv", f"{READINGS},gauge", second_gauge(lines)),
            write(folder, "checks.csv", "at,gauge,master_mm,reading_mm,state", [*checks(), *more_checks()]),
            write(folder, "study.csv", STUDY, [*crossed(), *crossed("A1", people=(None,)), *ring()]),
        ]
    )
    yield monitor
    monitor.close()


def more_checks():
    """Return good checks after the slip, a second master among them, drifting by 0.4 um a day."""
    rng = np.random.default_rng(2)
    start, found = np.datetime64("2026-03-02T09:30:00"), []
    for i in range(24):
        at = start + np.timedelta64(20 * i, "m")
        drift = 0.4 * (20 * i / 1440) + 0.1 * rng.standard_normal()
        found.append(f"{at}Z,G1,50.0000,{50 + round(drift, 1) / 1000:.4f},as-found")
        if i % 6 == 0:
            found.append(f"{at}Z,G1,50.0100,{50.01 + round(drift + 0.2, 1) / 1000:.4f},as-found")
    return found


@pytest.fixture(scope="module")
def answer(cell):
    return cell.gauge()


def test_the_answer_is_a_sentence_and_a_document(cell, answer):
    assert answer.sentence.startswith("With care: G1 last read its master +0.2 µm off, on Mon 2 Mar 18:10.")
    assert "of the tolerance of size" in answer.sentence
    made = as_json(document(answer, zone=answer.as_of.tzinfo))
    assert b'"of_tolerance"' in made and b"NaN" not in made


def test_master_checks_give_zero_drift_and_linearity(answer):
    found = answer.gauges[0].checks
    assert found.usual_master_mm == 50.0
    assert found.drift_um_per_day.low < 0.4 < found.drift_um_per_day.high
    # set at 09:05: the checks before it are not of this drift
    assert found.drift_n == 25
    assert found.linearity.um_per_mm.low < 20 < found.linearity.um_per_mm.high
    assert found.linearity.over_tolerance_um.value == pytest.approx(0.02 * found.linearity.um_per_mm.value)
    assert found.last.good and found.last.error_um == pytest.approx(found.error_um[-1])


def test_bores_since_the_last_good_check_are_suspect(answer):
    [one] = answer.gauges[0].checks.suspect
    assert one.by_um == pytest.approx(3.1)
    assert (one.after.hour, one.found_at.hour, one.ended) == (6, 10, True)  # local: 05:00 and 09:00 UTC
    # a block of two bores every 10 minutes from 05:00: those after the check of 05:00 up to that of 09:00
    assert one.blocks == 24
    assert one.bores == 2 * one.blocks == one.waiting
    assert (one.first_part, one.last_part) == ("B0001", "B0024")


def test_the_three_designs_are_told_by_their_shape(answer):
    designs = {s.study: s.design for s in answer.studies}
    assert designs == {
        "C1": "parts crossed with operators",
        "A1": "parts without operators",
        "M1": "one master repeated",
    }


def test_the_crossed_study_finds_the_spreads_it_was_made_with(answer):
    one = next(s for s in answer.studies if s.study == "C1").of("one reading")
    assert (one.parts, one.operators, one.trials) == (32, 3, 3)
    for estimate, true in (
        (one.repeatability_um, SD["repeat"]),
        (one.reproducibility_um, SD["operator"]),
        (one.gauge_um, math.hypot(SD["repeat"], SD["operator"])),
        (one.part_um, SD["part"]),
    ):
        assert estimate.low < true < estimate.high
    assert one.of_tolerance.value == pytest.approx(100 * 6 * one.gauge_um.value / 20)
    assert one.resolution.step == pytest.approx(0.1) and one.resolution.fine_for_sigma


def test_every_feature_the_places_give_is_studied(answer):
    found = {f.feature: f for f in next(s for s in answer.studies if s.study == "A1").features}
    assert set(found) == {"one reading", "diameter", "roundness", "taper"}
    # the mean of four readings repeats to half of one; a taper of two directions to one reading's worth
    assert found["diameter"].repeatability_um.low < 0.15 < found["diameter"].repeatability_um.high
    assert found["taper"].repeatability_um.low < 0.3 < found["taper"].repeatability_um.high
    # roundness cannot be below nought: its tolerance is the room up to its limit
    assert found["roundness"].tolerance_um == 4.0
    assert found["taper"].tolerance_um == 16.0


def test_a_master_repeated_gives_bias_and_repeatability(answer):
    [one] = next(s for s in answer.studies if s.study == "M1").features
    assert one.bias_um.low < 0.4 < one.bias_um.high
    assert one.repeatability_um.low < 0.3 < one.repeatability_um.high
    assert one.part_um is None and "no parts" in one.why_not["part_um"]


def test_the_budget_adds_up_and_is_held_against_the_sheet(answer):
    found = answer.gauges[0].budget
    counted = [line for line in found.lines if line.counted]
    assert found.u_um == pytest.approx(math.sqrt(sum(line.u_um**2 for line in counted)))
    assert found.expanded_um == pytest.approx(2 * found.u_um)
    assert found.sheet_expanded_um == pytest.approx(2 * math.hypot(0.3, 0.3))
    names = {line.name: line for line in found.lines}
    study = next(s for s in answer.studies if s.study == "C1").of("one reading")
    assert names["repetition"].u_um == pytest.approx(study.gauge_um.value)
    assert not names["resolution"].counted  # repeated readings are rounded already
    assert "the sheet does not say how the part expands" in names["temperature"].source
    assert "assumed" in names["master"].source
    assert "for one reading alone the sheet's 0.30 µm is too small" in found.sentence.lower().replace(
        "µm", "µm"
    )


def test_the_zones_are_those_of_the_verdict(answer):
    zone = next(z for z in answer.rule.zones if z.feature == "diameter")
    assert zone.guard_um == pytest.approx(1.6449 * math.hypot(0.3, 0.3), rel=1e-4)
    assert (zone.conforms_from_um, zone.fails_above_um) == pytest.approx(
        (-10 + zone.guard_um, 10 + zone.guard_um)
    )
    assert "1.645 standard uncertainties" in answer.rule.sentence


def test_a_perfect_bore_reads_some_roundness(answer):
    found = {n.figure: n for n in answer.noise}
    # two directions: half of |difference| of the worse of two planes; sigma 0.3 each
    assert 0.15 < found["roundness"].perfect_um.mean < 0.35
    assert found["roundness"].perfect_um.low > 0
    assert "A perfect bore reads" in found["roundness"].sentence
    assert found["least size"].perfect_um.mean < -0.1 < 0.1 < found["greatest size"].perfect_um.mean


def test_two_gauges_are_compared_on_the_bores_both_measured(answer):
    [pair] = answer.agreements
    assert (pair.first, pair.second) == ("G1", "G2")
    size = pair.features[0]
    assert size.blocks == size.n / 2
    # those of the suspect time are left out
    assert len(pair.part) + pair.left_out == 40 and pair.left_out == pytest.approx(10, abs=2)
    assert size.difference_um.low < -0.6 < size.difference_um.high
    assert "G1 reads" in size.sentence and "less than G2" in size.sentence
    assert size.sd_expected_um == pytest.approx(math.hypot(0.3, 0.8) / 2)


def test_one_study_alone_or_a_sentence_that_there_is_none(cell):
    assert [s.study for s in cell.gauge(study="M1").studies] == ["M1"]
    with pytest.raises(NotFound, match="there are A1, C1, M1"):
        cell.gauge(study="C2")


def taken(folder, lines, sheet=TWO_GAUGES):
    monitor = new_cell(folder / "cell", sheet=sheet)
    got = monitor.take([write(folder, "study.csv", STUDY, lines)])
    return monitor, got.files[0]


def test_a_missing_trial_is_named_and_the_rest_used(tmp_path):
    lines = [one for one in crossed() if not one.startswith("C1,T2,3,") or ",Q," not in one]
    monitor, _ = taken(tmp_path, lines)
    [study] = monitor.gauge().studies
    assert study.of("one reading").parts == 28 and study.of("diameter").parts == 7
    assert any("2 of 3 trials by Q" in words for words in study.left_out)
    monitor.close()


def test_one_operator_is_used_and_said(tmp_path):
    monitor, _ = taken(tmp_path, crossed(people=("P",)))
    [study] = monitor.gauge().studies
    assert study.design == "parts without operators"
    assert study.notes == ("one operator, P: what persons add is not in it",)
    assert "no two operators" in study.of("one reading").why_not["reproducibility_um"]
    monitor.close()


def test_a_part_measured_twice_under_one_name_waits_aside_and_is_counted(tmp_path):
    # T1 was measured again in the place of T0: the same rows with other values contradict, none is lost
    again = [one.replace(",T1,", ",T0,") for one in crossed() if one.startswith("C1,T1,")]
    lines = [one for one in crossed() if not one.startswith("C1,T1,")]
    monitor, file = taken(tmp_path, [*lines, *again])
    answer = monitor.gauge()
    assert file.taken + file.known + len(file.set_aside) == file.rows == 288
    assert answer.study_rows_aside == len(file.set_aside) > 30
    assert answer.studies[0].of("one reading").parts == 28
    monitor.close()


def test_readings_that_never_differ_say_so_in_words(tmp_path):
    lines = [
        f"K1,T{p},{t},{50 + p / 1000:.4f},{o},,,,G1,,2026-03-01T08:00:00Z"
        for p in range(4)
        for t in (1, 2)
        for o in "PQ"
    ]
    monitor, _ = taken(tmp_path, lines)
    answer = monitor.gauge()
    [one] = answer.studies[0].features
    assert "do not differ" in one.verdict and one.gauge_um is None
    assert "How well it repeats is not known" in answer.sentence
    monitor.close()


def test_a_single_trial_is_refused_in_words(tmp_path):
    monitor, _ = taken(tmp_path, crossed(trials=1))
    [study] = monitor.gauge().studies
    assert "need at least 2, got 1" in study.of("one reading").verdict
    assert study.design == "not told" and study.why_not
    monitor.close()


def test_a_cell_without_anything_says_what_is_not_known(tmp_path):
    monitor = new_cell(tmp_path / "cell")
    answer = monitor.gauge()
    assert "not seen on a master in the last 28 days" in answer.sentence
    assert answer.why_not["studies"] == "no gauge study was taken"
    assert answer.gauges[0].budget is None and answer.agreements == ()
    monitor.close()


def test_a_check_long_ago_is_not_said_to_be_none_at_all(tmp_path):
    monitor = new_cell(tmp_path / "cell", sheet=SHEET.replace("[checks]\n", "[checks]\nmaster_every_h = 8\n"))
    monitor.take([write(tmp_path, "a.csv", HEADER, rows(1))])
    spindle = monitor.now().spindles[0]
    assert [due.what for due in spindle.due if due.overdue] == ["master check of G1: none in the last 160 h"]
    monitor.close()


def test_a_gauge_found_off_is_not_believed(tmp_path):
    monitor = new_cell(tmp_path / "cell", sheet=TWO_GAUGES)
    lines = [
        "2026-03-02T05:00:00Z,G1,50.0000,50.0002,as-found",
        "2026-03-02T09:00:00Z,G1,50.0000,49.9960,as-found",
    ]
    monitor.take(
        [
            write(tmp_path, "checks.csv", "at,gauge,master_mm,reading_mm,state", lines),
            write(tmp_path, "study.csv", STUDY, crossed()),
        ]
    )
    answer = monitor.gauge()
    assert answer.sentence.startswith("Do not believe G1: on Mon 2 Mar 10:00 it read its master −4.0 µm off.")
    [one] = answer.gauges[0].checks.suspect
    assert not one.ended
    monitor.close()


def test_without_a_limit_a_check_is_told_and_not_judged(tmp_path):
    monitor = new_cell(tmp_path / "cell", sheet=TWO_GAUGES.replace("[checks]\nas_found_limit_um = 1.0\n", ""))
    monitor.take([write(tmp_path, "checks.csv", "at,gauge,master_mm,reading_mm,state", checks())])
    one = monitor.gauge().gauges[0]
    assert "the sheet sets no limit" in one.on_masters
    assert one.checks.last.good is None and one.checks.suspect == ()
    monitor.close()


def test_an_overdue_check_is_said_and_no_yes_before_it(tmp_path):
    sheet = TWO_GAUGES.replace("[checks]\n", "[checks]\nmaster_every_h = 1\n")
    monitor = new_cell(tmp_path / "cell", sheet=sheet)
    monitor.take(
        [
            write(tmp_path, "checks.csv", "at,gauge,master_mm,reading_mm,state", checks()[:1]),
            write(tmp_path, "readings.csv", READINGS, rows(20)),
            write(tmp_path, "study.csv", STUDY, crossed()),
        ]
    )
    sentence = monitor.gauge().sentence
    assert sentence.startswith("G1 last read its master") and "That check is overdue." in sentence
    monitor.close()


def test_a_gauge_that_is_not_on_the_sheet_is_shown_all_the_same(tmp_path):
    monitor, _ = taken(tmp_path, [one.replace(",G1,", ",G9,") for one in crossed()])
    standing = next(g for g in monitor.gauge().gauges if g.gauge == "G9")
    assert standing.use == "not on the sheet" and standing.budget.sheet_reading_um is None
    monitor.close()


UNCERTAIN = TWO_GAUGES.replace("[checks]", "[uncertainty]\nmaster_um = 0.1\n[checks]")


def test_what_the_sheet_says_of_the_master_is_used_and_alters_no_verdict(tmp_path):
    monitor, _ = taken(tmp_path, crossed(), sheet=UNCERTAIN)
    plain = new_cell(tmp_path / "other", sheet=TWO_GAUGES)
    [line] = [one for one in monitor.gauge().gauges[0].budget.lines if one.name == "master"]
    assert line.u_um == 0.1 and "from the sheet" in line.source
    assert monitor.sheet.judging() == plain.sheet.judging()
    monitor.close()
    plain.close()


PARTS = SHEET.replace("[part]", "[[parts]]").replace("[features.", "[parts.features.")
SECOND = PARTS[PARTS.index("[[parts]]") : PARTS.index("[measuring]")]
TWO_PARTS = PARTS.replace(
    "[measuring]",
    SECOND.replace("P-1", "P-2").replace("49.990", "49.980").replace("50.010", "50.020") + "[measuring]",
)


@pytest.mark.parametrize(("number", "width"), [("P-1", 20.0), ("P-2", 40.0)])
def test_a_study_is_held_against_the_drawing_it_names(tmp_path, number, width):
    lines = [f"{line},{number}" for line in crossed()]
    monitor = new_cell(tmp_path / "cell", sheet=TWO_PARTS)
    monitor.take([write(tmp_path, "study.csv", f"{STUDY},part_number", lines)])
    (study,) = monitor.gauge().studies
    assert (study.part_number, study.of("one reading").tolerance_um) == (number, width)
    assert not any("held against" in note for note in study.notes)
    monitor.close()


@pytest.mark.parametrize(
    ("number", "said"), [("", "no part_number in its rows"), ("P-9", "the sheet has no part P-9")]
)
def test_a_study_of_no_known_drawing_says_whose_tolerance_was_used(tmp_path, number, said):
    monitor = new_cell(tmp_path / "cell", sheet=TWO_PARTS)
    lines = [f"{line},{number}" for line in crossed()]
    monitor.take([write(tmp_path, "study.csv", f"{STUDY},part_number", lines)])
    (study,) = monitor.gauge().studies
    assert study.part_number == "P-1"
    (note,) = [n for n in study.notes if "held against P-1" in n]
    assert note.startswith(said)
    monitor.close()


def test_one_study_of_two_drawings_is_two(tmp_path):
    monitor = new_cell(tmp_path / "cell", sheet=TWO_PARTS)
    lines = [f"{line},P-{1 + (int(line.split(',')[1][1:]) > 3)}" for line in crossed()]
    monitor.take([write(tmp_path, "study.csv", f"{STUDY},part_number", lines)])
    assert [s.study for s in monitor.gauge().studies] == ["C1 of P-1", "C1 of P-2"]
    assert [s.of("one reading").parts for s in monitor.gauge().studies] == [16, 16]
    monitor.close()


def test_a_bore_that_lacks_one_place_is_a_missing_trial_and_no_strange_number(tmp_path):
    lines = crossed()
    monitor, _ = taken(tmp_path, lines[:7] + lines[8:])
    found = monitor.gauge().studies[0]
    monitor.close()
    assert all("no number" not in why for why in found.left_out)
    assert "part T0 1: 2 of 3 trials by P" in found.left_out
