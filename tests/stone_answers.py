"""A hand-built answer about stones, for tests that need no store: two sets run, two are of the past."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from cellmon.monitor.answers import Estimate
from cellmon.monitor.stone_picture import ShiftAhead, StoneBody, StonePicture
from cellmon.monitor.stone_plan import KindPlan, OrderLine, PlannedChange, PlanRequest, StonePlan
from cellmon.monitor.stone_plan.results import (
    ChangeChoices,
    CostSplit,
    Dates,
    Needed,
    Stock,
    StockLot,
    StockOrder,
)
from cellmon.monitor.stones import CAUTIONS, StonesAnswer
from cellmon.monitor.stones.laid_out import StoneNow
from cellmon.monitor.stones.lines import Dressed, Fan, LinePoint, SetLine
from cellmon.monitor.stones.lots import LotCompared
from cellmon.monitor.stones.ranges import BoresRange
from cellmon.monitor.stones.set_shape import Shape
from cellmon.monitor.stones.sets import StoneSetOf

ZONE = ZoneInfo("Europe/Berlin")
NOW = datetime(2026, 10, 22, 10, 0, tzinfo=ZONE)
DAY = timedelta(days=1)
HEAD: dict[str, Any] = {"as_of": NOW, "sheet": 1}
CLOSED = date(2026, 10, 26)


def stone_set(name: str, spindle: str, **more: Any) -> StoneSetOf:
    """Return a set that runs, sharp and even, unless said otherwise."""
    of: dict[str, Any] = {
        "stone_set": name,
        "kind": "D64",
        "stage": "finish",
        "maker": "first supplier",
        "lot": "L-1",
        "state": "fitted",
        "spindle": spindle,
        "fitted_at": NOW - 4 * DAY,
        "removed_at": None,
        "removed_why": None,
        "bores_since_fit": 4000,
        "dressed": 2,
        "bores_since_dress": 300,
        "wear_um": 900.0,
        "wear_um_per_1000_bores": Estimate(value=250.0, low=240.0, high=260.0, confidence=0.9),
        "thickness_left_um": 1400.0,
        "parallelism_um": 28.0,
        "shape": Shape(flat_um=None, matched_um=17.0, taper_um=-54.0, barrel_um=6.8),
        "truing": None,
        "remaining_bores": BoresRange(p05=5000, p50=5600, p95=6300),
        "good_bores": None,
        "limited_by": "thickness",
        "due_at": None,
        "rests_on": "5 other sets of its kind",
        "face": None,
        "advice": "run",
        "why": "19 of 20 such sets have 5,000 bores left or more.",
        "stays": (),
        "rounds": (),
        "stones": tuple(
            StoneNow(
                stone=str(i),
                holder="abcd"[i - 1],
                way_up="mark" if i == 1 else None,
                places_um={"top": 2000.0 - i, "middle": 2010.0, "bottom": 2028.0 - i},
            )
            for i in range(1, 5)
        ),
        "asked": (),
        "assumed": (),
    }
    return StoneSetOf(**(of | more))


def fan(begins: float, left: float) -> Fan:
    """Return a fan that falls from where a set is by now."""
    share = np.array([0.0, 0.3, 0.7, 1.0])
    return Fan(
        left_um=left * (1 - share),
        p05=begins + 5000 * share,
        p50=begins + 5600 * share,
        p95=begins + 6300 * share,
        p50_at=(NOW, NOW + 2 * DAY, NOW + 4 * DAY, None),
    )


NEVER_DRESSED = Dressed(at=(), bores=np.zeros(0), left_um=np.zeros(0))


def line(name: str, spindle: str, **more: Any) -> SetLine:
    """Return the line of a set that runs: three rounds, two dressings, 400 bores since."""
    bores = np.array([0.0, 1800.0, 3600.0, 4000.0])
    left = np.array([2400.0, 1950.0, 1500.0, 1400.0])
    rounds = tuple(
        LinePoint(
            at=NOW - (4 - i) * DAY,
            bores=float(bores[i]),
            left_um=float(left[i]),
            half_um=3.3,
            worn_um=450.0,
            jump=None,
        )
        for i in range(3)
    )
    of: dict[str, Any] = {
        "stone_set": name,
        "kind": "D64",
        "spindle": spindle,
        "state": "fitted",
        "lot": "L-1",
        "bores": bores,
        "left_um": left,
        "rounds": rounds,
        "dressed": Dressed(
            at=(NOW - DAY, NOW - DAY), bores=np.array([1800.0, 3700.0]), left_um=np.array([1950.0, 1475.0])
        ),
        "now_bores": 4000.0,
        "now_left_um": 1400.0,
        "fan": fan(4000.0, 1400.0),
        "least_um": 600.0,
    }
    return SetLine(**(of | more))


def past(name: str, jump: str | None) -> SetLine:
    """Return the line of a set of the past; at its last round it may have chipped."""
    one = line(name, "S1", state="ended", now_bores=None, now_left_um=None, fan=None)
    return replace(one, rounds=(*one.rounds[:-1], replace(one.rounds[-1], jump=jump)))


def change(spindle: str, number: int, days: float, **more: Any) -> PlannedChange:
    """Return a change so many days from now, known to half of that on either side."""
    at = NOW + days * DAY
    of: dict[str, Any] = {
        "spindle": spindle,
        "stage": "finish",
        "kind": "D64",
        "number": number,
        "after_set": "FS-1",
        "stone_set": f"FS-{spindle[-1]}" if number == 1 else None,
        "at": at,
        "earliest": at - days / 6 * DAY,
        "latest": at + days / 6 * DAY,
        "bores": 1000.0 * days,
        "with_spindle": None,
        "early_bores": 0.0,
    }
    return PlannedChange(**(of | more))


def plan(**more: Any) -> StonePlan:
    """Return a plan with an order to place today, two spindles in one stop, and a stock that runs out."""
    stock = Stock(
        usable=3.0,
        ordered=6.0,
        past_use=1.0,
        lots=(StockLot(lot="L-2", sets=3.0, use_by=None),),
        orders=(StockOrder(order="PO-1", sets=6.0, due=NOW + 9 * DAY, overdue=False),),
    )
    kind = KindPlan(
        kind="D64",
        life_bores={"p05": 7000.0, "p50": 9000.0, "p95": 11000.0},
        changed_at_bores=8000.0,
        chips_per_1000_bores=0.01,
        change_minutes=25.0,
        stock=stock,
        sets_needed=Needed(p05=4, p50=5, p95=6, at_service_level=6),
        first_shortage_at=Dates(p05=NOW + 6 * DAY, p50=NOW + 7 * DAY, p95=NOW + 8 * DAY),
        shortage_chance=1.0,
        order_by=NOW - DAY,
        order_sets=7,
        chance_if_ordered_now=0.02,
        cost=CostSplit(stones=0.05, downtime=0.01, scrap=0.01, total=0.07),
        notes=(),
        why_not={},
        choices=ChangeChoices(
            looked_ahead=0.06, age_bores=6100.0, at_that_age=0.08, ended_first=0.05, run_to_the_end=0.2
        ),
    )
    of: dict[str, Any] = {
        **HEAD,
        "sentence": "",
        "caution": "A plan is a forecast.",
        "horizon_days": 12.0,
        "until": NOW + 12 * DAY,
        "service_level": 0.98,
        "lead_time_days": 15.0,
        "lead_time_sd_days": 3.0,
        "changes": (
            change("S1", 1, 1.0),
            change("S2", 1, 1.0, with_spindle="S1", early_bores=120.0),
            change("S1", 2, 6.0),
            change("S2", 2, 11.0, latest=None),
        ),
        "order_by": NOW - DAY,
        "first_shortage_at": NOW + 7 * DAY,
        "sets_needed": 5,
        "cost": kind.cost,
        "order_list": (OrderLine(kind="D64", sets=7, order_by=NOW - DAY, late=True, cost=2940.0),),
        "kinds": (kind,),
        "dressing": (),
        "asked": PlanRequest(),
    }
    return StonePlan(**(of | more))


def lot(name: str, *, differs: bool) -> LotCompared:
    """Return a lot, of which one side of its ratio of lives is known."""
    return LotCompared(
        kind="D64",
        maker="first supplier",
        lot=name,
        sets=4,
        running=1,
        worn=2,
        chipped=1,
        median_bores=9000.0,
        life_ratio=Estimate(value=None, low=0.67, high=None, confidence=0.95),
        wear_ratio=Estimate(value=1.4, low=1.1, high=1.8, confidence=0.95),
        chance=0.01 if differs else 0.5,
        differs=differs,
        sentence=f"Lot {name} wears 1.40 (1.10 to 1.80) times as fast as the others.",
    )


def shifts(days: int = 12) -> tuple[ShiftAhead, ...]:
    """Return two shifts a day; Sundays are not worked, one Monday is closed."""
    found = []
    for k in range(days):
        day = NOW.date() + k * DAY
        six = datetime.combine(day, datetime.min.time(), tzinfo=ZONE) + timedelta(hours=6)
        for name, start in (("early", six), ("late", six + timedelta(hours=12))):
            found.append(
                ShiftAhead(
                    name=name,
                    date=day,
                    starts=start,
                    ends=start + timedelta(hours=12),
                    worked=day.weekday() < 6 and day != CLOSED,
                    closed=day == CLOSED,
                )
            )
    return tuple(found)


def stones_answer(**more: Any) -> StonesAnswer:
    """Return the answer about four sets with their plan."""
    of: dict[str, Any] = {
        **HEAD,
        "sentence": "S1, FS-1: run. S2, FS-2: dress.",
        "sets": (
            stone_set("FS-1", "S1"),
            stone_set(
                "FS-2",
                "S2",
                advice="dress",
                why="It seems glazed: honing time up 14 %.",
                truing="true the set: 28 um",
            ),
            stone_set(
                "FS-3", "S1", state="ended", advice=None, removed_why="chipped", removed_at=NOW - 4 * DAY
            ),
            stone_set("FS-0", "S1", state="ended", advice=None, removed_why="worn", stones=(), shape=None),
        ),
        "kinds": (),
        "lots": (lot("L-1", differs=True), lot("L-2", differs=False)),
        "notes": (),
        "cautions": CAUTIONS,
        "plan": plan(),
    }
    return StonesAnswer(**(of | more))


def picture_answer(**more: Any) -> StonePicture:
    """Return all that the page of stones draws."""
    of: dict[str, Any] = {
        **HEAD,
        "stones": stones_answer(),
        "lines": (
            past("FS-0", None),
            past("FS-3", "chip"),
            line("FS-1", "S1"),
            line("FS-2", "S2"),
        ),
        "bodies": (
            StoneBody(
                kind="D64", length_mm=70.0, least_um=600.0, parallel_um=10.0, matched_um=10.0, flat_um=5.0
            ),
        ),
        "shifts": shifts(),
        "spindles": ("S1", "S2"),
    }
    return StonePicture(**(of | more))
