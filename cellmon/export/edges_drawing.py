"""Bores and edges on paper: the bores in making order inside the tolerance, and its two edges enlarged.

One upright axis of size. At the right only what lies near a limit, with the share of bores beyond
each size on a log scale: steps are the bores measured, the line is the model, the pale band its
interval. The guard band is hatched.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil, floor, log10

import numpy as np

from cellmon.export.paper import Block, Picture
from cellmon.export.pen import ALLOWED, ATTENTION, HAIR, INK, INSIDE, LINE, QUIET, SOFT, Pen, word_width
from cellmon.local import number
from cellmon.monitor.capability_picture import CapabilityPicture, EdgePicture
from cellmon.monitor.capability_words import share_words, signed
from cellmon.records import EventKind, Flags, Numbers, Whole
from cellmon.shifts import to_utc
from cellmon.words import say, to_say

LEAST, MOST = 1e-8, 1.0
"""Shares the log scale begins and ends with: 0.01 in a million to all."""
LABELS = {1e-8: "0.01 ppm", 1e-6: "1 ppm", 1e-4: "100 ppm", 1e-2: "1 %", 1.0: to_say("all")}
AXIS, GAP, LANES, CAPTION = 36.0, 54.0, 35.0, 13.0
LEFT_SHARE = 0.54


@dataclass(frozen=True, kw_only=True)
class Scale:
    """A straight scale from values to points."""

    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        """Return where a value stands."""
        return self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)

    def every(self, values: Numbers) -> list[float]:
        """Return where some values stand."""
        return [self.at(float(v)) for v in values]


@dataclass(frozen=True, kw_only=True)
class Box:
    """A rectangle of the picture, in points."""

    x0: float
    y0: float
    x1: float
    y1: float


def edges_drawing(picture: CapabilityPicture, *, width: float, height: float = 236.0) -> Block:
    """Return the picture of one stream as a block."""
    return Picture(width, height, lambda pen: _draw(pen, picture, width, height))


def _draw(pen: Pen, picture: CapabilityPicture, width: float, height: float) -> None:
    left = Box(x0=AXIS, y0=LANES, x1=AXIS + LEFT_SHARE * (width - AXIS - GAP), y1=height - CAPTION)
    pen.word(
        left.x0,
        height - 8,
        say("bores in the order they were made, {unit}", unit=picture.unit),
        size=7.5,
        ink=SOFT,
    )
    sizes = _sizes(picture, left)
    _tolerance(pen, picture, left, sizes)
    _bores(pen, picture, left, sizes)
    _lanes(pen, picture, left)
    right = Box(x0=left.x1 + GAP, y0=LANES, x1=width, y1=height - CAPTION)
    for edge, box in zip(picture.edges, _panels(picture.edges, right), strict=True):
        _edge(pen, picture, edge, box)
        _enlarged(pen, edge, box, left, sizes)


def _sizes(picture: CapabilityPicture, box: Box) -> Scale:
    """Return the size axis: the limits and all bores, up to a tolerance beyond each limit."""
    limits = [e.limit_um for e in picture.edges]
    kept = ~picture.left_out
    seen = np.concatenate([picture.least_um[kept], picture.greatest_um[kept]])
    seen = seen[np.isfinite(seen)]
    low = min([*limits, *seen.tolist()], default=0.0)
    high = max([*limits, *seen.tolist()], default=1.0)
    if len(limits) == 2:
        room = 0.5 * (limits[1] - limits[0])
        low, high = max(low, limits[0] - room), min(high, limits[1] + room)
    pad = 0.05 * (high - low or 1.0)
    return Scale(low=low - pad, high=high + pad, start=box.y0, end=box.y1)


def _tolerance(pen: Pen, picture: CapabilityPicture, box: Box, sizes: Scale) -> None:
    tolerance = picture.tolerance
    bottom = box.y0 if tolerance.lower_um is None else sizes.at(tolerance.lower_um)
    top = box.y1 if tolerance.upper_um is None else sizes.at(tolerance.upper_um)
    pen.box(box.x0, bottom, box.x1, top, fill=ALLOWED)
    guard = tolerance.guard_um or 0.0
    if guard:
        reach = sizes.at(guard) - sizes.at(0.0)
        if tolerance.lower_um is not None:
            pen.hatched(box.x0, bottom, box.x1, bottom + reach)
        if tolerance.upper_um is not None:
            pen.hatched(box.x0, top - reach, box.x1, top)
    if tolerance.target_um is not None:
        pen.line(box.x0, sizes.at(tolerance.target_um), box.x1, sizes.at(tolerance.target_um), ink=QUIET)
    named = (
        (say("lower"), tolerance.lower_um),
        (say("aim"), tolerance.target_um),
        (say("upper"), tolerance.upper_um),
    )
    for name, value in named:
        if value is not None:
            y = sizes.at(value)
            pen.word(box.x0 - 4, y - 2.5 + 3.5, name, size=6.5, ink=SOFT, anchor="end")
            pen.word(box.x0 - 4, y - 2.5 - 3.5, signed(value), size=7, anchor="end")
            if value != tolerance.target_um:
                pen.line(box.x0, y, box.x1, y, width=1.0)


def _bores(pen: Pen, picture: CapabilityPicture, box: Box, sizes: Scale) -> None:
    count = len(picture.part)
    if not count:
        pen.word((box.x0 + box.x1) / 2, (box.y0 + box.y1) / 2, say("no bore"), ink=SOFT, anchor="middle")
        return
    place = _places(count, box)
    kept = ~picture.left_out
    with pen.inside(box.x0, box.y0, box.x1, box.y1):
        for x, rows in _columns(place, kept, box):
            low, high = picture.least_um[rows].min(), picture.greatest_um[rows].max()
            pen.line(x, sizes.at(low), x, sizes.at(high), ink=LINE, width=0.7)
            middle = float(np.mean(picture.value_um[rows]))
            pen.line(x, sizes.at(middle) - 0.8, x, sizes.at(middle) + 0.8, ink=INK, width=0.9)
        for i in _beyond(picture):
            value = picture.greatest_um[i] if i in _above(picture) else picture.least_um[i]
            pen.ring(place[i], sizes.at(float(value)), radius=3.2)


def _places(count: int, box: Box) -> Numbers:
    inset = 3.0
    return (
        np.linspace(box.x0 + inset, box.x1 - inset, count) if count > 1 else np.array([(box.x0 + box.x1) / 2])
    )


def _columns(place: Numbers, kept: Flags, box: Box) -> Iterator[tuple[float, Whole]]:
    """Yield where a stroke stands and the bores it is of: one each, or many where they are too dense."""
    rows = np.flatnonzero(kept)
    if not len(rows):
        return
    pitch = 1.1
    which = np.floor((place[rows] - box.x0) / pitch).astype(int)
    for column in np.unique(which):
        mine = rows[which == column]
        yield float(place[mine].mean()), mine


def _above(picture: CapabilityPicture) -> set[int]:
    upper = picture.tolerance.upper_um
    return set() if upper is None else set(np.flatnonzero(picture.greatest_um > upper).tolist())


def _beyond(picture: CapabilityPicture) -> list[int]:
    """Return the counted bores measured beyond a limit."""
    lower = picture.tolerance.lower_um
    below = set() if lower is None else set(np.flatnonzero(picture.least_um < lower).tolist())
    return sorted(i for i in below | _above(picture) if not picture.left_out[i])


def _lanes(pen: Pen, picture: CapabilityPicture, box: Box) -> None:
    """Draw below the bores which were left out, when stones were fitted or dressed, and the ends."""
    count = len(picture.part)
    if not count:
        return
    place = _places(count, box)
    out = [(float(x), box.y0 - 7.0) for x in place[picture.left_out]]
    pen.word(box.x0 - 4, box.y0 - 7, say("left out"), size=6.5, ink=SOFT, anchor="end")
    pen.strokes(out, dy=4.5, ink=INK, width=0.35)
    pen.word(box.x0 - 4, box.y0 - 15, say("stones"), size=6.5, ink=SOFT, anchor="end")
    for event in picture.events:
        if event.kind not in (EventKind.STONES_FITTED, EventKind.STONES_DRESSED):
            continue
        row = min(int(np.searchsorted(picture.at, to_utc(event.at))), count - 1)
        x, fitted = float(place[row]), event.kind == EventKind.STONES_FITTED
        size = 3.2 if fitted else 1.6
        y = box.y0 - 15.5
        pen.area([(x - size, y), (x + size, y), (x, y + 1.7 * size)], fill=INK if fitted else LINE)
    for row, x, anchor in ((0, box.x0, "start"), (count - 1, box.x1, "end")):
        pen.word(x, box.y0 - 25, f"{picture.part[row]}", size=6.5, ink=SOFT, anchor=anchor)
    pen.word((box.x0 + box.x1) / 2, box.y0 - 25, _count_words(picture), size=6.5, ink=SOFT, anchor="middle")
    pen.word(box.x0, box.y0 - 33, say("large mark: new stones, small: dressed"), size=6.2, ink=SOFT)


def _count_words(picture: CapabilityPicture) -> str:
    out = int(picture.left_out.sum())
    count = number(len(picture.part))
    if not out:
        return say("{count} bores", count=count)
    return say("{count} bores, {out} of them left out", count=count, out=number(out))


def _panels(edges: Sequence[EdgePicture], box: Box) -> list[Box]:
    """Return the room of each edge: the upper one above."""
    if len(edges) == 1:
        return [box]
    half, between = (box.y0 + box.y1 - CAPTION) / 2, CAPTION
    return [
        Box(x0=box.x0, y0=box.y0, x1=box.x1, y1=half)
        if edge.side == "lower"
        else Box(x0=box.x0, y0=half + between, x1=box.x1, y1=box.y1)
        for edge in edges
    ]


def _edge(pen: Pen, picture: CapabilityPicture, edge: EdgePicture, box: Box) -> None:
    sizes = Scale(low=float(edge.size_um[0]), high=float(edge.size_um[-1]), start=box.y0, end=box.y1)
    shares = Scale(low=log10(LEAST), high=log10(MOST), start=box.x0, end=box.x1)
    upper = edge.side == "upper"
    limit = sizes.at(edge.limit_um)
    pen.box(box.x0, box.y0 if upper else limit, box.x1, limit if upper else box.y1, fill=ALLOWED)
    for decade in range(-8, 1):
        x = shares.at(decade)
        pen.line(x, box.y0, x, box.y1, ink=HAIR, width=0.4)
    with pen.inside(box.x0, box.y0, box.x1, box.y1):
        _model(pen, edge, sizes, shares)
        if picture.tolerance.guard_um:
            reach = (sizes.at(picture.tolerance.guard_um) - sizes.at(0.0)) * (-1 if upper else 1)
            pen.hatched(box.x0, min(limit, limit + reach), box.x1, max(limit, limit + reach))
        _seen(pen, edge, sizes, shares)
    pen.line(box.x0, limit, box.x1, limit, width=1.0)
    _edge_words(pen, edge, box, sizes, shares)


def _model(pen: Pen, edge: EdgePicture, sizes: Scale, shares: Scale) -> None:
    if not np.isfinite(edge.share).all():
        return
    ys = sizes.every(edge.size_um)
    low, middle, high = (shares.every(_logs(s)) for s in (edge.share_low, edge.share, edge.share_high))
    band = [*zip(low, ys, strict=True), *reversed(list(zip(high, ys, strict=True)))]
    pen.area(band, fill=INSIDE)
    pen.lines(list(zip(middle, ys, strict=True)), ink=INK, width=1.0)


def _logs(share: Numbers) -> Numbers:
    return np.asarray(np.log10(np.clip(share, 1e-12, 1.0)))


def _seen(pen: Pen, edge: EdgePicture, sizes: Scale, shares: Scale) -> None:
    """Draw the steps of the bores measured; the last one falls to nought."""
    xs, ys = shares.every(_logs(edge.seen_share)), sizes.every(edge.seen_size_um)
    path: list[tuple[float, float]] = []
    if edge.side == "upper":
        for i, (x, y) in enumerate(zip(xs, ys, strict=True)):
            path += [(x, ys[i - 1] if i else y), (x, y)]
        path.append((shares.start, ys[-1]))
    else:
        path.append((shares.start, ys[0]))
        for i, (x, y) in enumerate(zip(xs, ys, strict=True)):
            path += [(x, y), (x, ys[i + 1] if i + 1 < len(ys) else y)]
    pen.lines(path, ink=ATTENTION, width=0.9)


def _edge_words(pen: Pen, edge: EdgePicture, box: Box, sizes: Scale, shares: Scale) -> None:
    for value in _ticks(sizes.low, sizes.high):
        y = sizes.at(value)
        if abs(value - edge.limit_um) > 0.1 * (sizes.high - sizes.low):
            pen.word(box.x0 - 4, y - 2.3, signed(value), size=6.5, ink=SOFT, anchor="end")
    pen.word(box.x0 - 4, sizes.at(edge.limit_um) - 2.3, signed(edge.limit_um), size=7, anchor="end")
    lowest = edge.side == "lower" or box.y0 <= LANES
    if lowest:
        for share, name in LABELS.items():
            anchor = "start" if share == LEAST else "end" if share == MOST else "middle"
            pen.word(shares.at(log10(share)), box.y0 - 9, say(name), size=6.5, ink=SOFT, anchor=anchor)
        pen.word(box.x0, box.y0 - 18, say("share of bores beyond each size"), size=6.5, ink=SOFT)
        pen.word(box.x0, box.y0 - 26, say("steps: measured; line: model; band: its 95 %"), size=6.5, ink=SOFT)
    words, room = _beyond_words(edge), box.x1 - box.x0
    pen.word(box.x0, box.y1 + 4, words, size=min(7.0, 7.0 * room / word_width(words, size=7.0)))


def _beyond_words(edge: EdgePicture) -> str:
    """Say what share lies beyond the limit: by the model and as measured."""
    side, seen = say(edge.side), number(edge.seen_beyond)
    if not np.isfinite(edge.share).all():
        return say("beyond {side}: too few bores for a model, {seen} measured", side=side, seen=seen)
    at = [
        10 ** float(np.interp(edge.limit_um, edge.size_um, np.log10(np.clip(share, 1e-15, 1.0))))
        for share in (edge.share, edge.share_low, edge.share_high)
    ]
    low, high = share_words(at[1]), share_words(at[2])
    between = low if low == high else say("{low} to {high}", low=low, high=high)
    text = to_say("beyond {side}: model {share} ({between}), {seen} measured")
    return say(text, side=side, share=share_words(at[0]), between=between, seen=seen)


def _enlarged(pen: Pen, edge: EdgePicture, box: Box, left: Box, sizes: Scale) -> None:
    """Join an edge to the stretch of the size axis it enlarges."""
    for value, y in ((edge.size_um[0], box.y0), (edge.size_um[-1], box.y1)):
        own = min(max(sizes.at(float(value)), left.y0), left.y1)
        pen.line(left.x1, own, box.x0 - 26, y, ink=QUIET, width=0.5, dash=(1.5, 2))


def _ticks(low: float, high: float) -> list[float]:
    """Return round values between two."""
    rough = (high - low) / 5
    power = 10 ** floor(log10(rough))
    step = next(m * power for m in (1, 2, 5, 10) if m * power >= rough)
    return [i * step for i in range(ceil(low / step), floor(high / step) + 1)]
