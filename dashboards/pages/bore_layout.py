"""What page Bore is made of before its answers have come."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dash import dcc, html

from cellmon.words import say, to_say
from dashboards.pages import asked, bore_record, parts, set_up

PATH = "/bore"
SENTENCE, TOLD, SERIAL, SHOW, OFFERED, BORES, CAUTIONS = (
    "bore-sentence",
    "bore-told",
    "bore-serial",
    "bore-show",
    "bore-offered",
    "bore-bores",
    "bore-cautions",
)
SHEET, PANEL, TITLE, AFTER, WALLS, LEFT, ROUNDS, CHECKS = (
    "bore-sheet",
    "bore-panel",
    "bore-title",
    "bore-after",
    "bore-walls",
    "bore-left",
    "bore-rounds",
    "bore-checks",
)
ASKS, TYPED, READ, DONE, KEPT, MODE, SKIPPED, UNASKED, BORE = (
    "bore-asks",
    "bore-typed",
    "bore-read",
    "bore-done",
    "bore-kept",
    "bore-mode",
    "bore-skipped",
    "bore-unasked",
    "bore-bore",
)
STONES, RPM, RATE, MATE, FITS, FEED, NOTE, BESIDE, MODES, SAID, QUESTIONS, ASKED, SURE = (
    "bore-stones",
    "bore-rpm",
    "bore-rate",
    "bore-mate",
    "bore-fits",
    "bore-feed",
    "bore-note",
    "bore-beside",
    "bore-modes",
    "bore-said",
    "bore-questions",
    "bore-asked",
    "bore-sure",
)
HEARD = ("bore-begun", "bore-heard", "bore-settled")
TAB = "bore-tab"
HIDDEN = {"display": "none"}
CAPTION = to_say(
    "Left: to the target. A line and a mark for each direction; thin strokes across: the gauge's uncertainty "
    "(k = 2). Pale lines: the round before; broad bars: where the advised strokes should reach, 9 times in "
    "10. Tolerance: between the full lines; guard band: hatched; target: dashed."
)


def layout(query: str | None = None) -> html.Main:
    """Return the page before its answers have come; a link may name block and bore."""
    named = parts.query_values(query)
    height = "clamp(300px, 30vw, 450px)"
    return html.Main(
        [
            *(dcc.Store(id=name) for name in (ASKS, TYPED, READ, DONE, KEPT, MODE, UNASKED, *HEARD)),
            dcc.Store(id=SKIPPED, storage_type="session", data=[]),
            dcc.Store(id=BORE, data=named),
            html.Div([parts.lead(SENTENCE), html.Div(id=TOLD)], className="says"),
            html.Div(id=CAUTIONS, className="cares"),
            html.Div([_which(named), _panel()], className="hands-on"),
            html.Div(
                [
                    parts.figure_box(WALLS, height=height, caption=say(CAPTION), told_by=TOLD),
                    html.Div(id=LEFT),
                    html.Div(
                        parts.field(say("Serial of the part that goes in"), _text(MATE, debounce=True)),
                        className="controls",
                    ),
                    html.P(id=FITS, className="told"),
                ],
                id=SHEET,
                className="walls",
                style=parts.HIDDEN,
            ),
            html.Div([html.Div(id=ROUNDS), html.Div(id=CHECKS)], className="before"),
            bore_record.layout(),
            set_up.layout(),
        ],
        className="bore",
    )


def _which(named: Mapping[str, str]) -> html.Div:
    """Return where block and bore are chosen, and who measures."""
    serial = dcc.Input(id=SERIAL, list=OFFERED, autoComplete="off", value=named.get("serial"))
    return html.Div(
        [
            html.Datalist(id=OFFERED),
            parts.field(say("Serial of the block"), serial),
            html.Button(say("Show"), id=SHOW, className="step"),
            asked.who_field("bore", remembered=True),
            html.Nav(id=BORES, className="bores", **{"aria-label": say("Bores of the block")}),
        ],
        className="controls",
    )


def _panel() -> html.Section:
    """Return where figures are typed; what stands in the machine itself is made by `assets/bore.js`."""
    stones = parts.field(say("Stones in the hone"), dcc.RadioItems(id=STONES, className="choice"))
    return html.Section(
        [
            html.H2(id=TITLE),
            html.P(id=SAID, className="said", role="status"),
            html.Div(stones, id=f"{STONES}-box", className="controls"),
            html.Div(
                [
                    html.B(say("Asked before it is kept; nothing is kept yet:")),
                    html.Ul(id=ASKED),
                    html.Button(say("It is so: keep it"), id=SURE, className="step"),
                ],
                id=QUESTIONS,
                className="questions",
                role="alert",
                style=HIDDEN,
            ),
            html.Div(id="bore-machine"),
            html.Div(id=AFTER),
            html.Details([html.Summary(say("More about this round")), _more()], id=BESIDE),
            html.Div(id=MODES, className="modes"),
        ],
        id=PANEL,
    )


def _more() -> html.Div:
    return html.Div(
        [
            parts.field(say("Spindle, rev/min"), _text(RPM)),
            parts.field(say("Double strokes a minute"), _text(RATE)),
            parts.field(say("Feed reading, µm"), _text(FEED)),
            parts.field(say("Note"), _text(NOTE)),
        ],
        className="controls",
    )


def _text(name: str, **more: Any) -> dcc.Input:
    return dcc.Input(id=name, autoComplete="off", persistence="typed", persistence_type="session", **more)
