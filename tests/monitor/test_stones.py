"""What the cell says of its stones: lives left, lots, advice, and every hole in the log in words."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from cellmon.errors import NotFound
from cellmon.export.documents import document
from cellmon.monitor import Monitor
from cellmon.monitor.stones import StoneSetOf
from tests.small_cell import HEADER, new_cell, rows, write
from tests.stones.cells import EVENTS, MEASURED, SETS, STONE_SHEET, measured_rows

DEPTH = 2400.0
BEGAN = np.datetime64("2026-01-05T05:00:00")
PACE = np.timedelta64(30, "s")
"""A bore of one spindle."""
NOISE = 0.02 * DEPTH
"""What a path of wear wanders over a whole life, micrometres."""


def life(rng: np.random.Generator, *, spread: float = 0.15, points: int = 4000) -> np.ndarray:
    """Return bores at which each of `points` equal shares of depth is worn off its thinnest place."""
    rate = 0.275 * float(np.exp(spread * rng.standard_normal()))
    step = DEPTH / rate / points
    worn = np.cumsum(rate * step + NOISE / np.sqrt(points) * rng.standard_normal(2 * points))
    end = int(np.argmax(worn >= DEPTH))
    return np.concatenate(([0.0], worn[: end + 1])), step  # type: ignore[return-value]


def set_rows(
    rng: np.random.Generator,
    name: str,
    spindle: str,
    start: np.datetime64,
    *,
    share: float = 1.0,
    rounds: int = 9,
    spread: float = 0.15,
    factor: float = 1.0,
) -> dict[str, object]:
    """Return one set worn to a share of its life, taken out and back at every round."""
    worn, step = life(rng, spread=spread)
    step = step / factor
    whole = (len(worn) - 1) * step
    last = int((len(worn) - 1) * share)
    index = np.unique(np.linspace(0, last, rounds).astype(int))
    bores = index * step
    at = [start + int(b) * PACE for b in bores]
    # the thinnest place wears 1.012 times as fast as the middle
    path = worn[index] / 1.012
    measured = measured_rows(rng, name, at, bores, rate=0.0, path=path, new=3000.0)
    events = [f"{at[0]}Z,stones-fitted,{spindle},{name},0,"]
    for k in range(1, len(at)):
        ends = k == len(at) - 1 and share == 1.0
        events.append(
            f"{at[k]}Z,stones-removed,{spindle},{name},{bores[k]:.0f},{'worn' if ends else 'other'}"
        )
        if not ends:
            events.append(
                f"{at[k] + np.timedelta64(60, 's')}Z,stones-fitted,{spindle},{name},{bores[k]:.0f},"
            )
    return {
        "events": events,
        "measured": measured,
        "end": at[-1],
        "left": whole - bores[-1],
        "bores": bores[-1],
    }


def cell(
    folder: Path,
    *,
    seed: int,
    past: int = 8,
    shares: tuple[float, ...] = (0.5, 0.3),
    spread: float = 0.15,
    sheet: str = STONE_SHEET,
    slow_lot: float = 1.0,
) -> tuple[Monitor, dict[str, float]]:
    """Return a cell with past sets and running ones at shares of their lives, and what these have left."""
    rng = np.random.default_rng(seed)
    events, measured, sets, left = [], [], [], {}
    ends = {"S1": BEGAN, "S2": BEGAN}
    wanted = [1.0] * past + list(shares)
    for i, share in enumerate(wanted):
        spindle, name = f"S{i % 2 + 1}", f"A{i}"
        lot = f"L{i // 4}"
        factor = slow_lot if lot == "L1" else 1.0
        start = ends[spindle] + np.timedelta64(10, "m")
        one = set_rows(rng, name, spindle, start, share=share, spread=spread, factor=factor)
        events += one["events"]
        measured += one["measured"]
        sets.append(f"{name},D64,first,{lot}")
        ends[spindle] = one["end"]
        if share < 1:
            left[name] = one["left"]
    monitor = new_cell(folder, sheet=sheet)
    monitor.take([write(folder, "events.csv", EVENTS, events)])
    monitor.take([write(folder, "measured.csv", MEASURED, measured), write(folder, "sets.csv", SETS, sets)])
    return monitor, left


def of(monitor: Monitor, name: str) -> StoneSetOf:
    return next(s for s in monitor.stones().sets if s.stone_set == name)


def small(
    folder: Path, events: list[str], measured: list[str] = (), *, blocks: int = 0, sheet: str = STONE_SHEET
) -> Monitor:  # type: ignore[assignment]
    monitor = new_cell(folder, sheet=sheet)
    if blocks:
        monitor.take([write(folder, "rows.csv", HEADER, rows(blocks))])
    if events:
        monitor.take([write(folder, "events.csv", EVENTS, events)])
    if measured:
        monitor.take([write(folder, "measured.csv", MEASURED, list(measured))])
    return monitor


@pytest.fixture(scope="module")
def running(tmp_path_factory):
    return cell(tmp_path_factory.mktemp("stones") / "cell", seed=1)


def test_running_sets_have_a_range_that_rests_on_those_before_them(running):
    monitor, left = running
    for name, bores in left.items():
        one = of(monitor, name)
        assert one.state == "fitted" and one.remaining_bores is not None
        assert one.remaining_bores.p05 < one.remaining_bores.p50 < one.remaining_bores.p95
        assert 0.7 < one.remaining_bores.p50 / bores < 1.4
        assert one.rests_on == "9 other sets of its kind"
        assert one.limited_by == "thickness"
        assert one.advice == "run"


def test_wear_is_the_mean_and_what_is_left_that_of_the_thinnest_place(running):
    monitor, _ = running
    one = of(monitor, "A8")
    assert one.wear_um is not None and one.thickness_left_um is not None
    assert one.wear_um == pytest.approx(0.5 * DEPTH, rel=0.05)
    assert one.thickness_left_um + 1.012 * one.wear_um == pytest.approx(DEPTH, rel=0.02)
    rate = one.wear_um_per_1000_bores
    assert rate is not None and rate.low < 1000 * one.wear_um / one.bores_since_fit < rate.high


def test_uneven_wear_asks_for_truing_by_the_limit_of_the_sheet(running):
    monitor, _ = running
    one = of(monitor, "A8")
    assert one.parallelism_um == pytest.approx(0.017 * 0.5 * DEPTH, abs=6)
    assert one.truing is not None and "ends of a stone differ" in one.truing and "10 µm" in one.truing
    assert one.shape is not None and one.shape.taper_um is not None and one.shape.taper_um > 20
    assert of(monitor, "A0").truing is None  # it has ended


def test_past_sets_keep_their_history(running):
    monitor, _ = running
    one = of(monitor, "A0")
    assert (one.state, one.removed_why, one.advice, one.remaining_bores) == ("ended", "worn", None, None)
    assert one.lot == "L0" and one.maker == "first"
    assert len(one.rounds) == 9 and len(one.stays) == 8
    assert one.why_not["remaining_bores"] == "it has ended: worn"


def test_a_guess_is_compared_with_the_lives_since(running):
    monitor, _ = running
    off = monitor.stones().kinds[0].guess_off
    assert off is not None and off.lives == 8 and off.inside >= 6
    assert 7000 < off.median < 11000


def test_one_set_is_answered_alone_and_an_unknown_one_refused(running):
    monitor, _ = running
    assert [s.stone_set for s in monitor.stones(stone_set="A9").sets] == ["A9"]
    with pytest.raises(NotFound, match="no stone set X9"):
        monitor.stones(stone_set="X9")


def test_the_document_has_the_fields_of_the_contract(running):
    from zoneinfo import ZoneInfo

    monitor, _ = running
    found = document(monitor.stones(), zone=ZoneInfo("Europe/Berlin"))["sets"][0]
    wanted = (
        "stone_set kind spindle fitted_at bores_since_fit bores_since_dress wear_um wear_um_per_1000_bores "
        "thickness_left_um parallelism_um remaining_bores good_bores limited_by due_at advice why"
    )
    assert set(wanted.split()) <= set(found)
    assert set(found["remaining_bores"]) == {"p05", "p50", "p95"}


def test_every_answer_on_stones_carries_the_cautions(running):
    words = " ".join(running[0].stones().cautions)
    for caution in ("lock out", "Chipped stone", "eye protection", "qualified people", "dust"):
        assert caution in words


def test_a_lot_that_wears_twice_as_fast_is_seen_and_the_others_are_not(tmp_path):
    monitor, _ = cell(tmp_path / "cell", seed=2, past=16, slow_lot=2.0)
    lots = {one.lot: one for one in monitor.stones().lots}
    assert lots["L1"].differs and "wears" in lots["L1"].sentence
    assert lots["L1"].wear_ratio is not None and lots["L1"].wear_ratio.low > 1.3
    assert [name for name, one in lots.items() if one.differs] == ["L1"]


def test_a_worn_out_set_is_to_be_replaced(tmp_path):
    monitor, _ = cell(tmp_path / "cell", seed=3, shares=(0.985, 0.4))
    one = of(monitor, "A8")
    assert one.advice == "replace" and "least thickness" in one.why
    assert "A8: replace" in monitor.stones().sentence


def test_a_chip_is_replaced_at_once(tmp_path):
    rng = np.random.default_rng(4)
    at = [BEGAN + np.timedelta64(h, "h") for h in (0, 10, 20, 30)]
    lines = measured_rows(rng, "A1", at, [0, 1200, 2400, 3600], rate=0.28)
    cut = [x for x in lines if ",3,bottom," in x][-1]
    thin = cut.split(",")
    thin[4] = f"{float(thin[4]) - 0.35:.3f}"
    lines[lines.index(cut)] = ",".join(thin)
    events = [f"{at[0]}Z,stones-fitted,S1,A1,0,", f"{at[3]}Z,stones-dressed,S1,A1,,"]
    one = of(small(tmp_path / "cell", events, lines), "A1")
    assert one.rounds[-1].jump == "chip"
    assert one.advice == "replace" and "chip" in one.why


def test_before_any_set_was_measured_the_guess_stands_and_the_answer_says_so(tmp_path):
    monitor = small(tmp_path / "cell", [f"{BEGAN}Z,stones-fitted,S1,A1,0,"])
    one = of(monitor, "A1")
    assert one.remaining_bores is not None
    assert one.remaining_bores.p05 == pytest.approx(6000, rel=0.05)
    assert one.remaining_bores.p95 == pytest.approx(12000, rel=0.05)
    assert one.rests_on == "a person's guess in the sheet"
    assert "guess" in monitor.stones().kinds[0].sentence


def test_without_a_guess_or_a_past_nothing_is_invented(tmp_path):
    sheet = STONE_SHEET.replace("expected_life_bores = [6000, 12000]\n", "")
    one = of(small(tmp_path / "cell", [f"{BEGAN}Z,stones-fitted,S1,A1,0,"], sheet=sheet), "A1")
    assert one.remaining_bores is None and one.due_at is None
    assert "expected_life_bores" in one.why_not["remaining_bores"]


def test_bores_are_counted_from_what_the_spindle_honed(tmp_path):
    # 110 blocks of two bores from 05:00 UTC on, ten minutes apart: each spindle hones one bore of each
    events = [
        "2026-03-02T03:00:00Z,stones-fitted,S1,A1,500,",
        "2026-03-02T08:19:00Z,stones-dressed,S1,A1,,",
        "2026-03-02T10:00:00Z,stones-removed,S1,A1,,other",
        "2026-03-02T10:01:00Z,stones-fitted,S1,A2,,",
    ]
    monitor = small(tmp_path / "cell", events, blocks=110)
    assert of(monitor, "A1").bores_since_fit == 500 + 31
    assert of(monitor, "A2").bores_since_fit == 110 - 31
    assert of(monitor, "A2").bores_since_dress == 110 - 31
    assert of(monitor, "A1").state == "off"


def test_bores_since_a_dressing_that_was_logged_late_are_added(tmp_path):
    events = [
        "2026-03-02T03:00:00Z,stones-fitted,S1,A1,0,",
        "2026-03-02T09:59:00Z,stones-dressed,S1,A1,7,",
    ]
    assert of(small(tmp_path / "cell", events, blocks=110), "A1").bores_since_dress == 7 + 110 - 30


def test_larger_bores_count_more_where_parts_differ():
    import tomllib

    from cellmon.monitor.stones.honed import weights
    from cellmon.sheet_checks import checked_sheet

    text = STONE_SHEET.replace("{url}", "sqlite:///x.db").replace("[part]", "[[parts]]", 1)
    text = text.replace("[features.diameter]", "[parts.features.diameter]").replace(
        "[features.taper]", "[parts.features.taper]"
    )
    other = """
[[parts]]
number = "P-2"
bores = ["1", "2"]
length_mm = 150.0
stock_um = 60.0
[parts.features.diameter]
nominal = 60.0
lower = 59.99
upper = 60.01
[measuring]"""
    text = text.replace("[measuring]", other, 1).replace(
        "length_mm = 100.0", "length_mm = 100.0\nstock_um = 30.0"
    )
    found = weights(checked_sheet(tomllib.loads(text)))
    assert found == pytest.approx({"P-1": 1.0, "P-2": 1.5 * 1.2 * 2.0})


def said(monitor: Monitor, name: str) -> str:
    one = of(monitor, name)
    assert one.bores_since_fit >= 0
    return "; ".join((*one.asked, *one.assumed))


def test_a_set_never_removed_is_taken_off_when_the_next_comes(tmp_path):
    events = [f"{BEGAN}Z,stones-fitted,S1,A1,0,", "2026-02-05T05:00:00Z,stones-fitted,S1,A2,0,"]
    monitor = small(tmp_path / "cell", events)
    assert "never logged as removed from S1" in said(monitor, "A1")
    assert of(monitor, "A1").state == "off" and of(monitor, "A2").state == "fitted"


def test_a_set_fitted_twice_counts_once(tmp_path):
    events = [f"{BEGAN}Z,stones-fitted,S1,A1,0,", "2026-01-06T05:00:00Z,stones-fitted,S1,A1,,"]
    monitor = small(tmp_path / "cell", events)
    assert "again" in said(monitor, "A1") and "first time counts" in said(monitor, "A1")
    assert len(of(monitor, "A1").stays) == 1


def test_a_set_on_two_spindles_is_on_the_later_one(tmp_path):
    events = [f"{BEGAN}Z,stones-fitted,S1,A1,0,", "2026-01-06T05:00:00Z,stones-fitted,S2,A1,,"]
    monitor = small(tmp_path / "cell", events)
    assert "while on S1" in said(monitor, "A1")
    assert of(monitor, "A1").spindle == "S2"


def test_a_set_removed_that_was_never_fitted_is_said(tmp_path):
    monitor = small(tmp_path / "cell", [f"{BEGAN}Z,stones-removed,S1,A7,,worn"])
    assert "never logged as fitted" in said(monitor, "A7")


def test_events_may_come_in_any_order(tmp_path):
    events = [
        f"{BEGAN}Z,stones-fitted,S1,A1,0,",
        "2026-01-20T05:00:00Z,stones-removed,S1,A1,5000,worn",
        "2026-01-20T05:00:00Z,stones-fitted,S1,A2,0,",
    ]
    monitor = small(tmp_path / "cell", events[::-1])
    assert (of(monitor, "A1").state, of(monitor, "A1").bores_since_fit) == ("ended", 5000)
    assert of(monitor, "A2").state == "fitted"


def test_thickness_that_grows_is_asked_about_and_no_wear(tmp_path):
    rng = np.random.default_rng(5)
    at = [BEGAN + np.timedelta64(h, "h") for h in (0, 10, 20, 30, 40)]
    lines = measured_rows(rng, "A1", at, np.zeros(5), rate=0.0, path=[0, 250, 500, 400, 650])
    monitor = small(tmp_path / "cell", [f"{BEGAN}Z,stones-fitted,S1,A1,0,"], lines)
    assert "thicker than before" in said(monitor, "A1")
    assert of(monitor, "A1").rounds[3].jump == "grew"


def test_a_swapped_stone_is_asked_about(tmp_path):
    rng = np.random.default_rng(6)
    at = [BEGAN + np.timedelta64(h, "h") for h in (0, 10, 20, 30, 40, 50)]
    worn = [0, 250, 500, 750, 1000, 1250]
    lines = measured_rows(rng, "A1", at, np.zeros(6), rate=0.0, path=worn, sd=1.0)
    high = [float(x.split(",")[4]) for x in lines]
    for i, line in enumerate(lines):  # stones 1 and 2 differ by 60 um and change place at the last round
        cells = line.split(",")
        stone = int(cells[2])
        last = i >= 5 * 12
        cells[4] = f"{high[i] + (0.060 if stone == (2 if last else 1) else 0.0):.3f}"
        lines[i] = ",".join(cells)
    monitor = small(tmp_path / "cell", [f"{BEGAN}Z,stones-fitted,S1,A1,0,"], lines)
    assert "stone 1 reads as stone 2 did" in said(monitor, "A1")


def test_a_stone_in_another_holder_is_asked_about(tmp_path):
    rng = np.random.default_rng(7)
    lines = measured_rows(rng, "A1", [BEGAN, BEGAN + np.timedelta64(10, "h")], [0, 0], rate=0, path=[0, 250])
    lines = [x.replace(",b,1", ",d,1") if ",2," in x else x for x in lines]
    monitor = small(tmp_path / "cell", [f"{BEGAN}Z,stones-fitted,S1,A1,0,"], lines)
    assert "stone 2 was in holder b and is now in holder d" in said(monitor, "A1")


def test_a_fifth_stone_of_a_set_of_four_is_left_out_and_said(tmp_path):
    rng = np.random.default_rng(8)
    lines = measured_rows(rng, "A1", [BEGAN, BEGAN + np.timedelta64(10, "h")], [0, 0], rate=0, path=[0, 250])
    lines.append(f"{BEGAN}Z,A1,5,top,1.000,e,0")
    monitor = small(tmp_path / "cell", [f"{BEGAN}Z,stones-fitted,S1,A1,0,"], lines)
    assert "stone 5 is not known here" in said(monitor, "A1")
    assert len(of(monitor, "A1").stones) == 4


def test_a_measurement_of_an_unknown_set_teaches_nothing_and_is_said(tmp_path):
    rng = np.random.default_rng(9)
    lines = measured_rows(rng, "ZZ", [BEGAN], [0], rate=0.3)
    monitor = small(tmp_path / "cell", [f"{BEGAN}Z,stones-fitted,S1,A1,0,"], lines)
    assert any("ZZ was measured and is neither" in note for note in monitor.stones().notes)


def test_a_spindle_that_hones_without_a_set_is_said(tmp_path):
    monitor = small(tmp_path / "cell", ["2026-03-02T03:00:00Z,stones-fitted,S1,A1,0,"], blocks=30)
    assert any("S2 hones without a stone set" in note for note in monitor.stones().notes)


def test_a_cell_without_stones_says_so(tmp_path):
    answer = small(tmp_path / "cell", [], blocks=3).stones()
    assert answer.sets == () and answer.sentence == "No stone set is logged as fitted."


WIDE = "part,bore,spindle,measured_at,top_x,top_y,bottom_x,bottom_y,feed_um,cycle_s,load_pct"


def honed_rows(blocks, *, minutes=4, feed=None, cycle=None, load=None, taper=None, scatter=None):
    """Rows of blocks of two bores, one a spindle; the figures of S1 by the number of its bore."""
    rng, lines = np.random.default_rng(3), []
    start = np.datetime64("2026-03-02T05:00:00")
    for k in range(blocks):
        at = start + np.timedelta64(minutes, "m") * k
        for bore in "12":
            level = (1.5 if scatter is None or bore == "2" else scatter(k)) * rng.standard_normal()
            lean = (0.0 if taper is None or bore == "2" else taper(k)) / 2
            sizes = [level + sign * lean + 0.4 * rng.standard_normal() for sign in (1, 1, -1, -1)]
            figures = [f(k) if f is not None else "" for f in (feed, cycle, load)]
            cells = [f"{50 + um / 1000:.4f}" for um in sizes] + [
                f"{x:.2f}" if x != "" else "" for x in figures
            ]
            lines.append(f"B{k:05d},{bore},S{bore},{at}Z," + ",".join(cells))
    return lines


def honed_cell(folder, events, measured=(), *, sheet=STONE_SHEET, **figures):
    monitor = new_cell(folder, sheet=sheet)
    monitor.take([write(folder, "rows.csv", WIDE, honed_rows(**figures))])
    monitor.take([write(folder, "events.csv", EVENTS, events)])
    if measured:
        monitor.take([write(folder, "measured.csv", MEASURED, list(measured))])
    return monitor


FITTED = ["2026-03-02T04:50:00Z,stones-fitted,S1,A1,0,", "2026-03-02T04:50:00Z,stones-fitted,S2,A2,0,"]


def test_the_expanders_position_tells_wear_between_measurements(tmp_path):
    rate, ratio, start = 0.9, 1.5, np.datetime64("2026-03-02T05:00:00")
    at = [start + np.timedelta64(4 * k, "m") for k in (0, 100, 200)]
    lines = measured_rows(np.random.default_rng(1), "A1", at, [0, 100, 200], rate=rate)
    # after the last measurement the set wears twice as fast: only the position can tell
    worn = lambda k: rate * (k + max(0, k - 200))  # noqa: E731
    found = of(
        honed_cell(tmp_path / "cell", FITTED, lines, blocks=330, feed=lambda k: 700 + ratio * worn(k)), "A1"
    )
    assert found.thickness_left_um == pytest.approx(DEPTH - 1.012 * worn(320), abs=0.02 * DEPTH)


def test_glazed_stones_are_dressed_under_force_by_time_and_under_feed_by_load(tmp_path):
    dressed = [*FITTED, "2026-03-02T12:00:00Z,stones-dressed,S1,A1,,"]
    rises = lambda k: 40.0 + (12.0 if k > 250 else 0.0) + k % 3  # noqa: E731
    by_time = of(
        honed_cell(tmp_path / "force", dressed, blocks=330, cycle=rises, load=lambda k: 60.0 + k % 2), "A1"
    )
    assert by_time.face is not None and by_time.face.face == "glazed"
    assert by_time.advice == "dress" and "honing time" in by_time.why
    feeds = STONE_SHEET.replace('id = "S1"\n', 'id = "S1"\nfeed = "feed"\n')
    of_feed = honed_cell(
        tmp_path / "feed", dressed, sheet=feeds, blocks=330, cycle=lambda k: 40.0 + k % 2, load=rises
    )
    by_load = of(of_feed, "A1")
    assert by_load.face is not None and by_load.face.face == "glazed" and "load up" in by_load.why
    assert by_load.advice == "dress"


def test_form_that_drifts_to_its_limit_comes_before_thickness(tmp_path):
    drifts = honed_cell(tmp_path / "cell", FITTED, blocks=330, taper=lambda k: 0.015 * k)
    one = of(drifts, "A1")
    assert one.good_bores is not None and one.remaining_bores is not None
    assert one.good_bores.feature == "taper"
    assert one.good_bores.p50 < one.remaining_bores.p50 and one.limited_by == "quality"
    assert of(drifts, "A2").good_bores is None and "good_bores" in of(drifts, "A2").why_not


PRICED = STONE_SHEET.replace(
    "[planning]",
    """set_cost = 420.0
change_minutes = 25
dress_minutes = 2
most_cycle_s = 46.0
[planning]
machine_cost_per_hour = 95.0
scrap_cost_per_bore = 60.0""",
)
DRESSED = [
    *FITTED,
    *(
        f"{np.datetime64('2026-03-02T05:00') + np.timedelta64(4 * k - 2, 'm')}Z,stones-dressed,S1,A1,,"
        for k in range(60, 900, 60)
    ),
]


# derived: freshly dressed stones take 40 s at first and 0.005 s more with each bore; every dressing takes
# away what it grew beside that, so that 46 s are reached at 1,200 bores, 300 after the last one
def test_a_honing_time_that_no_dressing_restores_ends_a_set(tmp_path):
    cycle = lambda k: 40.0 + 0.005 * k + 0.05 * (k % 60) + 0.3 * np.sin(7.0 * k)  # noqa: E731
    monitor = honed_cell(tmp_path / "cell", DRESSED, sheet=PRICED, blocks=900, cycle=cycle)
    good = of(monitor, "A1").good_bores
    assert good is not None and (good.feature, good.bore) == ("cycle_s", None)
    assert good.p05 < 300 < good.p95 and good.p50 == pytest.approx(300, abs=30)
    assert of(monitor, "A1").limited_by == "quality"


def test_what_a_dressing_restores_ends_no_set(tmp_path):
    cycle = lambda k: 40.0 + 0.05 * (k % 60) + 0.3 * np.sin(7.0 * k)  # noqa: E731
    monitor = honed_cell(tmp_path / "cell", DRESSED, sheet=PRICED, blocks=900, cycle=cycle)
    assert of(monitor, "A1").good_bores is None


# derived: tolerance 20 um over 6 x 1.33 is a spread of 2.51 um
def test_sizes_that_scatter_more_and_more_end_a_set(tmp_path):
    monitor = honed_cell(tmp_path / "cell", DRESSED, blocks=900, scatter=lambda k: 1.0 + 0.0014 * k)
    good = of(monitor, "A1").good_bores
    assert good is not None and (good.feature, good.bore) == ("size_spread", "1")
    assert good.p05 < (2.51 - 1.0) / 0.0014 - 900 + 250 and good.p50 < 600
    assert of(monitor, "A2").good_bores is None


# derived: waiting costs the chance times (failed 1,099 less planned 460); its bores are worth 0.057 each
def test_advice_weighs_at_the_prices_of_the_sheet_as_the_plan_does(tmp_path):
    monitor, _ = cell(tmp_path / "cell", seed=3, shares=(0.985, 0.4), sheet=PRICED)
    answer = monitor.stones()
    one = next(s for s in answer.sets if s.stone_set == "A8")
    assert (
        one.advice == "replace"
        and one.why.startswith("Sure that it reaches")
        and "waiting would cost" in one.why
    )
    assert "would cost 640 on average" in one.why
    assert answer.plan is not None and answer.plan.changes[0].stone_set == "A8"
    dear = PRICED.replace("scrap_cost_per_bore = 60.0", "scrap_cost_per_bore = 0.0").replace(
        "change_minutes = 25", "change_minutes = 0"
    )
    kept, _ = cell(tmp_path / "free", seed=3, shares=(0.94, 0.4), sheet=dear)
    assert of(kept, "A8").advice == "run", "where running to the end costs nothing more, a set is run out"


def test_removal_is_stock_over_time_where_bores_were_measured_before(tmp_path):
    monitor = honed_cell(tmp_path / "cell", DRESSED, blocks=300, cycle=lambda k: 40.0 + 0.02 * (k % 60))
    rows_before = []
    for k in range(300):
        at = np.datetime64("2026-03-02T04:40:00") + np.timedelta64(4 * k, "m")
        # from bore 240 on, twice as much stock is taken in the same time
        um = -30.0 * (2 if k >= 240 else 1)
        rows_before.append(f"B{k:05d},1,S1,{at}Z," + ",".join([f"{50 + um / 1000:.4f}"] * 4) + ",before")
    head = "part,bore,spindle,measured_at,top_x,top_y,bottom_x,bottom_y,stage"
    monitor.take([write(tmp_path / "cell", "before.csv", head, rows_before)])
    face = of(monitor, "A1").face
    assert face is not None and face.removal_pct is not None
    assert face.removal_pct.value > 50, "by the honing time alone it would have fallen"


# Whole cells, from files to the answer: 6 past sets, sets that run at 10, 30, 60 and 90 % of their lives,
# sets differing by 20 %. 90 % is promised; a coverage of 80 ranges has a standard error of 3.4 %.
@pytest.mark.slow
def test_ranges_of_whole_cells_hold_nine_of_ten_lives(tmp_path):
    held: dict[float, list[bool]] = {}
    for seed in range(40):
        shares = ((0.1, 0.3), (0.6, 0.9))[seed % 2]
        monitor, left = cell(tmp_path / f"c{seed}", seed=1000 + seed, past=6, shares=shares, spread=0.2)
        for (name, bores), share in zip(left.items(), shares, strict=True):
            told = of(monitor, name).remaining_bores
            assert told is not None
            held.setdefault(share, []).append(told.p05 <= bores <= told.p95)
        monitor.close()
    every = [one for mine in held.values() for one in mine]
    print({share: np.mean(mine) for share, mine in sorted(held.items())}, np.mean(every))
    assert np.mean(every) == pytest.approx(0.9, abs=0.02 + 0.067)
