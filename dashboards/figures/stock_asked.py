"""What the stock asks for in a calendar: when to order, when orders are due, when a kind runs out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from cellmon import local
from cellmon.monitor.stone_picture import StonePicture
from cellmon.monitor.stone_plan import StonePlan
from cellmon.words import say, say_many
from dashboards import theme
from dashboards.figures.calendar_slim import STOCK
from dashboards.figures.weeks import HEAD_PX, STOCK_PX, Week


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What the stock asks for, or brings, at a moment."""

    at: datetime
    text: str
    urgent: bool


def asked(picture: StonePicture, plan: StonePlan) -> list[Asked]:
    """Return when to order, when orders are due, and when a kind runs out; by date."""
    found = []
    for line in plan.order_list:
        text = say_many("order {count} set {kind}", "order {count} sets {kind}", line.sets, kind=line.kind)
        found.append(Asked(at=max(line.order_by, picture.as_of), text=text, urgent=line.late))
    for kind in plan.kinds:
        for order in () if kind.stock is None else kind.stock.orders:
            text = say("{sets} {kind} due", sets=local.number(order.sets), kind=kind.kind)
            found.append(Asked(at=max(order.due, picture.as_of), text=text, urgent=order.overdue))
        short = kind.first_shortage_at
        if short is not None and short.p50 is not None:
            found.append(Asked(at=short.p50, text=say("{kind} runs out", kind=kind.kind), urgent=True))
    return sorted(found, key=lambda one: one.at)


def stock_marks(picture: StonePicture, plan: StonePlan, weeks: Sequence[Week]) -> list[theme.Trace]:
    """Draw over the dates what the stock asks for; what is urgent filled, in the attention colour."""
    drawn = []
    for one in asked(picture, plan):
        week = next((w for w in weeks if w.holds(one.at)), None)
        if week is None:
            continue
        colour = theme.ATTENTION if one.urgent else theme.INK
        symbol = "diamond" if one.urgent else "diamond-open"
        mark = {"symbol": symbol, "size": 10, "color": colour, "line": {"width": 1.6, "color": colour}}
        drawn.append(
            theme.points(
                [week.x(one.at)],
                [week.top + HEAD_PX + STOCK_PX / 2],
                mode="markers",
                marker=mark,
                text=[f"{one.text}: {local.moment(one.at)}"],
                hoverinfo="text",
                name="stock",
            )
        )
    return drawn


def stock_words(picture: StonePicture, plan: StonePlan, weeks: Sequence[Week]) -> list[Any]:
    """Return the words beside those marks; what is urgent in bold."""
    words = []
    for one in asked(picture, plan):
        week = next((w for w in weeks if w.holds(one.at)), None)
        if week is not None:
            text = f"<b>{one.text}</b>" if one.urgent else one.text
            x, y = week.x(one.at), week.top + HEAD_PX + STOCK_PX / 2
            words.append(beside(text, x, y, name=STOCK, left=x > 5, colour=theme.INK))
    return words


def beside(text: str, x: float, y: float, *, name: str, left: bool, colour: str) -> Any:
    """Return words beside a mark; `name` says of what (`calendar_slim`)."""
    return theme.word(
        text,
        x,
        y,
        name=name,
        xanchor="right" if left else "left",
        xshift=-10 if left else 10,
        bgcolor=theme.VEIL,
        borderpad=0,
        font={"size": 12, "color": colour},
    )
