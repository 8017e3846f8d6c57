"""The tolerance ruler: a tolerance to scale, and below it what repeats, persons and parts take of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from cellmon import lengths, local
from cellmon.lengths import Shown
from cellmon.monitor.answers import Estimate
from cellmon.monitor.gauge import ENOUGH, LIMITED, StudyAnswer, StudyFeature, Zone
from cellmon.records.words import feature_words
from cellmon.words import say, to_say
from dashboards import theme
from dashboards.figures.narrow import narrowed
from dashboards.figures.scaled import scaled

TOP, BOTTOM, LEFT, RIGHT = 28, 44, 132, 150
WIDER = 230
"""At the right, for words in inches."""
RULER, LENGTH, GAP = 34, 22, 26
"""Pixels: the ruler of a feature, each length below it, and the room before the next."""
STEPS = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0)
MOST_MARKS = 26
NAMED, SIZED, TOLD = "named", "sized", "told"
"""Words of the drawing, by name: of a ruler or a length, of its tolerance, of how long it is."""
ABOVE_PX, SLIM_BELOW = 10, 520
LABELLED = 5
"""Marks of a ruler from one figure on the axis to the next: the long ones."""
NAMES = {
    to_say("repeats"): "repeatability_um",
    to_say("persons"): "reproducibility_um",
    to_say("gauge"): "gauge_um",
    to_say("parts"): "part_um",
}


@dataclass(frozen=True, kw_only=True)
class Length:
    """One length below a ruler, micrometres, with the end of its interval."""

    name: str
    um: float
    high_um: float | None
    words: str
    attention: bool


@dataclass(frozen=True, kw_only=True)
class Ruler:
    """One feature: its tolerance, the guard band at each end of it, and the lengths below."""

    feature: str
    tolerance_um: float
    guard_um: float
    guard_below: bool
    lengths: tuple[Length, ...]


def rulers_of(study: StudyAnswer, zones: Sequence[Zone]) -> tuple[Ruler, ...]:
    """Return a ruler for every feature of a study that has a tolerance and a figure."""
    found = []
    for f in study.features:
        if f.tolerance_um is not None and f.gauge_um is not None:
            name = "diameter" if f.feature == "one reading" else f.feature
            zone = next((z for z in zones if z.feature == name), None)
            found.append(
                Ruler(
                    feature=f.feature,
                    tolerance_um=f.tolerance_um,
                    guard_um=0.0 if zone is None else zone.guard_um,
                    guard_below=zone is not None and zone.lower_um is not None,
                    lengths=lengths_of(f, study.sigmas),
                )
            )
    return tuple(found)


def lengths_of(f: StudyFeature, sigmas: float) -> tuple[Length, ...]:
    """Return the lengths of one feature: so many standard deviations each; a bias as it is."""
    found = []
    if f.bias_um is not None and f.bias_um.value is not None:
        low, high = f.bias_um.low or 0.0, f.bias_um.high or 0.0
        proven = low > 0 or high < 0
        off = theme.um_said(f.bias_um.value, 2)
        words = say("reads {off} off", off=off) if proven else say("reads {off} off, not proven", off=off)
        ends = max(abs(low), abs(high))
        found.append(
            Length(name=to_say("off"), um=abs(f.bias_um.value), high_um=ends, words=words, attention=False)
        )
    for name, field in NAMES.items():
        spread: Estimate | None = getattr(f, field)
        only = name == "gauge" and f.reproducibility_um is None
        if spread is None or spread.value is None or only:
            continue
        um = sigmas * spread.value
        is_gauge = name == "gauge" or (name == "repeats" and f.reproducibility_um is None)
        share = f.of_tolerance.value if f.of_tolerance and f.of_tolerance.value is not None else None
        bad = is_gauge and share is not None and share > ENOUGH
        found.append(
            Length(
                name=name,
                um=um,
                high_um=None if spread.high is None else sigmas * spread.high,
                words=_words(um, share if is_gauge else None),
                attention=bad,
            )
        )
    return tuple(found)


def _words(um: float, share: float | None) -> str:
    said = lengths.said(um, 1)
    if share is None:
        return said
    said += f", {local.number(share)} %"
    if share <= ENOUGH:
        return said
    return say("{share}: with care", share=said) if share <= LIMITED else say("{share}: too much", share=said)


def height_of(rulers: Sequence[Ruler]) -> int:
    """Return the height that so many rulers need."""
    return TOP + BOTTOM + sum(RULER + LENGTH * len(r.lengths) + GAP for r in rulers)


def ruler_figure(rulers: Sequence[Ruler]) -> theme.Figure:
    """Draw the rulers one below the other on one scale; what reaches past its ruler is cut there and said."""
    if not rulers:
        return theme.notice(say("No feature of this study has a tolerance and a figure."), height=200)
    height = height_of(rulers)
    longest = max(r.tolerance_um for r in rulers)
    drawing = _Drawing(longest=longest, height=height - TOP - BOTTOM)
    y = 0.0
    for ruler in rulers:
        drawing.ruler(ruler, y)
        y += RULER + LENGTH * len(ruler.lengths) + GAP
    step = _step(longest)
    drawn = theme.figure(
        drawing.traces,
        height=height,
        margin={"l": LEFT, "r": RIGHT if lengths.shown() is Shown.MM else WIDER, "t": TOP, "b": BOTTOM},
        xaxis=theme.axis(
            say("{unit}, to scale", unit=lengths.axis_unit()),
            range=[0, longest],
            dtick=LABELLED * step,
            fixedrange=True,
        ),
        yaxis=theme.hidden_axis(range=[height - TOP - BOTTOM, 0], fixedrange=True),
        shapes=drawing.shapes,
        annotations=drawing.words,
        dragmode=False,
    )
    drawn = scaled(drawn, "x")
    return narrowed(drawn, _slim(drawn), below=SLIM_BELOW)


def _slim(drawn: theme.Figure) -> dict[str, Any]:
    """Return what changes in a narrow box: a name and its figure stand in the ruler, or above the length."""
    layout = drawn["layout"]
    changes: dict[str, Any] = {"margin.l": 10, "margin.r": 10}
    named = ""
    for i, one in enumerate(layout["annotations"]):
        at, name = f"annotations[{i}]", one.get("name")
        if name == NAMED:
            named = one["text"]
            changes[f"{at}.visible"] = False
        elif name in (SIZED, TOLD):
            changes |= {f"{at}.text": f"{named}  {one['text']}", f"{at}.x": 0, f"{at}.xshift": 4}
            changes |= {f"{at}.font.size": 9.5, f"{at}.bgcolor": "rgba(0,0,0,0)"}
            changes[f"{at}.yshift"] = ABOVE_PX if name == TOLD else -4
    return changes


def _step(longest: float) -> float:
    """Return a step of the marks in µm that is round in the unit on the axis."""
    unit = lengths.UM_PER_TENTH if lengths.is_inch() else 1.0
    return unit * next((s for s in STEPS if longest / unit / s <= MOST_MARKS), STEPS[-1])


class _Drawing:
    """Traces, shapes and words of the rulers; y runs down in pixels."""

    def __init__(self, *, longest: float, height: float) -> None:
        self.longest, self.height = longest, height
        self.traces: list[theme.Trace] = []
        self.shapes: list[Any] = []
        self.words: list[Any] = []

    def ruler(self, ruler: Ruler, y: float) -> None:
        """Draw one feature from y down."""
        foot = y + RULER - 6
        self._box(0, ruler.tolerance_um, y, foot, theme.ALLOWED)
        guard = min(ruler.guard_um, ruler.tolerance_um / 2)
        if guard > 0:
            self.traces.append(theme.hatched(ruler.tolerance_um - guard, ruler.tolerance_um, y, foot))
            if ruler.guard_below:
                self.traces.append(theme.hatched(0, guard, y, foot))
        self._marks(ruler, y)
        below = foot + 4 + LENGTH * len(ruler.lengths)
        for share in (ENOUGH, LIMITED):
            self._share(ruler, share, foot, below)
        title = f"<b>{feature_words(ruler.feature)}</b>"
        self._word(title, -8, (y + foot) / 2, xanchor="right", pixels=True, name=NAMED)
        size = say("tolerance {size}", size=lengths.said(ruler.tolerance_um, None))
        self._word(size, ruler.tolerance_um, (y + foot) / 2, shift=8, soft=True, name=SIZED)
        for i, length in enumerate(ruler.lengths):
            self._length(ruler, length, foot + 4 + LENGTH * (i + 0.5))

    def _marks(self, ruler: Ruler, y: float) -> None:
        """Draw the marks of a ruler along its upper edge, every fifth longer."""
        step = _step(self.longest)
        xs: list[float | None] = []
        ys: list[float | None] = []
        for i in range(int(ruler.tolerance_um / step + 1e-9) + 1):
            tall = 13 if i % 5 == 0 else 7
            xs += [i * step, i * step, None]
            ys += [y, y + tall, None]
        ends = [0.0, ruler.tolerance_um]
        edge = {"color": theme.INK, "width": 1}
        self.traces.append(theme.points(xs, ys, mode="lines", line=edge, name="marks"))
        self.traces.append(theme.points(ends, [y, y], mode="lines", line=edge, name=ruler.feature))

    def _share(self, ruler: Ruler, share: float, top: float, bottom: float) -> None:
        """Draw where a tenth and three tenths of the tolerance lie, through the lengths below."""
        x = ruler.tolerance_um * share / 100
        line = {"color": theme.LINE, "width": 1, "dash": "dot"}
        self.shapes.append({"type": "line", "x0": x, "x1": x, "y0": top, "y1": bottom, "line": line})
        if ruler.tolerance_um > 0.6 * self.longest:  # on a shorter one the words would meet
            self._word(f"{local.number(share)} %", x, bottom + 7, xanchor="center", soft=True, size=10.5)

    def _length(self, ruler: Ruler, length: Length, y: float) -> None:
        end = min(length.um, ruler.tolerance_um)
        cut = length.um > ruler.tolerance_um
        colour = theme.ATTENTION if length.attention else theme.INK if length.name != "parts" else theme.LINE
        self._box(0, max(end, self.longest * 0.0015), y - 4, y + 4, colour)
        high = None if length.high_um is None else min(length.high_um, ruler.tolerance_um)
        if high is not None and high > end and not cut:
            whisker = {"color": colour, "width": 1.2}
            self.traces.append(
                theme.points([end, high], [y, y], mode="lines", line=whisker, name="upper end")
            )
            far = (length.high_um or 0.0) > ruler.tolerance_um
            mark = {"symbol": "triangle-right" if far else "line-ns", "size": 7, "color": colour}
            mark["line"] = {"width": 1.2, "color": colour}
            self.traces.append(theme.points([high], [y], mode="markers", marker=mark, name="upper end"))
        self._word(say(length.name), -8, y, xanchor="right", soft=True, pixels=True, name=NAMED)
        if cut:
            mark = {"symbol": "triangle-right", "size": 11, "color": colour}
            tip = theme.points([end], [y], mode="markers", marker=mark, cliponaxis=False, name="cut")
            self.traces.append(tip)
        words = say("{length}, cut here", length=length.words) if cut else length.words
        self._word(words, max(end, high or 0.0), y, shift=12, name=TOLD)

    def _box(self, x0: float, x1: float, y0: float, y1: float, colour: str) -> None:
        box = {"type": "rect", "x0": x0, "x1": x1, "y0": y0, "y1": y1, "fillcolor": colour}
        self.shapes.append({**box, "line": {"width": 0}, "layer": "below"})

    def _word(
        self,
        text: str,
        x: float,
        y: float,
        *,
        xanchor: str = "left",
        shift: float = 0.0,
        soft: bool = False,
        size: float = 12.5,
        pixels: bool = False,
        name: str = "",
    ) -> None:
        more: dict[str, Any] = {"xanchor": xanchor, "yanchor": "middle", "xshift": shift, "visible": True}
        more |= {"name": name} if name else {}
        if pixels:
            more |= {"xref": "paper", "xshift": x}
            x = 0.0
        font = {"size": size, "color": theme.SOFT if soft else theme.INK}
        ground = {"bgcolor": theme.PAPER, "borderpad": 1} if size > 11 and not soft else {}
        self.words.append(theme.word(text, x, y, font=font, **more, **ground))


def rows(rulers: Sequence[Ruler]) -> dict[str, list[Any]]:
    """Return the lengths as columns, one row a length."""
    every = [(r, one) for r in rulers for one in r.lengths]
    return {
        "feature": [r.feature for r, _ in every],
        "tolerance_um": [r.tolerance_um for r, _ in every],
        "guard_um": [r.guard_um for r, _ in every],
        "length": [one.name for _, one in every],
        "um": [one.um for _, one in every],
        "upper_um": [one.high_um for _, one in every],
        "words": [one.words for _, one in every],
    }
