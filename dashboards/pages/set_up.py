"""The set-up sheet on page Bore: speed, stroke, overrun and crosshatch for a hone, cautions first."""

from __future__ import annotations

from collections.abc import Mapping
from math import inf, nan
from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, State, dcc, html

from cellmon import local
from cellmon.errors import CellmonError, WrongUsage
from cellmon.monitor.setup import SetupRequest, SetupSheet, SpeedChoice
from cellmon.monitor.setup_words import removal_lines, stroke_lines
from cellmon.words import say, to_say
from dashboards.pages import parts

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

FOLD, FIGURE, PRESS, SHEET = "set-up", "set-up-figure", "set-up-press", "set-up-sheet"
GIVEN = {
    "diameter_mm": to_say("Diameter, mm"),
    "length_mm": to_say("Length of the bore, mm"),
    "stone_mm": to_say("Length of the stones, mm"),
    "overrun_top_mm": to_say("Overrun at the top, mm"),
    "overrun_bottom_mm": to_say("Overrun at the bottom, mm (0: blind)"),
    "strokes_per_min": to_say("Double strokes a minute"),
    "angle_deg": to_say("Crosshatch wanted, included, degrees"),
    "surface_m_min": to_say("Surface speed wanted, m/min"),
    "rated_rpm": to_say("Rated speed of hone or drill, rev/min"),
    "stock_um": to_say("To come off, on diameter, µm"),
    "um_per_stroke": to_say("A double stroke takes, on diameter, µm"),
    "stone_width_mm": to_say("Width of a stone, mm"),
    "g_ratio": to_say("Volume of work for one of stone"),
}
"""What may be given, by the field of `SetupRequest`; what is left open the sheet says, if it does."""
MAY_BE_NOUGHT, SMALLEST = ("overrun_top_mm", "overrun_bottom_mm"), 1e-9


def layout() -> html.Details:
    """Return the fold; its sheet is made when it is opened, and at a press."""
    fields = [
        parts.field(
            say(words), dcc.Input(id=f"{FIGURE}-{name}", type="text", inputMode="decimal", autoComplete="off")
        )
        for name, words in GIVEN.items()
    ]
    return parts.asked_open(
        FOLD,
        say("Set up a hone: speed, stroke, overrun and crosshatch"),
        [
            html.P(
                say("What is left open is taken from the cell sheet, where it says it."), className="aside"
            ),
            html.Div(
                [*fields, html.Button(say("Work it out"), id=PRESS, className="step")], className="controls"
            ),
            html.Div(id=SHEET, role="status"),
        ],
        className="set-up",
    )


def request_of(given: Mapping[str, str | None], part_number: str | None) -> SetupRequest:
    """Return what is asked: the figures that were typed.

    Raises
    ------
    WrongUsage
        Where one is no figure.
    """
    typed = {name: (text or "").strip() for name, text in given.items()}
    figures = {name: _read(name, text) for name, text in typed.items() if text}
    return SetupRequest(**figures, part_number=part_number)


def _read(name: str, text: str) -> float:
    try:
        found = float(text.replace(",", "."))
    except ValueError:
        found = nan
    least = 0.0 if name in MAY_BE_NOUGHT else SMALLEST
    if not least <= found < inf:
        raise WrongUsage(
            say("{what}: {text} is not a figure to work with.", what=say(GIVEN[name]), text=text)
        )
    return found


def show(monitor: Monitor, given: Mapping[str, str | None], part_number: str | None) -> list[Any]:
    """Return the set-up sheet, cautions first; or why there is none."""
    try:
        answer = monitor.setup(request_of(given, part_number))
    except CellmonError as refusal:
        return [parts.notice(parts.capital(str(refusal)))]
    figures = [answer.sentence, *stroke_lines(answer)]
    figures += [] if answer.removal is None else removal_lines(answer.removal)
    missing = {**answer.why_not, **({} if answer.removal is None else answer.removal.why_not)}
    return [
        *(html.P(one, className="aside cautions") for one in answer.cautions),
        *(html.P(one, className="told") for one in figures),
        parts.across(speeds_table(answer), say("Speeds")),
        html.H3(say("Order of work")),
        html.Ol([html.Li(one) for one in answer.steps]),
        *(html.P(parts.capital(one) + ".", className="aside") for one in answer.notes),
        *(html.P(parts.capital(one) + ".", className="aside") for one in dict.fromkeys(missing.values())),
    ]


def speeds_table(answer: SetupSheet) -> html.Table:
    """Return the speeds to choose from, each with the angle that it leaves."""
    names = (
        say("speed by"),
        say("rev/min"),
        say("m/min"),
        say("crosshatch, mean, degrees"),
        say("mid-stroke"),
        say("strokes for the angle"),
        say("what it is"),
    )
    return html.Table(
        [
            html.Thead(html.Tr([html.Th(name, scope="col") for name in names])),
            html.Tbody([_row(one) for one in answer.speeds]),
        ],
        className="words",
    )


def _row(one: SpeedChoice) -> html.Tr:
    rounded = one.surface_m_min, one.angle_mean_deg, one.angle_mid_stroke_deg, one.strokes_for_angle
    cells = [one.name, local.number(int(one.rpm)), *map(_figure, rounded), f"{one.note}."]
    return html.Tr([html.Td(cell) for cell in cells])


def _figure(value: float | None) -> str:
    return "–" if value is None else local.number(value)


def register(app: Dash, monitor: Monitor, bore: str) -> None:
    """Wire it; `bore` is the id of what names the bore in the hand, whose drawing the sheet is for."""

    @app.callback(
        Output(SHEET, "children"),
        parts.wanted(app, FOLD, Input(FOLD, "data"), Input(PRESS, "n_clicks")),
        State(bore, "data"),
        *(State(f"{FIGURE}-{name}", "value") for name in GIVEN),
        prevent_initial_call=True,
    )
    def _(wanted: Any, shown: Mapping[str, str] | None, *values: Any) -> list[Any]:
        return show(monitor, dict(zip(GIVEN, values, strict=True)), (shown or {}).get("part_number"))
