"""What if: the plan of stones with other rates, lives, prices, stock, lead time or service level."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite
from typing import TYPE_CHECKING, Any

from dash import ALL, MATCH, ClientsideFunction, Dash, Input, Output, State, ctx, dcc, html, no_update

from cellmon import local
from cellmon.errors import CellmonError, WrongUsage
from cellmon.monitor.stone_plan import KindPlan, PlanRequest, SpindleRate, StonePlan
from cellmon.words import say
from dashboards.pages import parts
from dashboards.pages.stone_what_if_words import answers_table

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

BOX, SENTENCE, NOTE, FIELDS, ANSWERS = (
    "stones-what-if-box",
    "stones-what-if-sentence",
    "stones-what-if-note",
    "stones-what-if-fields",
    "stones-what-if-answers",
)
KIND, KIND_BOX, BACK, BASE = (
    "stones-what-if-kind",
    "stones-what-if-kind-box",
    "stones-what-if-back",
    "stones-what-if-base",
)
FIGURE = "stones-what-if-figure"
"""Begins the names of the fields; the rest is the figure's name."""
SLIDER = "stones-what-if-slider"
RATE = "rate "
NOTHING: list[Any] = ["", "", []]


@dataclass(frozen=True, kw_only=True)
class Figure:
    """One figure of the plan that may be asked otherwise; `name` is of `PlanRequest`, or a spindle's rate."""

    name: str
    label: str
    value: float
    most: float
    step: float
    least: float = 0.0


def layout() -> html.Section:
    """Return the panel before its figures have come."""
    return html.Section(
        [
            html.H2(say("What if")),
            html.P(id=SENTENCE, className="told", role="status"),
            html.Div(
                parts.field(say("Kind of stones"), dcc.RadioItems(id=KIND, className="choice")),
                id=KIND_BOX,
                className="controls",
                style={"display": "none"},
            ),
            dcc.Store(id=BASE),
            html.Div(
                [
                    html.Div(
                        [
                            html.Div(id=FIELDS),
                            html.Button(say("Back to the plan"), id=BACK, className="step"),
                        ]
                    ),
                    html.Div([html.Div(id=ANSWERS, className="across"), html.P(id=NOTE, className="aside")]),
                ],
                className="what-if",
            ),
        ],
        id=BOX,
    )


def figures_of(monitor: Monitor, plan: StonePlan | None) -> tuple[Figure, ...]:
    """Return the figures that may be asked otherwise, each with its present value.

    Without a plan only rates may be given: they are what it lacks most often.
    """
    planning = monitor.sheet.planning
    planned = {} if planning is None else planning.bores_per_shift
    found = [
        Figure(
            name=f"{RATE}{spindle.id}",
            label=say("Bores per shift, {spindle}", spindle=spindle.id),
            value=float(planned.get(spindle.id) or 0.0),
            most=_reach(float(planned.get(spindle.id) or 0.0), 2.0, least=1000.0),
            step=1.0,
        )
        for spindle in monitor.sheet.spindles
    ]
    if plan is None or not plan.kinds:
        return tuple(found)
    return (*found, *_of_kind(monitor, plan.kinds[0]), *_of_orders(plan))


def _of_kind(monitor: Monitor, kind: KindPlan) -> list[Figure]:
    life = round(kind.life_bores["p50"])
    found = [
        Figure(
            name="life",
            label=say("Half of new sets last, bores"),
            value=float(life),
            least=max(round(life / 4, -2), 1.0),
            most=_reach(life, 2.5),
            step=1.0,
        )
    ]
    price = next((k.set_cost for k in monitor.sheet.stone_kinds if k.id == kind.kind), None)
    if price is not None:
        found.append(
            Figure(
                name="price",
                label=say("Price of a set, in the sheet's currency"),
                value=price,
                most=_reach(price, 3.0, least=10),
                step=1,
            )
        )
    if kind.stock is not None:
        there = kind.stock.usable
        most = max(3 * there, 2.0 * kind.sets_needed.p95, 12.0)
        found.append(Figure(name="stock", label=say("Sets on the shelf"), value=there, most=most, step=1))
    return found


def _of_orders(plan: StonePlan) -> list[Figure]:
    service = Figure(
        name="service_level",
        label=say("Wanted: no shortage, % of orders"),
        value=round(100 * plan.service_level, 2),
        least=50.0,
        most=99.9,
        step=0.1,
    )
    days = plan.lead_time_days
    if days is None:
        return [service]
    lead = Figure(
        name="lead_time_days",
        label=say("Days from order to shelf"),
        value=days,
        least=1.0,
        most=max(_reach(days, 2.5, least=10.0), days),
        step=1.0,
    )
    return [lead, service]


def _reach(value: float, times: float, *, least: float = 0.0) -> float:
    """Return how far a slider goes: so many times the value, to two figures."""
    most = max(value * times, least, 1.0)
    return float(f"{most:.2g}")


def request_of(
    base: dict[str, float], values: dict[str, float | None], *, kind: str | None, horizon_days: float | None
) -> PlanRequest:
    """Return what is asked: only figures that differ from those the sliders were laid out with.

    Raises
    ------
    WrongUsage
        Where a figure was deleted.
    """
    asked: dict[str, Any] = {}
    rates = []
    for name, value in values.items():
        if value is None:
            raise WrongUsage(say("A figure is missing or is no number: type one, or go back to the plan."))
        if value == base.get(name):
            continue
        if name.startswith(RATE):
            rates.append(SpindleRate(spindle=name.removeprefix(RATE), bores=float(value)))
        else:
            asked[name] = value / 100 if name == "service_level" else float(value)
    return PlanRequest(kind=kind, horizon_days=horizon_days, rates=tuple(rates), **asked)


def is_asked(request: PlanRequest) -> bool:
    """Return whether a request differs from the plan as it is."""
    return request != PlanRequest(kind=request.kind, horizon_days=request.horizon_days)


def today_of(monitor: Monitor, kind: str | None) -> tuple[StonePlan | None, str]:
    """Return the plan as it is, of all kinds or of one; where there is none, why not."""
    try:
        if kind is not None:
            return monitor.stone_plan(PlanRequest(kind=kind)), ""
        answer = monitor.stone_picture().stones
    except CellmonError as refusal:
        return None, str(refusal)
    return answer.plan, answer.why_not.get("plan", "")


def show_fields(
    monitor: Monitor,
    kind: str | None,
    base: dict[str, float] | None,
    values: dict[str, float | None],
    *,
    anew: bool,
) -> list[Any]:
    """Return the kinds, the sliders and their figures; no new ones where something is asked."""
    plan, _ = today_of(monitor, None)
    kinds = [] if plan is None else [one.kind for one in plan.kinds]
    chosen = kind if kind in kinds else (kinds[0] if kinds else None)
    if len(kinds) > 1:
        plan, _ = today_of(monitor, chosen)
    figures = figures_of(monitor, plan)
    now = {one.name: one.value for one in figures}
    options = [{"label": name, "value": name} for name in kinds]
    shown = {} if len(kinds) > 1 else {"display": "none"}
    if not anew and base and (base == now or any(base.get(name) != v for name, v in values.items())):
        return [options, chosen, shown, no_update, no_update]
    return [options, chosen, shown, fields_table(figures), now]


def fields_table(figures: Sequence[Figure]) -> html.Div:
    """Return a row for each figure: what it is, what it is by the plan, and its slider."""
    return html.Div(
        [
            html.Div(
                [
                    html.Label(
                        [
                            html.Span(one.label, id=f"{FIGURE}-{i}-label"),
                            html.Span(
                                say("now {value}", value=local.significant(one.value, 10, apart=True)),
                                className="now",
                            ),
                            dcc.Input(
                                id={"type": FIGURE, "name": one.name},
                                value=f"{one.value:.10g}",
                                autoComplete="off",
                                inputMode="decimal",
                            ),
                        ]
                    ),
                    dcc.Slider(
                        id={"type": SLIDER, "name": one.name},
                        min=min(one.least, one.value),
                        max=max(one.most, one.value),
                        step=one.step,
                        value=one.value,
                        marks=None,
                        included=False,
                        allow_direct_input=False,
                    ),
                ],
                className="figure-row",
                role="group",
                **{"aria-labelledby": f"{FIGURE}-{i}-label"},
            )
            for i, one in enumerate(figures)
        ],
        className="figures",
    )


def show_answers(
    monitor: Monitor, kind: str | None, base: dict[str, float] | None, values: dict[str, float | None]
) -> list[Any]:
    """Return the sentence, what was left out, and the answers of the plan beside those of what is asked."""
    if not base:
        return NOTHING
    several = kind if kind is not None and len(monitor.sheet.stone_kinds) > 1 else None
    today, why = today_of(monitor, several)
    try:
        request = request_of(
            base, values, kind=several, horizon_days=None if today is None else today.horizon_days
        )
        if not is_asked(request):
            told = say(
                "Nothing is changed: move a figure and see what the plan would be. Nothing here is kept."
            )
            return [why or told, "", answers_table(today, None)]
        asked = monitor.stone_plan(request)
    except CellmonError as refusal:
        return [str(refusal), "", answers_table(today, None)]
    sentence = say("With these figures: {plan}", plan=asked.sentence)
    return [sentence, " ".join(_new_notes(today, asked)), answers_table(today, asked)]


def _new_notes(today: StonePlan | None, asked: StonePlan) -> list[str]:
    known = () if today is None else today.notes
    return [f"{parts.capital(note)}." for note in asked.notes if note not in known]


def values_of(states: Sequence[dict[str, Any]]) -> dict[str, float | None]:
    """Return the typed figures by name, from what Dash lists of a pattern; None where it is no number."""
    return {one["id"]["name"]: number_of(one.get("value")) for one in states}


def number_of(typed: Any) -> float | None:
    """Return a typed figure, its decimals after a point or a comma; None where it is none."""
    try:
        found = float(str(typed).strip().replace(",", "."))
    except ValueError:
        return None
    return found if isfinite(found) else None


def register(app: Dash, monitor: Monitor) -> None:
    """Wire the panel; sliders are laid out anew only where nothing is asked."""
    every = {"type": FIGURE, "name": ALL}

    one, its = {"type": FIGURE, "name": MATCH}, {"type": SLIDER, "name": MATCH}
    app.clientside_callback(
        ClientsideFunction("cellmon", "together"),
        Output(one, "value"),
        Output(its, "value"),
        Input(one, "value"),
        Input(its, "value"),
        prevent_initial_call=True,
    )

    @app.callback(
        Output(KIND, "options"),
        Output(KIND, "value"),
        Output(KIND_BOX, "style"),
        Output(FIELDS, "children"),
        Output(BASE, "data"),
        Input(parts.CHANGE, "data"),
        Input(KIND, "value"),
        Input(BACK, "n_clicks"),
        State(BASE, "data"),
        State(every, "value"),
    )
    def _(change: int, kind: str | None, clicks: int | None, base: Any, values: Any) -> list[Any]:
        named = values_of(ctx.states_list[-1])
        return show_fields(monitor, kind, base, named, anew=parts.pressed() != parts.CHANGE)

    @app.callback(
        Output(SENTENCE, "children"),
        Output(NOTE, "children"),
        Output(ANSWERS, "children"),
        Input(parts.CHANGE, "data"),
        Input(every, "value"),
        Input(BASE, "data"),
        State(KIND, "value"),
    )
    def _(change: int, values: Any, base: Any, kind: str | None) -> list[Any]:
        return show_answers(monitor, kind, base, values_of(ctx.inputs_list[1]))
