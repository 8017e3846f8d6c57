"""One bore in the hand, cut open to scale: its walls now and before, and what the next round should reach."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from cellmon import lengths, local
from cellmon.monitor.answers import Tolerance
from cellmon.monitor.bore import BoreAnswer, BoreNext, BoreSeen, PlaceLeft
from cellmon.records import Numbers
from cellmon.words import say
from dashboards import theme
from dashboards.figures import cut
from dashboards.figures.cut import Section
from dashboards.figures.narrow import in_lines, narrowed, small, words_at

ROOM = 0.12  # of what is drawn, kept free beyond it
BESIDE = 0.95  # of the diameter, for the words at the right of the bore
SLIM_BELOW = 420
"""Width of a box below which it is narrow: on a tablet it is read at arm's length."""
SCALE = "scale"
"""The words of the drawing's scales, by name."""


def hand_bore_figure(answer: BoreAnswer) -> theme.Figure:
    """Draw the last round's walls inside the tolerance, each with the gauge's uncertainty."""
    seen = answer.see
    if seen is None:
        return theme.notice(say("Nothing is measured yet."))
    section = _section(answer, _now(answer, seen))
    half, pad = section.pitch / 2, 0.02 * section.length
    whole = {
        "x": [-half, half + BESIDE * section.diameter],
        "y": [section.length + pad, -pad],
    }
    drawn = theme.figure(
        _traces(answer, seen, section),
        height=None,
        margin={"l": 98, "r": 8, "t": 8, "b": 44},
        annotations=[_scale_words(section), *_words(answer, seen, section)],
        xaxis=theme.hidden_axis(range=whole["x"], fixedrange=True),
        yaxis=_depths(answer, section),
        dragmode=False,
        meta={"whole": whole},
    )
    return narrowed(drawn, _slim(drawn["layout"]["annotations"]), below=SLIM_BELOW)


def _slim(words: Sequence[Any]) -> dict[str, Any]:
    """Return what changes in a narrow box: words are small, depths stand below the names of their planes."""
    changes: dict[str, Any] = {"margin.l": 46, "margin.r": 0, "margin.b": 58, **small(len(words))}
    for i, one in enumerate(words):
        at = words_at(i)
        if one.get("name") == cut.EDGE:
            changes[f"{at}.text"] = cut.in_two_lines(one["text"])
        elif one.get("name") == SCALE:
            changes[f"{at}.text"] = in_lines(one["text"].replace("<br>", " "), 46)
    return changes


def _traces(answer: BoreAnswer, seen: BoreSeen, section: Section) -> list[theme.Trace]:
    """Return the metal, the tolerance, and upon it the round before, what is expected and the walls."""
    um, depths = _now(answer, seen), list(answer.depths_mm.values())
    tolerance = Tolerance(
        lower_um=answer.lower_um, upper_um=answer.upper_um, target_um=answer.target_um, guard_um=seen.guard_um
    )
    return [
        cut.metal([0.0], section),
        *cut.hollow(tolerance, 0.0, section),
        cut.limit_lines(tolerance, 0.0, section),
        cut.upright([answer.target_um], 0.0, section, color=theme.LINE, width=1.2, dash="8px,4px"),
        *_before(answer, section),
        *_expected(answer, section),
        *_doubts(um, seen.uncertainty_um, depths, section),
        *cut.walls(um, depths, 0.0, section, told=_told(seen)),
        *_rings(answer, um, depths, section),
    ]


def _now(answer: BoreAnswer, seen: BoreSeen) -> Numbers:
    values = [np.nan if p.um is None else p.um for p in seen.places]
    return np.array(values).reshape(len(answer.depths_mm), -1)


def _section(answer: BoreAnswer, um: Numbers) -> Section:
    """Return the largest round exaggeration at which limits and walls stay near where they belong."""
    shown = [answer.lower_um, answer.upper_um, 0.0, *um[np.isfinite(um)].tolist()]
    room = ROOM * (max(shown) - min(shown))
    low, high = min(shown) - room, max(shown) + room
    scale = cut.exaggeration_of(max(-low, high), nominal_mm=answer.nominal_mm)
    depths = list(answer.depths_mm.values())
    reach = max(high, 0.0) / 2 * scale / 1000
    return Section(
        diameter=answer.nominal_mm,
        length=answer.length_mm or max(depths) + min(depths),
        exaggeration=scale,
        low_um=low,
        high_um=high,
        pitch=answer.nominal_mm + 2 * reach + 0.12 * answer.nominal_mm,
    )


def _before(answer: BoreAnswer, section: Section) -> list[theme.Trace]:
    """Return the walls of the round before, pale, as far as they lie inside what is drawn."""
    if len(answer.rounds) < 2:
        return []
    values = [np.nan if v is None else v for v in answer.rounds[-2].um.values()]
    um = np.array(values).reshape(len(answer.depths_mm), -1)
    traces = []
    for column, dash in zip(um.T, cut.DASHES, strict=False):
        for side in (-1, 1):
            x = [None if np.isnan(v) or section.cut(v) else side * section.out(v) for v in column]
            line = {"color": theme.QUIET, "width": 1.4, "dash": dash}
            depths = list(answer.depths_mm.values())
            traces.append(theme.points(x, depths, mode="lines", line=line, name="round before"))
    return traces


def _expected(answer: BoreAnswer, section: Section) -> list[theme.Trace]:
    """Return where each plane should be after the next round, 9 times in 10, as a broad pale bar."""
    told = answer.next
    if told is None or not advises_strokes(told):
        return []
    x: list[float | None] = []
    y: list[float | None] = []
    for plane, depth in answer.depths_mm.items():
        for side in (-1, 1):
            x += [side * section.out(told.low_um[plane]), side * section.out(told.high_um[plane]), None]
            y += [depth, depth, None]
    line = {"color": theme.BAR, "width": 7}
    return [theme.points(x, y, mode="lines", line=line, opacity=0.75, name="expected")]


def advises_strokes(told: BoreNext) -> bool:
    """Return whether strokes are advised at all."""
    return told.strokes_full + told.strokes_top + told.strokes_bottom > 0


def _doubts(um: Numbers, doubt_um: float, depths: Sequence[float], section: Section) -> list[theme.Trace]:
    """Return the gauge's uncertainty of each reading as a thin line across its wall."""
    x: list[float | None] = []
    y: list[float | None] = []
    for p, d in zip(*np.nonzero(np.isfinite(um)), strict=True):
        for side in (-1, 1):
            x += [side * section.out(um[p, d] - doubt_um), side * section.out(um[p, d] + doubt_um), None]
            y += [depths[p], depths[p], None]
    return [theme.points(x, y, mode="lines", line={"color": theme.INK, "width": 1.2}, name="uncertainty")]


def _told(seen: BoreSeen) -> list[list[str]]:
    directions = list(dict.fromkeys(p.direction for p in seen.places))
    return [[_place_words(p) for p in seen.places if p.direction == d] for d in directions]


def _place_words(place: PlaceLeft) -> str:
    if place.um is None:
        return say("{place}: not read", place=f"{place.plane} {place.direction}")
    return say(
        "{place}: {um}, {left} to the target",
        place=f"{place.plane} {place.direction}",
        um=theme.um_said(place.um),
        left=theme.um_said(place.to_target_um),
    )


def _rings(answer: BoreAnswer, um: Numbers, depths: Sequence[float], section: Section) -> list[theme.Trace]:
    """Return a ring around each reading past the upper limit: no stroke brings it back."""
    past = [(p, float(um[p, d])) for p, d in zip(*np.nonzero(um > answer.upper_um), strict=True)]
    if not past:
        return []
    x = [section.out(value) for _, value in past]
    return [theme.points(x, [depths[p] for p, _ in past], mode="markers", marker=theme.RING, name="past")]


def _words(answer: BoreAnswer, seen: BoreSeen, section: Section) -> list[Any]:
    """Return what is said beside each plane, and the bore's name in its hollow."""
    named = f'<span style="font-size:26px"><b>{answer.bore}</b></span><br>{answer.part}'
    x = section.pitch / 2 + 0.03 * section.diameter
    beside = [
        theme.word(_beside(seen, plane), x, depth, align="left", yanchor="middle", font={"size": 13})
        for plane, depth in answer.depths_mm.items()
    ]
    middle = theme.word(named, 0.0, section.length / 2, xanchor="center", font={"size": 13})
    return [middle, *beside, *cut.edge_names(_depths(answer, section), section)]


def _depths(answer: BoreAnswer, section: Section) -> dict[str, Any]:
    return cut.depth_axis(list(answer.depths_mm), list(answer.depths_mm.values()), section)


def _beside(seen: BoreSeen, plane: str) -> str:
    mine = [p for p in seen.places if p.plane == plane]
    lefts = [p.to_target_um for p in mine if p.to_target_um is not None]
    lines = [f"<b>{left_words(lefts)}</b>"]
    lines.append("  ".join(f"{p.direction} {theme.um(p.um)}" for p in mine))
    found = [say("tightest {place}", place=p.direction) for p in mine if _name(p) == seen.tight]
    found += [say("widest {place}", place=p.direction) for p in mine if _name(p) == seen.wide]
    across = seen.out_of_round.get(plane)
    if across is not None:
        found.append(say("out of round,<br>wide along {direction}", direction=across))
    over = [p for p in mine if p.to_upper_um is not None and p.to_upper_um < 0]
    if over:
        found.append(f"<b>{say('past the upper limit')}</b>")
    return "<br>".join([*lines, *found])


def _scale_words(section: Section) -> Any:
    text = say(
        "Bore and depth (mm) to one scale; walls {times} times larger,<br>half of each diameter on each wall",
        times=local.number(section.exaggeration),
    )
    return {**cut.below(text, 0.0), "name": SCALE}


def _name(place: PlaceLeft) -> str:
    return f"{place.plane} {place.direction}"


def left_words(lefts: Sequence[float]) -> str:
    """Return what is left to the target at one plane, from its widest to its tightest place."""
    if not lefts:
        return say("not read")
    low, high = lengths.bare(min(lefts), 0), lengths.said(max(lefts), 0)
    if round(min(lefts)) == round(max(lefts)):
        return say("{left} left", left=high)
    return say("{low} to {high} left", low=low, high=high)


def rows(answer: BoreAnswer) -> dict[str, Sequence[Any]]:
    """Return the readings behind the drawing, one row a place."""
    places = () if answer.see is None else answer.see.places
    names = ("plane", "direction", "um", "to_lower_um", "to_target_um", "to_upper_um")
    return {("deviation_um" if name == "um" else name): [getattr(p, name) for p in places] for name in names}
