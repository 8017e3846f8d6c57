"""The plan of stones, the whole way from sheet, log and stock to its sentence, and what if."""

from datetime import date, timedelta
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import numpy as np
import pytest

import cellmon
from cellmon.errors import WrongUsage
from cellmon.export.documents import document
from cellmon.intake.sheet_file import parse_sheet
from cellmon.monitor.stone_plan import PlanRequest, SpindleRate
from cellmon.monitor.stone_plan.ahead import clocks_of
from cellmon.monitor.stone_plan.known import sooner_of
from cellmon.monitor.stones.ranges import GoodBores
from cellmon.records import Kind
from cellmon.stones.life import Life
from tests.monitor.parts_cell import PARTS_SHEET
from tests.monitor.planned_cell import FITTED, PLANNING, STONES, planned_cell
from tests.small_cell import EVENTS, HEADER, rows, write

BERLIN = ZoneInfo("Europe/Berlin")


@pytest.fixture(scope="module")
def cell(tmp_path_factory):
    with_closed = planned_cell(tmp_path_factory.mktemp("planned"))
    yield with_closed
    with_closed.close()


def test_the_plan_answers_first_and_its_figures_agree(cell):
    plan = cell.stone_plan()
    assert plan.sentence.startswith("Nothing to order until ")
    # about 8,490 bores in the middle of the guess, 2,000 a day: a set in about 4 days less the margin
    first = plan.changes[0]
    assert (first.spindle, first.stone_set) == ("S2", "A2"), "it has 4,000 bores behind it"
    assert first.earliest <= first.at <= first.latest
    one = plan.kinds[0]
    assert one.stock.usable == 8 and one.life_bores["p05"] == pytest.approx(6000, rel=0.05)
    assert one.sets_needed.p05 <= one.sets_needed.p50 <= one.sets_needed.p95
    assert plan.sets_needed == one.sets_needed.p50
    # two spindles, 1,000 bores a day each: the sets needed are the bores over what a set hones, less the
    # share of the sets now fitted that is left
    honed = 2000 * plan.horizon_days / one.changed_at_bores
    assert honed - 2 <= plan.sets_needed <= honed + 2
    assert plan.order_by == one.order_by and plan.order_list[0].sets == one.order_sets
    assert plan.order_by + timedelta(days=15) < one.first_shortage_at.p50
    assert plan.cost.total == pytest.approx(plan.cost.stones + plan.cost.downtime + plan.cost.scrap)
    assert plan.cost.stones == pytest.approx(420 / one.changed_at_bores)
    assert "locked out" in plan.caution
    # a set and its change come to 420 and 25 minutes at the machine's rate; run to the end it costs more
    choices = one.choices
    assert choices.looked_ahead < choices.at_that_age < choices.run_to_the_end
    assert choices.looked_ahead * one.changed_at_bores == pytest.approx(420 + 25 / 60 * 95, rel=0.05)
    assert one.life_bores["p05"] < choices.age_bores < one.life_bores["p50"]
    assert 0 < choices.ended_first < 0.5


def test_the_same_facts_give_the_same_plan(cell):
    one, two = cell.stone_plan(), cell.stone_plan()
    assert one.changes == two.changes and one.order_by == two.order_by and one.kinds == two.kinds


def test_the_document_has_the_fields_agreed(cell):
    found = document(cell.stones(), zone=BERLIN)["plan"]
    assert {"changes", "order_by", "first_shortage_at", "sets_needed", "cost"} <= found.keys()
    assert {"spindle", "stone_set", "at", "bores"} <= found["changes"][0].keys()
    assert {"stones", "downtime", "scrap"} <= found["cost"].keys()
    assert found["changes"][0]["at"].endswith("+01:00")


def order_day(cell, **asked):
    found = cell.stone_plan(PlanRequest(**asked)).order_by
    return date.max if found is None else found.date()


def test_what_if_moves_the_order_the_way_it_must(cell):
    now = order_day(cell)
    assert order_day(cell, stock=10) > now > order_day(cell, stock=6)
    assert order_day(cell, service_level=0.80) > now > order_day(cell, service_level=0.999)
    assert order_day(cell, rate=300) > now > order_day(cell, rate=800)
    assert order_day(cell, life=12_000) > now > order_day(cell, life=5000)
    assert cell.stone_plan(PlanRequest(price=840)).cost.stones == pytest.approx(
        2 * cell.stone_plan().cost.stones
    )
    assert cell.stone_plan(PlanRequest(stock=0)).sentence.startswith("Order ")


def test_the_first_sentence_answers_in_every_case(cell):
    nothing = cell.stone_plan(PlanRequest(stock=60))
    assert nothing.sentence.startswith(
        f"Nothing to order within {nothing.horizon_days:g} days. The next change"
    )
    assert nothing.order_list == () and "nothing to order" in nothing.why_not["order_by"]
    bare = cell.stone_plan(PlanRequest(stock=0)).sentence
    assert "now, and ask for them sooner than usual: with the usual 15 days the chance" in bare
    assert "98 % is wanted" in bare and "D64 runs out about" in bare
    until = cell.stone_plan()
    order = until.order_list[0]
    day = f"{order.order_by:%A} {order.order_by.day} {order.order_by:%b}"
    assert until.sentence.startswith(f"Nothing to order until {day}; then {order.sets} D64.")


def test_a_longer_horizon_adds_changes_and_moves_none(cell):
    short, long = (cell.stone_plan(PlanRequest(horizon_days=days)).changes for days in (20, 40))
    assert len(long) > len(short) > 0
    assert all(
        abs(a.at - b.at) < timedelta(hours=12) and a.spindle == b.spindle
        for a, b in zip(short[:2], long[:2], strict=True)
    )


def test_closed_days_put_changes_and_orders_off(tmp_path, cell):
    days = ", ".join(f"2026-03-{d:02d}" for d in range(4, 11))
    closed = planned_cell(tmp_path, planning=f"{PLANNING}closed = [{days}]\n")
    plan, before = closed.stone_plan(), cell.stone_plan()
    assert plan.changes[0].at - before.changes[0].at > timedelta(days=5)
    assert plan.order_by > before.order_by
    assert not any(date(2026, 3, 4) <= c.at.date() <= date(2026, 3, 9) for c in plan.changes)
    closed.close()


def test_stock_is_counted_from_movements_and_what_is_odd_is_said(tmp_path):
    stock = (
        "2026-03-01T08:00:00Z,D64,-10,,,,,",  # more than there were
        "2026-03-01T09:00:00Z,D64,4,L1,PO1,,,",
        "2026-03-01T09:30:00Z,D64,2,L0,,,,2026-03-01T10:00:00Z",  # past its shelf life
        "2026-03-01T12:00:00Z,D64,6,,PO2,2026-03-20T08:00:00Z,,",
        "2026-03-01T13:00:00Z,D64,5,,PO3,2026-03-01T14:00:00Z,,",  # overdue
        "2026-03-01T15:00:00Z,D64,3,L1,,,counted,",
    )
    cell = planned_cell(tmp_path, stock=stock)
    plan = cell.stone_plan()
    stock_now = plan.kinds[0].stock
    assert (stock_now.usable, stock_now.ordered, stock_now.past_use) == (3, 11, 2)
    assert [(o.order, o.overdue) for o in stock_now.orders] == [("PO3", True), ("PO2", False)]
    said = " ".join(plan.notes)
    assert "2 more sets were taken on 2026-03-01" in said
    assert "counted 3" in said and "2 on the shelf past their shelf life" in said
    cell.close()


def test_sets_fitted_and_never_taken_are_asked_about(tmp_path):
    stock = ("2026-02-27T08:00:00Z,D64,-1,,,,,",)
    cell = planned_cell(tmp_path, stock=stock)
    found = [note for note in cell.stone_plan().notes if "may be missing" in note]
    assert not found, "A2 is not new, so one was fitted and one taken"
    cell.take([write(tmp_path, "more.csv", EVENTS, ["2026-03-02T04:30:00Z,stones-fitted,S1,A3,0"])])
    (said,) = [note for note in cell.stone_plan().notes if "may be missing" in note]
    assert "2 new sets were fitted since 2026-02-27 and 1 taken" in said
    cell.close()


GROWS = 0.04
"""Seconds that honing takes longer with each bore since the stones were dressed, every 60."""


def dulling_cell(folder, *, pace, sheet=None):
    """A cell whose honing times grow; `pace` gives the seconds from a block to the next by bores since."""
    gaps = np.array([pace(n % 60, n) for n in range(300)])
    at = np.datetime64("2026-03-02T05:00", "ms") + np.cumsum(1000 * gaps).astype("timedelta64[ms]")
    dressed = tuple(f"{at[n]}Z,stones-dressed,{s},," for n in range(0, 300, 60) for s in ("S1", "S2"))
    cell = planned_cell(folder, events=(*FITTED, *dressed), **({} if sheet is None else {"sheet": sheet}))
    lines = []
    for n, line in enumerate(rows(300)):
        cells = line.split(",")
        cells[3] = f"{at[n // 8] + np.timedelta64(1, 's')}Z"
        lines.append(f"{','.join(cells)},{40 + GROWS * (n // 8 % 60):.3f}")
    cell.take([write(folder, "timed.csv", f"{HEADER},cycle_s", lines)])
    plan = cell.stone_plan(PlanRequest(horizon_days=10))
    cell.close()
    return next(d for d in plan.dressing if d.spindle == "S1")


# derived: growth 0.04 s a bore at 95 an hour against 2 min of it: sqrt(2 c / b) = 77.5 bores
def test_the_dressing_interval_is_that_of_the_time_the_line_waits(tmp_path):
    one = dulling_cell(tmp_path, pace=lambda since, n: 600 + GROWS * since)
    assert one.cycle_s_per_1000_bores.value == pytest.approx(1000 * GROWS, rel=0.01)
    assert one.bores == pytest.approx(77.5, rel=0.03)
    assert one.near_low < one.bores < one.near_high
    assert one.sentence.startswith("S1: dressing every 77 bores costs least") and one.assumed is None
    assert one.curve_cost.min() == pytest.approx(one.cost, rel=0.01)


def test_longer_honing_costs_nothing_where_the_line_keeps_its_pace(tmp_path):
    one = dulling_cell(tmp_path, pace=lambda since, n: 600)
    assert one.bores is None and one.pays_at is None and "nothing waits for the hone" in one.sentence
    assert "Keep the usual" in one.sentence


def test_where_the_pace_does_not_tell_the_usual_interval_is_kept(tmp_path):
    one = dulling_cell(tmp_path, pace=lambda since, n: 600 + 200 * np.sin(7.0 * n))
    assert "free_cycle_s" in one.assumed and one.pays_at is None
    assert "not known" in one.sentence and "Keep the usual" in one.sentence


def test_planned_bores_count_by_the_area_of_the_part_that_runs():
    sheet = parse_sheet(PARTS_SHEET.replace("{like}", "").replace("{url}", "sqlite:///cell.db")).sheet
    now = np.datetime64("2026-03-02T05:00", "us")
    view = SimpleNamespace(sheet=sheet, as_of=now, local=str, running=lambda s: sheet.part("B"))
    clocks = clocks_of(view, until=now + np.timedelta64(1, "D"), rate=None)
    assert clocks["S1"].bores[0] == pytest.approx(96 * 60 / 50), "B is wider than A, the first part"
    assert clocks_of(view, until=now + np.timedelta64(1, "D"), rate=10)["S2"].bores[0] == 12


def test_a_new_lead_time_on_the_sheet_holds_at_once(tmp_path):
    cell = planned_cell(tmp_path)
    before = cell.stone_plan()
    cell.close()
    sheet = tmp_path / "cell" / "cell.toml"
    sheet.write_text(sheet.read_text().replace("lead_time_days = 15", "lead_time_days = 18"))
    again = cellmon.open_cell(tmp_path / "cell")
    assert again.stone_plan().lead_time_days == 18
    assert again.stone_plan().order_by < before.order_by
    assert again.check().differs == ()
    again.close()


def test_what_is_missing_is_said_in_words(tmp_path):
    bare = planned_cell(tmp_path / "a", planning="")
    with pytest.raises(WrongUsage, match="plans no bores"):
        bare.stone_plan()
    assert bare.stones().plan is None and "plans no bores" in bare.stones().why_not["plan"]
    assert bare.stone_plan(PlanRequest(rate=500, stock=8)).changes, "a rate is enough for dates"
    bare.close()
    few = planned_cell(tmp_path / "b", planning="[planning]\nbores_per_shift = { S1 = 500 }\n")
    plan = few.stone_plan()
    assert plan.sentence.startswith("When to order is not known: no stock is known")
    assert plan.order_by is None and "no stock" in plan.why_not["order_by"]
    assert any("no bores are planned for S2" in note for note in plan.notes)
    assert any("no service_level" in note for note in plan.notes)
    stocked = few.stone_plan(PlanRequest(stock=1))
    assert "no lead time" in stocked.why_not["order_by"] and stocked.first_shortage_at is not None
    few.close()
    blind = planned_cell(tmp_path / "c", stones=STONES.replace("expected_life_bores", "# "))
    with pytest.raises(WrongUsage, match="how long a set lasts"):
        blind.stone_plan()
    blind.close()


def test_a_cell_that_never_works_is_refused(tmp_path):
    days = [date(2026, 3, 1) + timedelta(days=n) for n in range(120)]
    closed = f"closed = [{', '.join(map(str, days))}]\n"
    cell = planned_cell(tmp_path, planning=PLANNING + closed)
    with pytest.raises(WrongUsage, match="no shift is worked"):
        cell.stone_plan()
    cell.close()


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"stock": -1.0}, "stock cannot be below 0"),
        ({"price": -5.0}, "price cannot be below 0"),
        ({"rate": 0.0}, "rate must be more than 0"),
        ({"life": float("nan")}, "life must be more than 0"),
        ({"horizon_days": -3.0}, "horizon days must be more than 0"),
        ({"horizon_days": 1000.0}, "at most 366 days"),
        ({"life": 3.0}, "choose a shorter horizon"),
        ({"service_level": 1.0}, "service level is a chance"),
        ({"kind": "X9"}, "no stones called X9"),
        ({"lead_time_days": 0.0}, "lead time days must be more than 0"),
        ({"rates": (SpindleRate(spindle="S1", bores=-1.0),)}, "rate of S1 cannot be below 0"),
        ({"rates": (SpindleRate(spindle="S9", bores=5.0),)}, "no spindle S9; there are S1, S2"),
    ],
)
def test_requests_no_cell_could_have_are_refused(cell, asked, words):
    with pytest.raises(WrongUsage, match=words):
        cell.stone_plan(PlanRequest(**asked))


def test_a_rate_for_every_spindle_is_that_rate_and_one_for_a_single_spindle_is_its_own(cell):
    every = cell.stone_plan(PlanRequest(rate=650.0))
    single = [SpindleRate(spindle=spindle, bores=650.0) for spindle in ("S1", "S2")]
    assert cell.stone_plan(PlanRequest(rates=tuple(single))).kinds == every.kinds
    one = cell.stone_plan(PlanRequest(rate=650.0, rates=(SpindleRate(spindle="S2", bores=0.0),)))
    assert {c.spindle for c in one.changes} == {"S1"}
    assert one.sets_needed < every.sets_needed


def test_a_longer_lead_time_brings_the_order_forward_and_that_of_the_sheet_changes_nothing(cell):
    today = cell.stone_plan()
    kept = {"horizon_days": today.horizon_days}
    same = cell.stone_plan(PlanRequest(lead_time_days=15.0, **kept))
    assert (same.order_by, same.lead_time_sd_days) == (today.order_by, 3.0)
    orders = [cell.stone_plan(PlanRequest(lead_time_days=d, **kept)) for d in (5.0, 15.0, 25.0)]
    assert [o.order_by for o in orders] == sorted((o.order_by for o in orders), reverse=True)
    assert orders[0].order_by > orders[2].order_by
    assert [o.lead_time_sd_days for o in orders] == pytest.approx([1.0, 3.0, 5.0])
    apart = [abs(o.first_shortage_at - today.first_shortage_at) for o in orders]
    assert max(apart) < timedelta(days=1), "other ways are drawn for another horizon, of the same future"


def test_plans_of_one_state_stand_on_what_was_worked_out_once(tmp_path):
    cell = planned_cell(tmp_path)
    first = cell.stone_plan(PlanRequest(price=500.0))
    assert cell.stone_plan(PlanRequest(price=500.0)).kinds == first.kinds
    before = cell.stone_plan()
    cell.log(Kind.STOCK, {"at": "2026-03-02T06:00:00Z", "kind": "D64", "change": "2", "movement": "counted"})
    assert before.kinds[0].stock.usable == 8
    assert cell.stone_plan().kinds[0].stock.usable == 2, "a commit makes all of it anew"
    event = {"at": "2026-03-02T06:30:00Z", "event": "stones-fitted", "spindle": "S1", "stone_set": "A5"}
    cell.log(Kind.EVENTS, event)
    fitted = {c.stone_set for c in cell.stone_plan().changes if c.spindle == "S1"}
    assert "A5" in fitted
    assert "A1" not in fitted
    cell.close()


def test_kinds_of_two_stages_are_planned_side_by_side(tmp_path):
    kinds = STONES.replace("[stones]", "[[stone_kinds]]")
    rough = kinds.replace("D64", "D126").replace("set_cost = 420", 'stage = "rough"\nset_cost = 300')
    events = (
        "2026-03-02T04:00:00Z,stones-fitted,S1,A1,0,D64",
        "2026-03-02T04:00:00Z,stones-fitted,S1,R1,0,D126",
        "2026-03-02T04:00:00Z,stones-fitted,S2,A2,0,D64",
    )
    planning = PLANNING.replace("D64 = 8", "D64 = 8, D126 = 1")
    cell = planned_cell(tmp_path, stones=kinds + rough, planning=planning, events=())
    cell.take([write(tmp_path, "fitted.csv", f"{EVENTS},kind", events)])
    plan = cell.stone_plan()
    assert [k.kind for k in plan.kinds] == ["D126", "D64"]
    assert plan.order_list[0].kind == "D126", "one rough set is left"
    assert plan.sets_needed == sum(k.sets_needed.p50 for k in plan.kinds)
    assert plan.cost.total == pytest.approx(sum(k.cost.total for k in plan.kinds))
    with pytest.raises(WrongUsage, match="name it"):
        cell.stone_plan(PlanRequest(price=100))
    assert [k.kind for k in cell.stone_plan(PlanRequest(price=100, kind="D64")).kinds] == ["D64"]
    cell.close()


def test_a_spindle_without_a_set_is_taken_to_get_one_at_once(tmp_path):
    events = ("2026-03-02T04:00:00Z,stones-fitted,S1,A1,0",)
    cell = planned_cell(tmp_path, events=events)
    plan = cell.stone_plan()
    assert plan.changes[0].spindle == "S2" and plan.changes[0].stone_set is None
    assert any("S2: no set is logged as fitted" in note for note in plan.notes)
    cell.close()


def test_the_quality_limit_ends_a_set_where_it_comes_first():
    bores = np.linspace(0, 10_000, 1001)
    worn = Life(bores=bores, chance=np.clip((bores - 4000) / 4000, 0, 1))
    good = GoodBores(p05=1000, p50=2000, p95=3000, feature="taper", bore="1")
    both = sooner_of(worn, good)
    assert both.limited_by == "quality" and both.p50 == pytest.approx(2000, abs=20)
    late = sooner_of(worn, GoodBores(p05=30_000, p50=60_000, p95=None, feature="taper", bore="1"))
    assert late.limited_by == "thickness" and late.p50 == pytest.approx(6000, rel=0.03)
    assert (np.diff(both.chance) >= 0).all() and both.cdf(3000.0) >= 0.95
