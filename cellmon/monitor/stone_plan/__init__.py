"""The plan of stones: what is needed when, what to order by when, what it costs, and what if."""

from cellmon.monitor.stone_plan.ahead import KindAhead, PlanRequest, SetAhead, SpindleRate
from cellmon.monitor.stone_plan.known import Known, stones_known
from cellmon.monitor.stone_plan.results import (
    ChangeChoices,
    CostSplit,
    KindPlan,
    OrderLine,
    PlannedChange,
    StonePlan,
)
from cellmon.monitor.stone_plan.whole import plan_of_view, stone_plan, with_plan

__all__ = [
    "ChangeChoices",
    "CostSplit",
    "KindAhead",
    "KindPlan",
    "Known",
    "OrderLine",
    "PlanRequest",
    "PlannedChange",
    "SetAhead",
    "SpindleRate",
    "StonePlan",
    "plan_of_view",
    "stone_plan",
    "stones_known",
    "with_plan",
]
