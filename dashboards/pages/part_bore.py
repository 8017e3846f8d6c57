"""One bore of a block opened at its raw readings: what was read where, and the file and line it came from."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from math import isnan
from typing import Any

import numpy as np
from dash import html

from cellmon import lengths
from cellmon.monitor.part import PartStory
from cellmon.monitor.part_bores import Origin, PartMeasurement
from cellmon.words import say
from dashboards import theme
from dashboards.pages import parts

ID = "part-bore"


def opened(story: PartStory, bore: str | None) -> list[Any]:
    """Return the raw readings of one bore, a table a measurement; nothing where no bore is asked for."""
    if not bore:
        return []
    mine = [m for m in story.measurements if m.bore == bore]
    if not mine:
        return [parts.notice(say("No bore {bore} of {part} was measured.", bore=bore, part=story.part))]
    tables = [one for m in mine for one in (html.P(_whence(m), className="told"), _readings(story, m))]
    return [html.H2(say("Bore {bore} as it was read", bore=bore)), *tables]


def _readings(story: PartStory, m: PartMeasurement) -> html.Div:
    unit = lengths.unit()
    head = [
        say("plane"),
        *(say("{direction}, {unit} from nominal", direction=d, unit=unit) for d in m.directions),
    ]
    nominal = story.nominal_mm
    if nominal is not None:
        head += [f"{d}, {lengths.size_unit()}" for d in m.directions]
    digits, body = _digits(m), []
    for plane, row in zip(m.planes, m.um.tolist(), strict=True):
        cells = [plane, *("–" if isnan(um) else theme.um(um, digits) for um in row)]
        if nominal is not None:
            cells += ["–" if isnan(um) else lengths.size(nominal + um / 1000, 3 + digits) for um in row]
        body.append(html.Tr([html.Td(c, className="figure" if j else "") for j, c in enumerate(cells)]))
    names = html.Tr([html.Th(n, scope="col", className="figure" if j else "") for j, n in enumerate(head)])
    return parts.across(html.Table([html.Thead(names), html.Tbody(body)], className="told-of"))


def _digits(m: PartMeasurement) -> int:
    """Return how many decimals of a micrometre were read: tenths, or hundredths."""
    tenths = m.um[np.isfinite(m.um)] * 10
    return 1 if np.allclose(tenths, np.round(tenths), atol=1e-6) else 2


def _whence(m: PartMeasurement) -> str:
    """Return who read a bore when, the stones that honed it, and where the readings stand."""
    told = say(
        "{gauge}, {moment}, spindle {spindle}", gauge=m.gauge, moment=parts.when(m.at), spindle=m.spindle
    )
    if m.stone_set:
        told = say("{told}, stones {set}", told=told, set=m.stone_set)
    files = "; ".join(_file(name, rows) for name, rows in _by_file(m.origins))
    return f"{parts.capital(told)}. {files}." if files else f"{parts.capital(told)}."


def _by_file(origins: Sequence[Origin]) -> list[tuple[str, list[Origin]]]:
    ordered = sorted(origins, key=lambda o: (o.file, o.line))
    return [(name, list(rows)) for name, rows in groupby(ordered, key=lambda o: o.file)]


def _file(name: str, rows: Sequence[Origin]) -> str:
    lines = [o.line for o in rows]
    taken = parts.when(max(o.taken_at for o in rows))
    if len(lines) == 1:
        return say("File {file}, line {line}, taken {moment}", file=name, line=lines[0], moment=taken)
    said = ", ".join(runs(lines))
    return say("File {file}, lines {lines}, taken {moment}", file=name, lines=said, moment=taken)


def runs(lines: Sequence[int]) -> list[str]:
    """Return line numbers, those that follow one another as one run.

    Examples
    --------
    >>> runs([4, 5, 6, 9])
    ['4–6', '9']
    """
    found: list[list[int]] = []
    for line in lines:
        if found and line == found[-1][-1] + 1:
            found[-1].append(line)
        else:
            found.append([line])
    return [f"{run[0]}–{run[-1]}" if len(run) > 1 else f"{run[0]}" for run in found]
