"""Traced bores drawn into a file of their own: a page that opens anywhere, with nothing fetched."""

from __future__ import annotations

from html import escape
from pathlib import Path

import plotly.graph_objects as go
import plotly.io

from cellmon.monitor.traces import TracesAnswer
from cellmon.sheet import Sheet
from cellmon.words import say
from dashboards import theme
from dashboards.figures.polar import polar_figure

STYLE = f"body {{ background: {theme.PAPER}; color: {theme.INK}; font-family: {theme.FONT}; margin: 2rem }}"


def write_drawing(answer: TracesAnswer, sheet: Sheet, path: Path) -> None:
    """Write the sections of one block, a figure a bore, as one HTML file."""
    body = [f"<h1>{escape(answer.bores[0].part)}</h1>", f"<p>{escape(answer.sentence)}</p>"]
    library = True
    for bore in answer.bores:
        nominal = sheet.part(bore.part_number).diameter.nominal
        figure = go.Figure(polar_figure(bore, nominal_mm=nominal))
        body.append(f"<p>{escape(bore.sentence)}</p>")
        body.append(plotly.io.to_html(figure, config=theme.CONFIG, include_plotlyjs=library, full_html=False))
        library = False
    body.append(f"<p>{escape(say('Figures are radial; {blind}.', blind=answer.blind))}</p>")
    head = f'<meta charset="utf-8"><title>{escape(answer.bores[0].part)}</title><style>{STYLE}</style>'
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(f"<!doctype html><html><head>{head}</head><body>{''.join(body)}</body></html>", "utf-8")
