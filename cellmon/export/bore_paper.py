"""The record of honing by hand on one page, and the same page blank for use without a screen."""

from __future__ import annotations

from collections.abc import Iterator

from cellmon.export.bore_drawing import after_word, shapes_drawing
from cellmon.export.bore_paper_words import VERDICTS, told_facts, um_words
from cellmon.export.paper import (
    Block,
    Head,
    Leaf,
    PaperSize,
    Picture,
    facts,
    heading,
    height_of,
    inner_height,
    inner_width,
    lead,
    pdf,
    small,
    space,
    table,
)
from cellmon.export.pen import INK, SOFT, Pen
from cellmon.local import full_day, moment, number, significant
from cellmon.monitor.bore.form import FormHeld
from cellmon.monitor.bore.record_results import HandRecord, RecordBore, RecordSizes
from cellmon.words import say, to_say

SHAPES = (60.0, 190.0)
"""Least and greatest height of the shapes, in points; they take what the page has left."""
SLACK = 6.0
EMPTY_ROW = 16.0
"""Height of a row to write in, in points."""
AT_ONCE = 6
"""So many bores stand side by side in one table."""
FEATURES = {
    "taper": to_say("taper"),
    "barrel": to_say("barrel"),
    "twist": to_say("twist"),
    "ovality": to_say("ovality"),
    "roundness": to_say("roundness"),
    "size_range": to_say("range of sizes"),
}


def record_pdf(record: HandRecord, *, size: PaperSize = PaperSize.A4) -> bytes:
    """Return a record as the bytes of a PDF; the same answer gives the same bytes."""
    return pdf(record_leaves(record, size=size), head=record_head(record), size=size)


def record_head(record: HandRecord) -> Head:
    """Return what stands at the head and foot of the page."""
    return Head(
        kind=say("Record of honing by hand"),
        cell=record.shop,
        as_of=record.as_of,
        sheet=record.sheet,
        foot=" ".join(record.cautions),
    )


def record_leaves(record: HandRecord, *, size: PaperSize = PaperSize.A4) -> tuple[Leaf, ...]:
    """Return the one leaf of a record; what the page has left goes to the shapes."""
    room = inner_width(size)
    above, below = list(_above(record, room)), list(_below(record, room, empty=1))
    spare = inner_height(size) - height_of([*above, *below], room=room) - SLACK
    if record.blank:
        below = list(_below(record, room, empty=1 + max(int((spare - SHAPES[0]) / EMPTY_ROW), 0)))
        spare = SHAPES[0]
    height = min(max(spare, SHAPES[0]), SHAPES[1])
    return (
        Leaf(
            title=_title(record), blocks=[*above, shapes_drawing(record, width=room, height=height), *below]
        ),
    )


def _title(record: HandRecord) -> str:
    if record.blank:
        return say("Part ______________")
    if len(record.bores) == 1:
        return say("Part {part}, bore {bore}", part=record.part, bore=record.bores[0].bore)
    return say("Part {part}", part=record.part)


def _above(record: HandRecord, room: float) -> Iterator[Block]:
    yield facts(
        [
            (say("customer's reference"), record.reference),
            (say("job"), record.job),
            (say("part and drawing"), f"{record.part or '______________'}, {record.part_number}"),
            (say("date"), "" if record.done_on is None else full_day(record.done_on)),
        ],
        room=room,
    )
    yield space(4)
    yield lead(record.sentence or "\u00a0")
    yield heading(
        say(
            "Sizes as received and as finished, µm from {nominal} mm, {at}",
            nominal=significant(record.nominal_mm, 8),
            at="______________" if record.blank else record.sizes_at,
        )
    )
    for begin in range(0, len(record.bores), AT_ONCE):
        yield _sizes(record, record.bores[begin : begin + AT_ONCE], room)
    yield small(
        say(
            "Limits {lower} to {upper} µm, target {target} µm.",
            lower=um_words(record.lower_um),
            upper=um_words(record.upper_um),
            target=um_words(record.target_um),
        )
    )


def _sizes(record: HandRecord, bores: tuple[RecordBore, ...], room: float) -> Block:
    places = [(plane, direction) for plane in record.planes for direction in record.directions]
    head, rows = [""], [[f"{plane} {direction}"] for plane, direction in places]
    form = list(dict.fromkeys(held.feature for one in bores for held in _form(one)))
    rows += [[_limited(bores, name)] for name in form]
    rows += [[say("part °C")], [say("verdict")]]
    for one in bores:
        for word, sizes in ((say("received"), one.received), (after_word(record, one), one.after)):
            head.append(f"{one.bore} {word}")
            cells = [_place(sizes, f"{plane}_{direction}") for plane, direction in places]
            cells += [_formed(sizes, name) for name in form]
            warm = None if sizes is None else sizes.part_temp_c
            cells += ["" if warm is None else number(warm, 1), ""]
            for row, cell in zip(rows, cells, strict=True):
                row.append(cell)
        rows[-1][-1] = _verdict(one)
    widths = [2.2, *([1.0] * (len(head) - 1))]
    return table(head, rows, widths=widths, figures=range(1, len(head)), room=room)


def _verdict(one: RecordBore) -> str:
    if one.verdict is None or one.after is None:
        return ""
    told = one.answer.next
    ended = one.finished or (told is not None and bool(told.reasons))
    return say(VERDICTS[one.verdict]) if ended else say("not finished")


def _form(one: RecordBore) -> tuple[FormHeld, ...]:
    return () if one.received is None else one.received.form


def _limited(bores: tuple[RecordBore, ...], name: str) -> str:
    held = next(h for one in bores for h in _form(one) if h.feature == name)
    word = say(FEATURES[name])
    if held.lower_um is None:
        return say("{form}, up to {upper}", form=word, upper=um_words(held.upper_um, 0))
    if held.upper_um is None:
        return say("{form}, from {lower}", form=word, lower=um_words(held.lower_um, 0))
    return say(
        "{form}, {lower} to {upper}",
        form=word,
        lower=um_words(held.lower_um, 0),
        upper=um_words(held.upper_um, 0),
    )


def _place(sizes: RecordSizes | None, place: str) -> str:
    return "" if sizes is None else um_words(sizes.um.get(place))


def _formed(sizes: RecordSizes | None, name: str) -> str:
    found = None if sizes is None else next((h for h in sizes.form if h.feature == name), None)
    return "" if found is None else um_words(found.um)


def _below(record: HandRecord, room: float, *, empty: int) -> Iterator[Block]:
    """Yield what stands below the shapes; a blank form has so many empty rounds."""
    if record.blank:
        yield heading(say("Rounds"))
        yield _blank_rounds(record, room, empty)
    elif len(record.bores) == 1:
        yield heading(say("Rounds"))
        yield _rounds(record.bores[0], room)
    else:
        yield heading(say("Rounds and stones"))
        yield _rounds_of_all(record, room)
    yield space(4)
    yield facts(list(told_facts(record)), room=room)
    yield space(4)
    yield _ticked(record, room)
    yield _named(record, room)
    missing = "; ".join(record.not_measured)
    words = say("Not measured: {missing}.", missing=missing) if missing else say("Not measured:")
    yield small(words if not record.blank else say("Not measured:"))


def _rounds(one: RecordBore, room: float) -> Block:
    head = [say("round"), say("at"), say("stones"), say("strokes full/top/bottom")]
    head += [say("part °C"), say("tightest"), say("widest"), say("as said"), say("by")]
    rows = []
    for r in one.answer.rounds:
        known = [v for v in r.um.values() if v is not None]
        strokes = f"{r.strokes_full}/{r.strokes_top}/{r.strokes_bottom}" if r.number else say("as received")
        rows.append(
            [
                str(r.number),
                f"{r.at:%H:%M}",
                r.stones,
                strokes,
                "" if r.part_temp_c is None else number(r.part_temp_c, 1),
                um_words(min(known, default=None)),
                um_words(max(known, default=None)),
                "" if r.kept is None else r.kept,
                r.by,
            ]
        )
    widths = (0.7, 0.8, 1.3, 2.2, 0.9, 1.0, 1.0, 1.6, 1.4)
    return table(head, rows, widths=widths, figures=(4, 5, 6), room=room)


def _rounds_of_all(record: HandRecord, room: float) -> Block:
    head = [
        say("bore"),
        say("rounds"),
        say("strokes full/top/bottom by stones"),
        say("strokes of each round"),
    ]
    rows = []
    for one in record.bores:
        stones = "; ".join(
            f"{s.stones or say('stones not named')} {s.strokes_full}/{s.strokes_top}/{s.strokes_bottom}"
            for s in one.stones
        )
        made = [r for r in one.answer.rounds if r.number]
        each = ", ".join(f"{r.strokes_full}/{r.strokes_top}/{r.strokes_bottom}" for r in made)
        rows.append([one.bore, str(len(made)), stones, each])
    return table(head, rows, widths=(0.6, 0.8, 2.6, 4.4), room=room)


def _blank_rounds(record: HandRecord, room: float, empty: int) -> Block:
    head = [say("bore"), say("round"), say("stones"), say("strokes full/top/bottom"), say("part °C")]
    head += [f"{plane} {direction}" for plane in record.planes for direction in record.directions]
    rows = [["\u00a0"] * len(head) for _ in range(empty)]
    return table(head, rows, widths=(0.7, 0.8, 1.2, 2.0, 0.9, *([0.9] * (len(head) - 5))), room=room)


def _ticked(record: HandRecord, room: float) -> Block:
    """Return a box, ticked where the bores were cleaned, and what it says."""

    def draw(pen: Pen) -> None:
        pen.box(0.5, 2.5, 9.5, 11.5, ink=INK)
        if record.cleaned:
            pen.lines([(2, 7), (4.4, 4.2), (8.4, 10.6)], width=1.4)
        pen.word(15, 4, _cleaned(record), size=8.2)

    return Picture(room, 15, draw)


def _cleaned(record: HandRecord) -> str:
    """Return what the tick stands for, with whose word it is and since when."""
    if record.cleaned_at is None:
        return record.cleaned_words
    return f"{record.cleaned_words}: {record.cleaned_by}, {moment(record.cleaned_at)}"


def _named(record: HandRecord, room: float) -> Block:
    """Return the line for the name; it is printed where it was given."""

    def draw(pen: Pen) -> None:
        pen.line(0, 9, 0.5 * room, 9, width=0.7)
        pen.word(2, 12, record.by, size=9)
        pen.word(0, 1, say("name"), size=7, ink=SOFT)
        pen.line(0.55 * room, 9, room, 9, width=0.7)
        pen.word(0.55 * room, 1, say("date, signature"), size=7, ink=SOFT)

    return Picture(room, 34, draw)
