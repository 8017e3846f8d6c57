"""Capability as a workbook: one sheet a stream with its figures, its charts and its raw bores."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import zip_longest
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from cellmon import __version__
from cellmon.export.files import check_name, replacing, write_cells, write_heads
from cellmon.export.tables import Table, capability_table
from cellmon.export.times import local_times
from cellmon.monitor.answers import Estimate
from cellmon.monitor.submission import Statement, Submission
from cellmon.words import say, to_say

Cell = str | int | float | None
BORES_AT, EDGES_AT = 6, 14
"""Columns in which the raw bores and the edges begin."""
BORES = (
    to_say("serial"),
    to_say("measured at"),
    to_say("charted"),
    to_say("least"),
    to_say("greatest"),
    to_say("counted"),
    to_say("left out"),
)
EDGES = (
    to_say("size"),
    to_say("model"),
    to_say("at least"),
    to_say("at most"),
    to_say("size seen"),
    to_say("seen"),
)
EDGE = {"lower": to_say("lower edge: {figure}"), "upper": to_say("upper edge: {figure}")}
CHART_ROWS = 19


def write_capability_book(answer: Submission, path: Path, *, zone: ZoneInfo) -> Path:
    """Write a workbook of native charts and numbers, whole or not at all, and return its path.

    Raises
    ------
    WrongUsage
        When the file's name says another format.
    OSError
        When the file cannot be written; what stood there before still stands.
    """
    import xlsxwriter

    check_name(path, "xlsx")
    with replacing(path) as beside:
        options = {"constant_memory": True, "default_date_format": "yyyy-mm-dd hh:mm:ss"}
        with xlsxwriter.Workbook(str(beside), options) as book:
            created = answer.as_of.astimezone(zone).replace(tzinfo=None)
            book.set_properties({"title": say("Capability, {cell}", cell=answer.cell), "created": created})
            bold = book.add_format({"bold": True, "bottom": 1})
            _streams(book, capability_table(answer.capability, zone=zone), bold)
            names: set[str] = set()
            for statement in answer.statements:
                _stream(book, statement, answer, bold=bold, zone=zone, names=names)
    return path


def _streams(book: Any, table: Table, bold: Any) -> None:
    sheet = book.add_worksheet(say("streams"))
    sheet.freeze_panes(1, 0)
    write_heads(sheet, table, bold)
    write_cells(sheet, table)


def _stream(
    book: Any, s: Statement, answer: Submission, *, bold: Any, zone: ZoneInfo, names: set[str]
) -> None:
    """Write one sheet row by row, as the constant-memory mode asks; text is never read as a formula."""
    name = _sheet_name(s.name, names)
    sheet = book.add_worksheet(name)
    figures = _figures(s, answer)
    bores, edges = _bores(s, zone), _edges(s)
    sheet.set_column(0, 0, 27)
    sheet.set_column(1, 3, 13)
    sheet.set_column(BORES_AT, BORES_AT + 1, 19)
    sheet.set_column(EDGES_AT, EDGES_AT + 2 * len(EDGES), 11)
    for row in range(max(len(figures), len(bores), len(edges))):
        for start, block in ((0, figures), (BORES_AT, bores), (EDGES_AT, edges)):
            cells = block[row] if row < len(block) else ()
            for j, cell in enumerate(cells):
                _write(sheet, row, start + j, cell, bold if row == 0 else None)
    sheet.insert_chart(len(figures) + 1, 0, _bores_chart(book, name, s))
    if s.picture.edges:
        sheet.insert_chart(len(figures) + 2 + CHART_ROWS, 0, _edges_chart(book, name, s))


def _write(sheet: Any, row: int, column: int, cell: Any, style: Any) -> None:
    if cell is None:
        return
    if isinstance(cell, str):
        sheet.write_string(row, column, cell, style)
    elif isinstance(cell, (int, float)):
        if np.isfinite(cell):
            sheet.write_number(row, column, cell, style)
    else:
        sheet.write_datetime(row, column, cell, style)


def _sheet_name(name: str, taken: set[str]) -> str:
    """Return a name a sheet may have (31 letters, none of []:*?/\\), once only."""
    plain = re.sub(r"[\[\]:*?/\\]", "_", name)[:31].strip("'") or "stream"
    found, count = plain, 1
    while found.lower() in taken:
        count += 1
        found = f"{plain[: 31 - len(str(count)) - 1]} {count}"
    taken.add(found.lower())
    return found


def _figures(s: Statement, answer: Submission) -> list[Sequence[Cell]]:
    row, tolerance, d, g = s.capability, s.picture.tolerance, s.drawing, s.gauge
    rows: list[Sequence[Cell]] = [
        (say("figure"), say("found"), say("interval from"), say("interval to")),
        (say("claim"), say(row.claim)),
        *(() if row.signature is None else (("signature", row.signature.sentence),)),
        (say("required Ppk"), answer.required),
        (say("lower bound of Ppk"), row.lower_bound),
        (say("bound if the tail is longer"), row.cautious_bound),
        (say("confidence of the bounds"), answer.confidence),
    ]
    indices = (("Cp", row.cp), ("Cpk", row.cpk), ("Pp", row.pp), ("Ppk", row.ppk))
    rows += [_estimate(name, e) for name, e in (*indices, (say("Ppk without gauge noise"), row.ppk_process))]
    rows += [
        _estimate(say("expected beyond, ppm"), row.ppm_expected),
        (say("seen beyond, ppm"), row.ppm_observed),
        (say("bores counted"), row.n),
        (say("worth so many independent"), row.effective_n),
        (say("mean, {unit}", unit=s.unit), row.mean_um),
        (say("spread inside subgroups, {unit}", unit=s.unit), row.sd_within_um),
        (say("spread of all bores, {unit}", unit=s.unit), row.sd_total_um),
        (say("lower limit, {unit}", unit=s.unit), tolerance.lower_um),
        (say("upper limit, {unit}", unit=s.unit), tolerance.upper_um),
        (say("guard band, {unit}", unit=s.unit), tolerance.guard_um),
        (say("model"), row.model),
        (say("in time"), row.time_model),
        (say("drawing"), d.part_number),
        (say("revision"), d.revision),
        (say("characteristic"), d.number),
        (say("sheet version"), answer.sheet),
        (say("as of"), answer.as_of.isoformat()),
        (say("gauge"), g.gauge),
        (say("smallest step, µm"), g.resolution_um),
        _estimate(say("gauge, % of tolerance"), g.of_tolerance),
        (say("stone sets"), ", ".join(s.sampling.stone_sets)),
        *((say("why not"), reason) for reason in row.reasons),
        *((f"{one.what}: {one.reason}", one.bores, one.by) for one in s.left_out),
        ("cellmon", __version__),
    ]
    return rows


def _estimate(name: str, e: Estimate | None) -> Sequence[Cell]:
    return (name, None, None, None) if e is None else (name, e.value, e.low, e.high)


def _bores(s: Statement, zone: ZoneInfo) -> list[Sequence[Any]]:
    """Return the raw bores: what is counted and what is left out in columns of their own, for the chart."""
    p = s.picture
    head = (*map(say, BORES[:2]), *(f"{say(name)}, {s.unit}" for name in BORES[2:]))
    at = local_times(p.at, zone).tolist()
    kept = np.where(p.left_out, np.nan, p.value_um)
    out = np.where(p.left_out, p.value_um, np.nan)
    rows = zip(p.part, at, p.value_um, p.least_um, p.greatest_um, kept, out, strict=True)
    return [head, *((str(part), when, *map(float, more)) for part, when, *more in rows)]


def _edges(s: Statement) -> list[Sequence[Any]]:
    """Return the edges beside each other: size, model and interval of each."""
    found = s.picture.edges
    if not found:
        return []
    heads = [say(EDGE[edge.side], figure=say(name)) for edge in found for name in EDGES]
    columns = [
        column.tolist()
        for e in found
        for column in (e.size_um, e.share, e.share_low, e.share_high, e.seen_size_um, e.seen_share)
    ]
    return [heads, *zip_longest(*columns)]


def _bores_chart(book: Any, sheet: str, s: Statement) -> Any:
    """Draw the bores in making order; the axis is left to the program, so that no point is cut off."""
    chart = book.add_chart({"type": "line"})
    last = max(len(s.picture.part), 1)
    for column, colour in ((5, "#1d2226"), (6, "#b34700")):
        at = BORES_AT + column
        chart.add_series(
            {
                "name": [sheet, 0, at],
                "categories": [sheet, 1, BORES_AT, last, BORES_AT],
                "values": [sheet, 1, at, last, at],
                "line": {"none": True},
                "marker": {"type": "circle", "size": 2, "fill": {"color": colour}, "border": {"none": True}},
            }
        )
    chart.set_title(
        {"name": say("bores in the order they were made"), "name_font": {"size": 10, "bold": False}}
    )
    chart.set_y_axis({"name": s.unit, "major_gridlines": {"visible": False}})
    chart.set_x_axis({"visible": False, "crossing": "min"})
    chart.set_legend({"position": "bottom"})
    chart.set_size({"width": 560, "height": 20 * (CHART_ROWS - 1)})
    return chart


def _edges_chart(book: Any, sheet: str, s: Statement) -> Any:
    chart = book.add_chart({"type": "scatter", "subtype": "straight"})
    for k, edge in enumerate(s.picture.edges):
        first, last = EDGES_AT + k * len(EDGES), len(edge.size_um)
        for j, dash in ((1, "solid"), (2, "dash"), (3, "dash")):
            chart.add_series(
                {
                    "name": [sheet, 0, first + j],
                    "categories": [sheet, 1, first, last, first],
                    "values": [sheet, 1, first + j, last, first + j],
                    "line": {"color": "#1d2226", "width": 1.25 if j == 1 else 0.75, "dash_type": dash},
                }
            )
        seen = len(edge.seen_size_um)
        chart.add_series(
            {
                "name": [sheet, 0, first + 5],
                "categories": [sheet, 1, first + 4, seen, first + 4],
                "values": [sheet, 1, first + 5, seen, first + 5],
                "line": {"none": True},
                "marker": {
                    "type": "square",
                    "size": 3,
                    "fill": {"color": "#b34700"},
                    "border": {"none": True},
                },
            }
        )
    chart.set_title(
        {"name": say("share of bores beyond each size"), "name_font": {"size": 10, "bold": False}}
    )
    chart.set_y_axis({"log_base": 10, "name": say("share beyond"), "crossing": "min", "num_format": "0E+00"})
    chart.set_x_axis({"name": s.unit, "crossing": "min", "label_position": "low"})
    chart.set_legend({"position": "bottom"})
    chart.set_size({"width": 560, "height": 20 * (CHART_ROWS - 1)})
    return chart
