"""One block's record on paper: what was measured, by what it was judged, what was decided, where from."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from cellmon import local
from cellmon.export.paper import (
    Block,
    Head,
    Leaf,
    PaperSize,
    facts,
    heading,
    inner_width,
    lead,
    pdf,
    small,
    space,
    table,
    text,
    together,
)
from cellmon.export.part_drawing import rounds_drawing, walls_drawing
from cellmon.monitor.part import PartNote, PartStory
from cellmon.monitor.part_bores import PartMeasurement, drawn
from cellmon.monitor.part_judged import JudgedAgainst, figure_name, side_by_side
from cellmon.monitor.part_said import doubt_words, older_lists, trace_words
from cellmon.monitor.part_signals import PartSignal
from cellmon.records import Verdict
from cellmon.words import say, to_say

WALLS = 190.0
ROUNDS = 170.0
AT_ONCE = 5
CAPTION = to_say(
    "One strip a bore, depth downwards in mm: a line for each direction, straight between the planes, where "
    "nothing was read. Pale: tolerance; hatched: guard band; dotted: nominal; ring: a reading outside."
)


def part_pdf(story: PartStory, *, cell: str, size: PaperSize = PaperSize.A4) -> bytes:
    """Return one block's record as the bytes of a PDF; the same answer gives the same bytes."""
    return pdf(part_leaves(story, size=size), head=part_head(story, cell=cell), size=size)


def part_head(story: PartStory, *, cell: str) -> Head:
    """Return what stands at the head and foot of every page."""
    return Head(
        kind=say("Record of one part"),
        cell=cell,
        as_of=story.as_of,
        sheet=story.sheet,
        foot=say("Says what was measured and decided, not that the part is fit for use."),
    )


def part_leaves(story: PartStory, *, size: PaperSize = PaperSize.A4) -> tuple[Leaf, ...]:
    """Return the one leaf of a block; it flows on over as many pages as it needs."""
    room = inner_width(size)
    return (Leaf(title=say("Part {part}", part=story.part), blocks=list(_blocks(story, room))),)


def _blocks(story: PartStory, room: float) -> Iterator[Block]:
    yield lead(story.sentence)
    yield facts(list(_facts(story)), room=room)
    yield space()
    shown = drawn(story.measurements)
    if shown and story.depths_mm:
        yield walls_drawing(shown, story.depths_mm, width=room, height=WALLS)
        yield small(say(CAPTION))
    yield heading(say("Readings, µm from nominal"))
    yield _readings(story, room)
    yield heading(say("What the verdicts rest on"))
    yield from _judged(story, room)
    yield heading(say("What happened to it"))
    rows = [(f"{e.at:%Y-%m-%d %H:%M:%S}", f"{e.words[:1].upper()}{e.words[1:]}.") for e in story.happened]
    yield table((say("when"), say("what")), rows, widths=(1.4, 5), room=room)
    yield from _held(story, room)
    yield heading(say("How it was made"))
    yield _made(story, room)
    yield from _noted(story, room)
    yield from _traced(story, room)
    yield from _doubts(story)
    yield heading(say("Where it comes from"))
    yield _origins(story, room)
    yield space(4)
    yield text(story.meant)


def _facts(story: PartStory) -> Iterator[tuple[str, str]]:
    number, revision = story.part_number, story.revision
    drawing = say("{number}, revision {revision}", number=number, revision=revision) if revision else number
    yield say("drawing"), drawing
    if story.nominal_mm is not None:
        yield say("nominal"), f"{local.number(story.nominal_mm, 4)} mm"
    m = story.measurements[0]
    versions = sorted({x.sheet_version for x in story.measurements if x.sheet_version is not None})
    yield say("judged by"), say("sheet version {versions}", versions=", ".join(map(str, versions)))
    if m.rule == "guarded":
        rule = to_say("guarded (ISO 14253-1), conformance {percent} %; the worst figure decides")
        yield say("rule"), say(rule, percent=local.significant(100 * (m.conformance or 0)))
    elif m.rule is not None:
        yield (
            say("rule"),
            say("simple: on or inside a limit conforms, no guard band; the worst figure decides"),
        )


def _um(value: float | None, digits: int = 1) -> str:
    if value is None or not np.isfinite(value):
        return "–"
    return local.number(value, digits, sign=True)


def _readings(story: PartStory, room: float) -> Block:
    names = list(dict.fromkeys((p, d) for m in story.measurements for p in m.planes for d in m.directions))
    rows = []
    for m in story.measurements:
        read = {(p, d): float(m.um[i, j]) for i, p in enumerate(m.planes) for j, d in enumerate(m.directions)}
        cells = [_um(read.get(name)) for name in names]
        charted = say("yes") if m.charted else say("no")
        rows.append([m.bore, m.gauge, f"{m.at:%Y-%m-%d %H:%M:%S}", *cells, say(m.verdict.value), charted])
    head = [say("bore"), say("gauge"), say("measured"), *(f"{p} {d}" for p, d in names)]
    head += [say("verdict"), say("charted")]
    widths = [0.7, 0.9, 2.4, *([1.0] * len(names)), 1.8, 1.0]
    return table(head, rows, widths=widths, figures=range(3, 3 + len(names)), room=room)


def _judged(story: PartStory, room: float) -> Iterator[Block]:
    """Yield the judged figures, a column a measurement; so many at once as a page is wide."""
    shown = [m for m in story.measurements if m.charted or m.verdict is not Verdict.CONFORMS]
    for begin in range(0, len(shown), AT_ONCE):
        some = shown[begin : begin + AT_ONCE]
        names = [say("bore {bore}", bore=m.bore) + ("" if m.charted else f"\n{m.gauge}") for m in some]
        head = [say("figure, µm"), say("lower"), say("upper"), "u (k = 1)", say("guard band"), *names]
        rows = [
            [
                figure_name(row.feature, row.figure),
                *(_um(row.lower_um), _um(row.upper_um)),
                *(local.number(row.u_um, 2), local.number(row.guard_um, 2)),
                *(_held_against(j) for j in row.of),
            ]
            for row in side_by_side(some)
        ]
        widths = [2.4, 0.9, 0.9, 1.0, 1.1, *([1.25] * len(some))]
        yield table(head, rows, widths=widths, figures=range(1, len(head)), room=room)


def _held_against(judged: JudgedAgainst | None) -> str:
    """Return a figure, with its verdict below where it is not proven inside."""
    if judged is None:
        return "–"
    verdict = "" if judged.verdict is Verdict.CONFORMS else f"\n{say(judged.verdict.value)}"
    return _um(judged.value_um, 2) + verdict


def _held(story: PartStory, room: float) -> Iterator[Block]:
    yield heading(say("Held, and what was decided"))
    every = (*story.held_for, *story.on_lists)
    if not every and not story.dispositions:
        yield text(say("No signal stood over its bores when it was made."))
        return
    rows = [[s.id, ", ".join(s.bores), s.words, say(s.state), _became(s)] for s in every]
    held = {s.id for s in every}
    listed, decided = say("on its hold list"), to_say("{as_} by {by}: {why}")
    for given in story.dispositions:
        if given.signal not in held:
            became = say(decided, as_=say(given.as_), by=given.by, why=given.why)
            rows.append([given.signal, "", listed, "", became])
    head = (say("signal"), say("bores"), say("what moved"), say("state"), say("became"))
    yield table(head, rows, widths=(1.5, 0.7, 3, 0.9, 2.4), room=room)
    older = older_lists(story)
    if older:
        yield small(older)


def _became(held: PartSignal) -> str:
    """Return what was decided on a part that a signal holds."""
    d = held.disposition
    if d is None:
        return say("nothing decided yet")
    at = f"{d.at:%Y-%m-%d %H:%M}"
    return say("{as_} by {by}, {at}: {why}", as_=say(d.as_), by=d.by, at=at, why=d.why)


def _made(story: PartStory, room: float) -> Block:
    head = [say("bore"), say("measured"), say("spindle"), say("stones"), say("bores since"), say("fixture")]
    head += [say("operator"), say("cycle s"), say("load %"), say("part °C"), say("master °C"), say("off µm")]
    rows = [_made_row(m) for m in story.measurements]
    widths = (0.7, 1.6, 0.9, 1.3, 1.7, 0.9, 1.1, 0.9, 0.9, 0.9, 1.0, 0.9)
    return table(head, rows, widths=widths, figures=range(7, 12), room=room)


def _made_row(m: PartMeasurement) -> list[str]:
    stones, process = m.stones, m.process
    since = "–"
    if stones is not None and stones.bores_since is not None:
        since = f"{local.number(stones.bores_since)}, {say(stones.what or '')}"
    names = ("cycle_s", "load_pct", "part_temp_c", "master_temp_c")
    found = [None if process is None else getattr(process, n) for n in names]
    told = ["–" if value is None else local.significant(value) for value in found]
    off = "–" if process is None else _um(process.read_off_um, 2)
    row = [
        m.bore,
        f"{m.at:%m-%d %H:%M}",
        m.spindle,
        m.stone_set or "–",
        since,
        m.fixture or "–",
        m.operator or "–",
    ]
    return [*row, *told, off]


def _noted(story: PartStory, room: float) -> Iterator[Block]:
    if story.notes:
        yield heading(say("Other instruments, and eyes"))
        rows = [_note_row(n) for n in story.notes]
        head = [say("bore"), say("when"), say("what"), say("plane"), say("value or count"), say("unit")]
        head += [say("instrument"), say("by")]
        yield table(head, rows, widths=(0.6, 1.8, 2, 1, 1.3, 0.7, 1.2, 1), figures=(4,), room=room)


def _note_row(n: PartNote) -> list[str]:
    row = [n.bore, f"{n.at:%Y-%m-%d %H:%M}", n.what, n.plane or "", local.significant(n.value)]
    return [*row, n.unit or "", n.gauge or "", n.by or ""]


def _traced(story: PartStory, room: float) -> Iterator[Block]:
    for i, bore in enumerate(story.traces):
        words = [text(trace_words(bore))]
        picture = None
        if story.nominal_mm is not None:
            picture = rounds_drawing(bore, nominal_mm=story.nominal_mm, width=room, height=ROUNDS)
        title = [heading(say("Traced in the round"))] if i == 0 else []
        yield together(*title, *words, *([picture] if picture is not None else []))


def _doubts(story: PartStory) -> Iterator[Block]:
    doubts = [(m, d) for m in story.measurements for d in m.doubts]
    if doubts:
        yield heading(say("Doubted"))
    yield from (text(doubt_words(m, d)) for m, d in doubts)


def _origins(story: PartStory, room: float) -> Block:
    rows = [
        [
            m.bore,
            m.gauge,
            f"{m.at:%Y-%m-%d %H:%M:%S}",
            o.file,
            local.number(o.line),
            f"{o.taken_at:%Y-%m-%d %H:%M}",
        ]
        for m in story.measurements
        for o in m.origins
    ]
    head = (say("bore"), say("gauge"), say("measured"), say("file"), say("line"), say("taken"))
    return table(head, rows, widths=(0.6, 0.8, 2, 4, 0.8, 1.7), figures=(4,), room=room)
