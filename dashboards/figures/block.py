"""The block now: every bore cut open to scale, its walls exaggerated, and the last bores below it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from textwrap import wrap
from typing import Any

import numpy as np

from cellmon import lengths, local
from cellmon.monitor.answers import Tolerance
from cellmon.monitor.now import BoreNow, Now
from cellmon.monitor.row_words import DOUBTS
from cellmon.records import Flag, Verdict
from cellmon.words import say, to_say
from dashboards import theme
from dashboards.figures import cut, last_bores
from dashboards.figures.cut import Section
from dashboards.figures.narrow import changed, in_lines, narrowed
from dashboards.figures.opened import opens_bore, stones_line
from dashboards.figures.terms import term

OVERSHOOT = 0.35  # of the tolerance, drawn beyond each limit before a reading is cut off
TOP, BOTTOM, SIDE = 8, 50, 84
DOMAIN = (0.47, 1.0)
HOLLOW = 22
"""Letters that fit between the walls of a bore."""
SLIM_SIDE, SLIM_BOTTOM, SLIM_HOLLOW, SLIM_LINE, SLIM_BORES = 46, 72, 10, 44, 4
"""The same in a narrow box, and so many bores that their verdicts fit there side by side."""
SLIM_BELOW = 820
"""Width of a box, in pixels, below which the words of a bore do not fit between its walls."""
MANY, FEW_PX = 6, 90
"""More bores than these are drawn with few words in any box, and with none below so many pixels a bore."""
FINGER_PX = 48
INSIDE, BEYOND, SCALE = "inside", "beyond", "scale"
"""Words of the drawing, by name."""


def section_of(now: Now, readings: np.ndarray) -> Section:
    """Return the largest round exaggeration at which limits and readings stay near the wall."""
    nominal = max((s.nominal_mm for s in now.spindles if s.bores), default=now.nominal_mm)
    every = [s.tolerance for s in now.spindles if s.bores] or [now.tolerance]
    limits = [v for t in every for v in (t.lower_um, t.upper_um) if v is not None]
    seen = readings[np.isfinite(readings)]
    low = min([*limits, 0.0] if limits else [float(seen.min(initial=-10.0)), 0.0])
    high = max([*limits, 0.0] if limits else [float(seen.max(initial=10.0)), 0.0])
    low, high = low - OVERSHOOT * (high - low), high + OVERSHOOT * (high - low)
    scale = cut.exaggeration_of(high, nominal_mm=nominal)
    length = now.length_mm or (max(now.depths_mm, default=100.0) + min(now.depths_mm, default=0.0))
    reach = high / 2 * scale / 1000
    pitch = nominal + 2 * reach + 0.09 * nominal
    return Section(diameter=nominal, length=length, exaggeration=scale, low_um=low, high_um=high, pitch=pitch)


def block_figure(now: Now) -> theme.Figure:
    """Draw every bore's last shape inside its tolerance, and the last bores against the limits."""
    bores = [(s.tolerance, b) for s in now.spindles for b in s.bores]
    if not bores:
        return theme.notice(say("No bore has been measured yet."))
    section, labels = section_of(now, np.concatenate([b.um.ravel() for _, b in bores])), labels_of(now)
    centres = [i * section.pitch for i in range(len(bores))]
    data, notes = cut_open(now, bores, centres, section, labels=labels)
    strip = last_bores.strip(bores, centres=centres, pitch=section.pitch, labels=labels)
    depths = depth_axis(now, section)
    named = cut.edge_names(depths, section) + cut.edge_names(strip.axis, section, yref="y2")
    words = [{"visible": True, **one} for one in notes + strip.words + named]
    figure = theme.figure(
        data + strip.data,
        height=None,
        margin={"l": SIDE, "r": SIDE, "t": TOP, "b": BOTTOM},
        shapes=strip.shapes,
        annotations=words,
        xaxis=theme.hidden_axis(
            range=[-section.pitch / 2, (len(bores) - 0.5) * section.pitch], fixedrange=True
        ),
        yaxis=depths,
        yaxis2=strip.axis,
        dragmode=False,
    )
    return slim(figure, [bore for _, bore in bores], section, labels)


def labels_of(now: Now) -> list[str]:
    """Return what each bore is called: by its spindle too where several hone bores of one number."""
    numbers = [b.bore for s in now.spindles for b in s.bores]
    if len(set(numbers)) == len(numbers):
        return numbers
    return [f"{s.spindle} · {b.bore}" for s in now.spindles for b in s.bores]


def slim(
    figure: theme.Figure, bores: Sequence[BoreNow], section: Section, labels: Sequence[str] | None = None
) -> theme.Figure:
    """Return a drawing of bores for a narrow box too: depth is stretched, words are few, a tap tells all.

    Of many bores a wide box is drawn so as well, and in a narrow one only their names are left.
    """
    count, named = len(bores), labels or [bore.bore for bore in bores]
    if count <= MANY:
        few = _fewer(figure, bores, section, named, crowded=count > SLIM_BORES)
        return narrowed(figure, few, below=SLIM_BELOW * max(count, SLIM_BORES) // SLIM_BORES)
    wide = changed(figure, _fewer(figure, bores, section, named, crowded=False) | {"margin.l": SIDE})
    return narrowed(wide, _fewer(figure, bores, section, named, crowded=True), below=FEW_PX * count)


def _fewer(
    figure: theme.Figure, bores: Sequence[BoreNow], section: Section, labels: Sequence[str], *, crowded: bool
) -> dict[str, Any]:
    """Return what changes in a drawing where there is little room beside each bore."""
    layout, inside = figure["layout"], zip(bores, labels, strict=True)
    changes: dict[str, Any] = {"margin.l": SLIM_SIDE, "margin.r": 4, "margin.b": SLIM_BOTTOM}
    changes |= {"yaxis.scaleanchor": False, "yaxis.range": layout["yaxis"]["range"]}
    for i, one in enumerate(layout["annotations"]):
        at, name = f"annotations[{i}]", one.get("name")
        if name == INSIDE:
            changes[f"{at}.text"] = _few_words(*next(inside), crowded=crowded)
        elif name == last_bores.COUNT:
            head, found = one["text"].split("<br>")
            said = found if crowded else f"{head}<br>{found}"
            changes[f"{at}.text"] = "<br>".join(in_lines(t, SLIM_HOLLOW) for t in said.split("<br>"))
            changes[f"{at}.font.size"] = 11
        elif name == cut.EDGE:
            changes |= {f"{at}.font.size": 10, f"{at}.text": cut.in_two_lines(one["text"])}
        elif name == BEYOND:
            changes[f"{at}.visible"] = False
        elif name == SCALE:
            times = local.number(section.exaggeration)
            text = to_say(
                "Depth not to the scale of the bore; walls {times} times larger; sizes in {unit} from nominal"
            )
            changes[f"{at}.text"] = in_lines(say(text, times=times, unit=lengths.unit()), SLIM_LINE)
    return changes


def _few_words(bore: BoreNow, label: str, *, crowded: bool) -> str:
    """Return what stands in the hollow of a bore in a narrow box."""
    number = f'<span style="font-size:{17 if label == bore.bore else 12}px"><b>{label}</b></span>'
    if crowded:
        return number
    lines = [in_lines(_verdict_of(bore), SLIM_HOLLOW), *([say("doubted")] if bore.flags else [])]
    sound = bore.verdict is Verdict.CONFORMS and not bore.flags
    words = [number]  # the longest of them stands between the walls
    words += [f'<span style="font-size:9px">{one if sound else f"<b>{one}</b>"}</span>' for one in lines]
    return "<br>".join([*words, f'<span style="font-size:11px">{theme.um(_average(bore))}</span>'])


def cut_open(
    now: Now,
    bores: Sequence[tuple[Tolerance, BoreNow]],
    centres: Sequence[float],
    section: Section,
    *,
    serial: str | None = None,
    labels: Sequence[str] | None = None,
) -> tuple[list[theme.Trace], list[Any]]:
    """Return bores cut open at their centres, each in its tolerance, and the words in and beside them.

    `serial` is the block they all are of; without it each bore's `part` is. `labels` name the bores; without
    them their numbers do.
    """
    named = labels or [bore.bore for _, bore in bores]
    data, notes = [cut.metal(centres, section)], [{**cut.scale_words(section, DOMAIN[0]), "name": SCALE}]
    for (tolerance, bore), centre, label in zip(bores, centres, named, strict=True):
        data += [*cut.hollow(tolerance, centre, section), cut.limit_lines(tolerance, centre, section)]
        here = replace(now, tolerance=tolerance)
        walls = _walls(here, bore, centre, section) + _rings(here, bore, centre, section)
        walls.append(_number(bore, centre, section))
        data += [opens_bore(t, [serial or bore.part] * len(t["x"]), bore.bore) for t in walls]
        notes += _inside(here, bore, centre, section, label) + _beyond(here, bore, centre, section)
    return data, notes


def depth_axis(now: Now, section: Section) -> dict[str, Any]:
    """Return the axis of depth beside the block."""
    return cut.depth_axis(now.planes, now.depths_mm, section, domain=list(DOMAIN))


def _walls(now: Now, bore: BoreNow, centre: float, section: Section) -> list[theme.Trace]:
    told = [
        [
            f"{p} {direction}: {theme.um_said(v)}<br>{_whose(bore)}"
            for p, v in zip(now.planes, bore.um[:, d], strict=True)
        ]
        for d, direction in enumerate(now.directions)
    ]
    return cut.walls(bore.um, now.depths_mm, centre, section, told=told)


def _whose(bore: BoreNow) -> str:
    """Return which bore a wall is of, when it was read and by which stones it was honed."""
    return (
        say("bore {bore}, {part}", bore=bore.bore, part=bore.part)
        + f"<br>{local.moment(bore.at)}{stones_line(bore.stone_set)}"
    )


def _number(bore: BoreNow, centre: float, section: Section) -> theme.Trace:
    """Return where a bore's number is touched: as large as a finger, and seen by its words alone."""
    said = f"{_verdict_of(bore)}, {theme.um_said(_average(bore))}<br>{_whose(bore)}"
    unseen = {"symbol": "square", "size": FINGER_PX, "color": "rgba(0,0,0,0)"}
    place = {"x": [centre], "y": [section.length / 2], "mode": "markers", "marker": unseen, "text": [said]}
    return theme.points(**place, hoverinfo="text", name="number")


def outside(tolerance: Tolerance, um: float) -> bool:
    """Return whether a reading lies beyond a limit of the drawing."""
    below = tolerance.lower_um is not None and um < tolerance.lower_um
    return below or (tolerance.upper_um is not None and um > tolerance.upper_um)


def _offenders(now: Now, bore: BoreNow) -> list[tuple[int, int, float]]:
    rows, columns = np.nonzero(np.isfinite(bore.um))
    cells = [(int(p), int(d), float(bore.um[p, d])) for p, d in zip(rows, columns, strict=True)]
    return [cell for cell in cells if outside(now.tolerance, cell[2])]


def _rings(now: Now, bore: BoreNow, centre: float, section: Section) -> list[theme.Trace]:
    found = _offenders(now, bore)
    if not found:
        return []
    x = [centre + section.out(um) for _, _, um in found]
    y = [now.depths_mm[p] for p, _, _ in found]
    whose = _whose(bore)
    text = [f"{now.planes[p]} {now.directions[d]}: {theme.um_said(um)}<br>{whose}" for p, d, um in found]
    ring = theme.points(x, y, mode="markers", marker=theme.RING, text=text, name="outside")
    return [{**ring, "hoverinfo": "text"}]


def _beyond(now: Now, bore: BoreNow, centre: float, section: Section) -> list[Any]:
    return [
        theme.word(
            _beyond_words(um, cut=section.cut(um)),
            centre + section.out(um),
            now.depths_mm[p],
            xanchor="right",
            xshift=-12,
            yshift=14 if d == 0 else -14,
            bgcolor=theme.VEIL,
            name=BEYOND,
        )
        for p, d, um in _offenders(now, bore)[:3]
    ]


def _beyond_words(um: float, *, cut: bool) -> str:
    said = f"<b>{say('{size} outside', size=theme.um(um))}</b>"
    return f"{said} {say('(not drawn to its end)')}" if cut else said


def _doubted(flag: Flag) -> str:
    """Return a doubt about a bore, in lines short enough for the hollow it stands in."""
    return "<br>".join(wrap(say("doubted: {what}", what=say(DOUBTS[flag])), HOLLOW))


def _inside(now: Now, bore: BoreNow, centre: float, section: Section, label: str) -> list[Any]:
    """Return the words that stand in the hollow of a bore."""
    lines = [
        f'<span style="font-size:26px"><b>{label}</b></span>',
        f'<span style="font-size:17px"><b>{_verdict_of(bore)}</b></span>',
        f'<span style="font-size:15px">{theme.um_said(_average(bore))}</span>',
        f'<span style="color:{theme.SOFT};font-size:12px">{bore.part}</span>',
        f'<span style="color:{theme.SOFT}">{clock_words(bore.at, now.as_of)}</span>',
        *(f"<b>{_doubted(flag)}</b>" for flag in bore.flags),
    ]
    place = {"xanchor": "center", "font": {"size": 13}, "name": INSIDE}
    return [theme.word("<br>".join(lines), centre, section.length / 2, **place)]


def _average(bore: BoreNow) -> float | None:
    """Return the size of a bore, as far as it was read."""
    return bore.features.get("diameter", float(np.nanmean(bore.um)) if np.isfinite(bore.um).any() else None)


def _verdict_of(bore: BoreNow) -> str:
    """Return the verdict of a bore in words, or that it was not measured whole."""
    missing = bore.verdict is Verdict.UNDECIDED and not np.isfinite(bore.um).all()
    return say("reading missing") if missing else term(bore.verdict.value)


def clock_words(at: datetime, as_of: datetime) -> str:
    """Return the time of a bore, with its date where that is not today's."""
    return local.clock(at) if at.date() == as_of.date() else local.moment(at)


def rows(now: Now) -> dict[str, list[Any]]:
    """Return the readings behind the drawing, one row a reading."""
    found = [
        (s.spindle, b.bore, b.part, b.at.isoformat(), plane, direction, float(b.um[p, d]), b.verdict.value)
        for s in now.spindles
        for b in s.bores
        for p, plane in enumerate(now.planes)
        for d, direction in enumerate(now.directions)
    ]
    names = ("spindle", "bore", "part", "measured_at", "plane", "direction", "deviation_um", "verdict")
    return {name: [row[i] for row in found] for i, name in enumerate(names)}
