"""Planned dressings: when the next is due, what one does, and the bores left while they are done."""

from __future__ import annotations

import tomllib
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from cellmon.errors import SheetRefused
from cellmon.export.documents import plain
from cellmon.monitor import Monitor
from cellmon.monitor.state import StreamState
from cellmon.sheet_checks import checked_sheet
from tests.monitor.judge.watched_cell import (
    BORE_SD,
    FOUR_BORES,
    WATCHED_HEADER,
    cell_of,
    logged,
    watched_rows,
)
from tests.small_cell import write

WEAR, EVERY, STEP = -0.05, 100, 3.5
"""Micrometres a bore; blocks from one dressing to the next; what one gives back, micrometres."""
PLANNED = FOUR_BORES.replace('id = "S1"\n', 'id = "S1"\ndress_every_bores = 240\n')


def worn(blocks: int, *, dressed: int = 99, sheet: str = FOUR_BORES, rate: float = WEAR) -> Monitor:
    """Return a cell that wears from 5 um on, and whose S1 is dressed every 100 blocks, that many times."""
    times = [EVERY * (i + 1) for i in range(dressed) if EVERY * (i + 1) < blocks]

    def level(block: int, bore: str) -> float:
        return 5.0 + rate * block + (STEP * sum(block >= t for t in times) if bore in "12" else 0.0)

    events = [logged(0, "stones-fitted", stone_set="A1"), *(logged(t, "stones-dressed") for t in times)]
    return cell_of(watched_rows(blocks, shift=level), events, sheet=sheet)


def stream(monitor: Monitor, bore: str = "1") -> StreamState:
    wanted = (bore, "diameter")
    return next(s for s in monitor.state().streams if (s.stream.bore, s.stream.feature) == wanted)


@pytest.fixture(scope="module")
def dressed() -> Monitor:
    """S1 dressed five times, last at block 500; looked at after block 530."""
    return worn(530)


def test_the_plan_is_the_median_of_the_last_intervals_where_the_sheet_has_none(dressed):
    found = stream(dressed).planned_dressing
    assert found is not None
    assert (found.from_, found.every_bores, found.in_bores) == ("log", 100, 70)


def test_what_a_dressing_gives_back_is_learned_from_those_past(dressed):
    found = stream(dressed).planned_dressing
    assert found.step_from == "log" and found.step_um.low < STEP < found.step_um.high
    assert found.step_um.value == pytest.approx(STEP, abs=1.0)


def test_dressings_that_give_back_make_a_limit_farther_and_are_said_beside(dressed):
    found = stream(dressed, "2")
    plain, planned = found.bores_to_limit, found.planned_dressing.bores_to_limit
    assert plain.side == planned.side == "lower"
    assert planned.p50 > plain.p50
    assert 0 <= found.planned_dressing.reached_before.value < 0.5


def test_a_drift_is_fitted_between_dressings_whose_steps_would_hide_it(dressed):
    with dressed._view() as view:
        one = next(s for s in view.streams if (s.bore, s.feature) == ("1", "diameter"))
        assert not view.baseline(one).learned["slope"]
        found = view.standing(one)
    # the last 200 bores hold dressings: one line through them all has less than half of the drift
    assert found.slope == pytest.approx(WEAR, abs=3 * found.covariance[1][1] ** 0.5)
    assert found.covariance[1][1] ** 0.5 < 0.2 * -WEAR


def test_bores_left_if_nothing_is_changed_are_those_of_the_drift_between_dressings(dressed):
    # independent: from the true level of the last block on, bores that fall by 0.05 and scatter by 1.2,
    # seed 5; the level that is found has an error of half a micrometre or so: 10 bores
    rng = np.random.default_rng(5)
    level = 5.0 + WEAR * 529 + STEP * 5
    sizes = level + WEAR * np.arange(1, 601) + BORE_SD * rng.normal(size=(4000, 600))
    first = np.median((sizes < -10.0).argmax(axis=1) + 1)
    for bore in "12":
        found = stream(dressed, bore).bores_to_limit
        assert found.side == "lower" and found.p05 <= first <= found.p95
        assert found.p50 == pytest.approx(first, rel=0.35)


def test_offsets_that_hid_a_drift_are_no_part_of_what_happens_if_nothing_is_changed():
    given = [(i, 1.0) for i in range(60, 300, 20)]  # 1 um every 20 blocks, all of what they wear

    def level(block: int, bore: str) -> float:
        return WEAR * block + sum(um for at, um in given if bore in "12" and block >= at)

    events = [logged(at, "feed-offset", value=str(um), by="machine") for at, um in given]
    found = stream(cell_of(watched_rows(300, shift=level), events)).drift_um_per_100_bores
    assert found.low < 100 * WEAR < found.high


def test_the_document_carries_the_plan(dressed):
    told = plain(stream(dressed), ZoneInfo("UTC"))["planned_dressing"]
    assert set(told) == {
        "in_bores",
        "every_bores",
        "from",
        "reached_before",
        "bores_to_limit",
        "step_um",
        "step_from",
        "why_not",
    }
    assert told["from"] == "log" and set(told["reached_before"]) == {"value"}
    assert set(told["bores_to_limit"]) == {"p05", "p50", "p95", "side"}


def test_the_sheet_s_plan_comes_before_the_log():
    monitor = worn(530, sheet=PLANNED)
    found = stream(monitor).planned_dressing
    # 240 bores of the spindle are 120 of each of its two positions, 30 of which are made
    assert (found.from_, found.every_bores, found.in_bores) == ("sheet", 120, 90)


def test_a_dressing_that_is_overdue_is_below_zero_and_leaves_no_chance_before_it():
    found = stream(worn(430, dressed=2, sheet=PLANNED)).planned_dressing
    assert found.in_bores == 120 - 230 and found.reached_before.value == 0.0


def test_too_few_dressings_tell_neither_the_plan_nor_what_one_does():
    few = stream(worn(230, dressed=2))
    assert few.planned_dressing is None
    assert "2 of the 3 intervals" in few.why_not["planned_dressing"]
    planned = stream(worn(230, dressed=2, sheet=PLANNED)).planned_dressing
    assert planned.bores_to_limit is None and planned.step_um is None
    assert "2 of the 3 dressings" in planned.why_not["bores_to_limit"]


@pytest.mark.parametrize("resets", [True, False])
def test_what_the_baseline_s_dressings_did_stands_in_where_few_are_logged_lately(resets):
    # twelve dressings in the baseline, one in the last 30 days, five weeks later; 60 blocks wear 3 um
    times = [*range(60, 780, 60), 12_660]

    def level(block: int, bore: str) -> float:
        made = block if block < 780 else block - 12_600 + 780
        done = sum(t <= block for t in times)
        since = made - 60 * min(done, 13)
        if bore not in "12":
            return 0.0
        return 2.0 + WEAR * since if resets else 6.0 + WEAR * made + 2.2 * done

    events = [logged(0, "stones-fitted", stone_set="A1"), *(logged(t, "stones-dressed") for t in times)]
    rows = watched_rows(780, shift=level), watched_rows(150, first=12_600, shift=level)
    monitor = cell_of(rows[0], events, sheet=PLANNED)
    monitor.freeze(by="A. Person", why="twelve dressings", spindle="S1", bore="1", feature="diameter")
    monitor.take([write(monitor.folder, "later.csv", WATCHED_HEADER, rows[1])])
    with monitor._view() as view:
        one = next(s for s in view.streams if (s.bore, s.feature) == ("1", "diameter"))
        learned, now = view.baseline(one).learned, view.standing(one)
    found = stream(monitor).planned_dressing
    assert found.step_from == "baseline" and not found.why_not and found.bores_to_limit is not None
    assert learned["resets"] is resets
    due = 2.0 - (now.level + now.slope * found.in_bores) if resets else 2.2
    assert found.step_um.low < due < found.step_um.high


def test_without_a_log_there_is_no_plan_and_why(dressed):
    other = stream(dressed, "3")
    assert other.planned_dressing is None
    assert "logged" in other.why_not["planned_dressing"]


def test_a_plan_judges_nothing_so_it_holds_without_being_adopted(dressed):
    text = (dressed.folder / "cell.toml").read_text()
    try:
        (dressed.folder / "cell.toml").write_text(
            text.replace('id = "S1"\n', 'id = "S1"\ndress_every_bores = 100\n')
        )
        again = Monitor.open(dressed.folder)
        assert again.check().differs == ()
        assert stream(again).planned_dressing.from_ == "sheet"
    finally:
        (dressed.folder / "cell.toml").write_text(text)


def test_a_plan_of_no_bores_is_a_mistake_on_the_sheet():
    given = tomllib.loads(PLANNED.replace("{url}", "sqlite:///cell.db"))
    assert checked_sheet(given).spindle("S1").dress_every_bores == 240
    given["spindles"][0]["dress_every_bores"] = 0
    with pytest.raises(SheetRefused, match="dress_every_bores"):
        checked_sheet(given)
