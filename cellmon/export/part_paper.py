"""One block's record on paper: what was measured, by what it was judged, what was decided, where from."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

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
from cellmon.monitor.traced_bore import BoreTraces
from cellmon.records import Verdict

WALLS = 190.0
ROUNDS = 170.0
AT_ONCE = 5
CAPTION = (
    "One strip a bore, depth downwards in mm: a line for each direction, straight between the planes, where "
    "nothing was read. Pale: tolerance; hatched: guard band; dotted: nominal; ring: outside."
)


def part_pdf(story: PartStory, *, cell: str, size: PaperSize = PaperSize.A4) -> bytes:
    """Return one block's record as the bytes of a PDF; the same answer gives the same bytes."""
    return pdf(part_leaves(story, size=size), head=part_head(story, cell=cell), size=size)


def part_head(story: PartStory, *, cell: str) -> Head:
    """Return what stands at the head and foot of every page."""
    return Head(
        kind="Record of one part",
        cell=cell,
        as_of=story.as_of,
        sheet=story.sheet,
        foot="Says what was measured and decided, not that the part is fit for use.",
    )


def part_leaves(story: PartStory, *, size: PaperSize = PaperSize.A4) -> tuple[Leaf, ...]:
    """Return the one leaf of a block; it flows on over as many pages as it needs."""
    room = inner_width(size)
    return (Leaf(title=f"Part {story.part}", blocks=list(_blocks(story, room))),)


def _blocks(story: PartStory, room: float) -> Iterator[Block]:
    yield lead(story.sentence)
    yield facts(list(_facts(story)), room=room)
    yield space()
    shown = drawn(story.measurements)
    if shown and story.depths_mm:
        yield walls_drawing(shown, story.depths_mm, width=room, height=WALLS)
        yield small(CAPTION)
    yield heading("Readings, µm from nominal")
    yield _readings(story, room)
    yield heading("What the verdicts rest on")
    yield from _judged(story, room)
    yield heading("What happened to it")
    rows = [(f"{e.at:%Y-%m-%d %H:%M:%S}", f"{e.words[:1].upper()}{e.words[1:]}.") for e in story.happened]
    yield table(("when", "what"), rows, widths=(1.4, 5), room=room)
    yield from _held(story, room)
    yield heading("How it was made")
    yield _made(story, room)
    yield from _noted(story, room)
    yield from _traced(story, room)
    yield from _doubts(story)
    yield heading("Where it comes from")
    yield _origins(story, room)
    yield space(4)
    yield text(story.meant)


def _facts(story: PartStory) -> Iterator[tuple[str, str]]:
    revision = f", revision {story.revision}" if story.revision else ""
    yield "drawing", f"{story.part_number}{revision}"
    if story.nominal_mm is not None:
        yield "nominal", f"{story.nominal_mm:.4f} mm"
    m = story.measurements[0]
    versions = sorted({x.sheet_version for x in story.measurements if x.sheet_version is not None})
    yield "judged by", f"sheet version {', '.join(map(str, versions))}"
    if m.rule == "guarded":
        percent = 100 * (m.conformance or 0)
        yield "rule", f"guarded (ISO 14253-1), conformance {percent:g} %; the worst figure decides"
    elif m.rule is not None:
        yield "rule", "simple: on or inside a limit conforms, no guard band; the worst figure decides"


def _um(value: float | None, digits: int = 1) -> str:
    if value is None or not np.isfinite(value):
        return "–"
    said = f"{value:+.{digits}f}"
    return said.replace("-", "−") if float(said) else said[1:]


def _readings(story: PartStory, room: float) -> Block:
    names = list(dict.fromkeys((p, d) for m in story.measurements for p in m.planes for d in m.directions))
    rows = []
    for m in story.measurements:
        read = {(p, d): float(m.um[i, j]) for i, p in enumerate(m.planes) for j, d in enumerate(m.directions)}
        cells = [_um(read.get(name)) for name in names]
        charted = "yes" if m.charted else "no"
        rows.append([m.bore, m.gauge, f"{m.at:%Y-%m-%d %H:%M:%S}", *cells, m.verdict.value, charted])
    head = ["bore", "gauge", "measured", *(f"{p} {d}" for p, d in names), "verdict", "charted"]
    widths = [0.7, 0.9, 2.4, *([1.0] * len(names)), 1.8, 1.0]
    return table(head, rows, widths=widths, figures=range(3, 3 + len(names)), room=room)


def _judged(story: PartStory, room: float) -> Iterator[Block]:
    """Yield the judged figures, a column a measurement; so many at once as a page is wide."""
    shown = [m for m in story.measurements if m.charted or m.verdict is not Verdict.CONFORMS]
    for begin in range(0, len(shown), AT_ONCE):
        some = shown[begin : begin + AT_ONCE]
        names = [f"bore {m.bore}" + ("" if m.charted else f"\n{m.gauge}") for m in some]
        head = ["figure, µm", "lower", "upper", "u (k = 1)", "guard band", *names]
        rows = [
            [
                figure_name(row.feature, row.figure),
                *(_um(row.lower_um), _um(row.upper_um), f"{row.u_um:.2f}", f"{row.guard_um:.2f}"),
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
    verdict = "" if judged.verdict is Verdict.CONFORMS else f"\n{judged.verdict.value}"
    return _um(judged.value_um, 2) + verdict


def _held(story: PartStory, room: float) -> Iterator[Block]:
    yield heading("Held, and what was decided")
    if not story.held_for and not story.dispositions:
        yield text("No signal stood over its bores when it was made.")
        return
    rows = []
    for s in story.held_for:
        d = s.disposition
        became = "nothing decided yet" if d is None else f"{d.as_} by {d.by}, {d.at:%Y-%m-%d %H:%M}: {d.why}"
        rows.append([s.id, ", ".join(s.bores), s.words, s.state, became])
    held = {s.id for s in story.held_for}
    for given in story.dispositions:
        if given.signal not in held:
            rows.append(
                [
                    given.signal,
                    "",
                    "on its hold list",
                    "",
                    f"{given.as_} by {given.by}: {given.why}",
                ]
            )
    yield table(
        ("signal", "bores", "what moved", "state", "became"), rows, widths=(1.5, 0.7, 3, 0.9, 2.4), room=room
    )


def _made(story: PartStory, room: float) -> Block:
    head = ["bore", "measured", "spindle", "stones", "bores since", "fixture", "operator", "cycle s"]
    head += ["load %", "part °C", "master °C", "off µm"]
    rows = [_made_row(m) for m in story.measurements]
    widths = (0.7, 1.6, 0.9, 1.3, 1.7, 0.9, 1.1, 0.9, 0.9, 0.9, 1.0, 0.9)
    return table(head, rows, widths=widths, figures=range(7, 12), room=room)


def _made_row(m: PartMeasurement) -> list[str]:
    stones, process = m.stones, m.process
    since = "–"
    if stones is not None and stones.bores_since is not None:
        since = f"{stones.bores_since:,}, {stones.what}"
    names = ("cycle_s", "load_pct", "part_temp_c", "master_temp_c")
    told = [
        "–" if process is None or getattr(process, n) is None else f"{getattr(process, n):g}" for n in names
    ]
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
        yield heading("Other instruments, and eyes")
        rows = [_note_row(n) for n in story.notes]
        head = ("bore", "when", "what", "plane", "value or count", "unit", "instrument", "by")
        yield table(head, rows, widths=(0.6, 1.8, 2, 1, 1.3, 0.7, 1.2, 1), figures=(4,), room=room)


def _note_row(n: PartNote) -> list[str]:
    row = [n.bore, f"{n.at:%Y-%m-%d %H:%M}", n.what, n.plane or "", f"{n.value:g}"]
    return [*row, n.unit or "", n.gauge or "", n.by or ""]


def _traced(story: PartStory, room: float) -> Iterator[Block]:
    for i, bore in enumerate(story.traces):
        words = [text(trace_words(bore))]
        picture = None
        if story.nominal_mm is not None:
            picture = rounds_drawing(bore, nominal_mm=story.nominal_mm, width=room, height=ROUNDS)
        title = [heading("Traced in the round")] if i == 0 else []
        yield together(*title, *words, *([picture] if picture is not None else []))


def trace_words(bore: BoreTraces) -> str:
    """Return what one traced bore says, with its verdicts."""
    said = [bore.sentence]
    for figure in bore.figures:
        value = figure.value_um if figure.value_um is not None else figure.reported_um
        if value is None:
            continue
        name = figure.feature.replace("_", " ")
        limit = "" if figure.upper_um is None else f", at most {figure.upper_um:g}"
        if figure.lower_um is not None:
            limit += f", at least {figure.lower_um:g}"
        verdict = "" if figure.verdict is None else f": {figure.verdict.value}"
        said.append(f"{name[:1].upper()}{name[1:]} {value:.2f} µm ({figure.used}{limit}){verdict}.")
    return " ".join(said)


def _doubts(story: PartStory) -> Iterator[Block]:
    doubts = [(m, d) for m in story.measurements for d in m.doubts]
    if doubts:
        yield heading("Doubted")
    for m, d in doubts:
        state = {"open": "waits for a decision", "accepted": "accepted", "kept": "kept as read"}[d.state]
        by = f" by {d.by}: {d.why}" if d.by else ""
        yield text(f"Bore {m.bore}, {m.gauge}: {d.words} ({d.flag.value}); {state}{by}.")


def _origins(story: PartStory, room: float) -> Block:
    rows = [
        [m.bore, m.gauge, f"{m.at:%Y-%m-%d %H:%M:%S}", o.file, f"{o.line:,}", f"{o.taken_at:%Y-%m-%d %H:%M}"]
        for m in story.measurements
        for o in m.origins
    ]
    head = ("bore", "gauge", "measured", "file", "line", "taken")
    return table(head, rows, widths=(0.6, 0.8, 2, 4, 0.8, 1.7), figures=(4,), room=room)
