"""Shapes of bores honed by hand on paper: as received and as finished, all at one stated exaggeration."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from cellmon.export.paper import Block, Picture
from cellmon.export.pen import HAIR, INK, LINE, SOFT, Pen
from cellmon.local import number
from cellmon.monitor.bore.record_results import HandRecord, RecordBore
from cellmon.words import say, to_say

STEPS = (20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000)
DASHES: Sequence[tuple[tuple[float, ...], ...]] = ((), ((3.0, 2.0),), ((1.0, 2.0),), ((5.0, 2.0, 1.0, 2.0),))
FORMS = (
    to_say("{direction} solid"),
    to_say("{direction} dashed"),
    to_say("{direction} dotted"),
    to_say("{direction} dash-dotted"),
)
FOOT, HEAD = 12.0, 20.0
GAP, NAMES = 10.0, 30.0
Um = Mapping[str, float | None]


def shapes_drawing(record: HandRecord, *, width: float, height: float) -> Block:
    """Return two upright strips a bore, received and finished, each about its own mean size.

    Depth runs downwards; a place lies to the right of the thin line where it is wider than the mean. A line
    a direction, straight between the planes. The same exaggeration holds for every strip.
    """
    strips = [
        (one.bore, word, sizes)
        for one in record.bores
        for word, sizes in ((say("received"), one.received), (after_word(record, one), one.after))
    ]
    each = (width - NAMES) / max(len(strips), 1)
    down = (height - FOOT - HEAD) / (max(record.planes.values()) * 1.08)  # points a millimetre of depth
    scale = exaggeration(record, room=(each - GAP) / 2, down=down)

    def draw(pen: Pen) -> None:
        for plane, depth in record.planes.items():
            pen.word(0, height - HEAD - depth * down - 2, plane, size=6, ink=SOFT)
        for i, (bore, word, sizes) in enumerate(strips):
            left = NAMES + i * each
            middle = left + (each - GAP) / 2
            pen.word(left, height - 9, f"{bore} {word}", size=7)
            pen.line(middle, FOOT, middle, height - HEAD, ink=LINE, width=0.4)
            for depth in record.planes.values():
                y = height - HEAD - depth * down
                pen.line(left, y, left + each - GAP, y, ink=HAIR, width=0.4)
            if sizes is not None:
                _shape(pen, record, sizes.um, x=middle, top=height - HEAD, down=down, scale=scale)
        pen.word(
            0,
            2,
            say("Shapes: draw them here.") if record.blank else _words(record, scale),
            size=6.5,
            ink=SOFT,
        )

    return Picture(width, height, draw)


def after_word(record: HandRecord, one: RecordBore) -> str:
    """Return what the last sizes of a bore are called: finished only where they are, or on a blank form."""
    return say("finished") if one.finished or record.blank else say("last")


def exaggeration(record: HandRecord, *, room: float, down: float) -> int:
    """Return the largest round exaggeration at which every shape fits into half a strip, `room` points.

    `down` is how many points a millimetre of depth takes; the exaggeration is against that scale.
    """
    spans = [
        max(abs(v - _mean(s.um)) for v in s.um.values() if v is not None)
        for one in record.bores
        for s in (one.received, one.after)
        if s is not None and any(v is not None for v in s.um.values())
    ]
    most = max([*spans, 1e-3]) / 1000 * down
    fits = [step for step in STEPS if step * most <= room]
    return fits[-1] if fits else STEPS[0]


def _mean(um: Um) -> float:
    known = [v for v in um.values() if v is not None]
    return sum(known) / len(known) if known else 0.0


def _shape(pen: Pen, record: HandRecord, um: Um, *, x: float, top: float, down: float, scale: int) -> None:
    mean = _mean(um)
    for d, direction in enumerate(record.directions):
        points = [
            (x + (value - mean) / 1000 * down * scale, top - depth * down)
            for plane, depth in record.planes.items()
            if (value := um.get(f"{plane}_{direction}")) is not None
        ]
        pen.lines(points, ink=INK, width=1.0, dash=DASHES[d % len(DASHES)])
        pen.dots(points, radius=1.3)


def _words(record: HandRecord, scale: int) -> str:
    lines = ", ".join(
        say(FORMS[d % len(FORMS)], direction=direction) for d, direction in enumerate(record.directions)
    )
    return say(
        "Deviation of the diameter from each bore's own mean drawn {scale} times; {lines}.",
        scale=number(scale),
        lines=lines,
    )
