"""Capability of streams on paper, one page a stream, for a person to sign or to refuse."""

from __future__ import annotations

from datetime import datetime

from cellmon import local
from cellmon.export.edges_drawing import edges_drawing
from cellmon.export.paper import (
    Block,
    Head,
    Leaf,
    PaperSize,
    facts,
    heading,
    height_of,
    inner_height,
    inner_width,
    lead,
    refusal,
    side_by_side,
    signatures,
    small,
    space,
    table,
    text,
)
from cellmon.monitor.capability_words import (
    between,
    claim_words,
    index_lines,
    index_sentence,
    interval_head,
    model_words,
)
from cellmon.monitor.submission import LeftOut, Statement, Submission
from cellmon.records.words import feature_words
from cellmon.words import say, say_many, to_say

ROLES = (to_say("Made by"), to_say("Checked by"), to_say("Released by"))


def capability_leaves(answer: Submission, *, size: PaperSize = PaperSize.A4) -> tuple[Leaf, ...]:
    """Return one leaf a stream; one that says so where there is none."""
    if not answer.statements:
        return (Leaf(title=say("No stream"), blocks=[lead(answer.sentence)]),)
    return tuple(
        Leaf(title=s.name[:1].upper() + s.name[1:], blocks=_blocks(s, answer, size))
        for s in answer.statements
    )


def capability_head(answer: Submission) -> Head:
    """Return what stands at the head of every page."""
    return Head(kind=say("Capability"), cell=answer.cell, as_of=answer.as_of, sheet=answer.sheet)


LEAST_PICTURE, MOST_PICTURE = 150.0, 270.0


def _blocks(s: Statement, answer: Submission, size: PaperSize) -> list[Block]:
    """Return a page: the picture takes what room the words leave it."""
    room = inner_width(size)
    above = _claim(s, answer, room)
    below = [
        _indices(s, room),
        space(2),
        small(model_words(s.capability, s.picture.tolerance, s.unit)),
        side_by_side(
            [heading(say("Drawing and sampling")), facts(_sampling(s), room=room * 0.48, label=0.24)],
            [
                heading(say("Gauge")),
                facts(_gauge(s), room=room * 0.48, label=0.24),
                *_left_out(s, room * 0.48),
            ],
            room=room,
        ),
        *_long_left_out(s, room),
        signatures([say(role) for role in ROLES], room=room),
    ]
    left = inner_height(size) - height_of([*above, *below], room=room) - 4
    return [
        *above,
        edges_drawing(s.picture, width=room, height=min(max(left, LEAST_PICTURE), MOST_PICTURE)),
        *below,
    ]


def _claim(s: Statement, answer: Submission, room: float) -> list[Block]:
    """Return what may be claimed, or what forbids it, before any figure."""
    row = s.capability
    reasons = () if row.claim == "supported" else row.reasons or (say("No reason was recorded."),)
    return [
        refusal(claim_words(row, required=answer.required), reasons, room=room),
        *([] if row.signature is None else [text(row.signature.sentence)]),
        space(5),
        lead(index_sentence(row, confidence=answer.confidence)),
    ]


def _indices(s: Statement, room: float) -> Block:
    lines = index_lines(s.capability)
    return table(
        [say("index"), say("found"), interval_head(s.capability), say("rests on")],
        [[line.name, line.found, line.interval, line.rests_on] for line in lines],
        widths=[1, 1, 1.8, 6],
        room=room,
        figures=[1, 2],
    )


def _sampling(s: Statement) -> list[tuple[str, str]]:
    d, taken = s.drawing, s.sampling
    none, unstated = say("none"), say("not stated")
    serials = {"first": taken.first_part or none, "last": taken.last_part or none}
    time = {"first": _when(taken.first_at), "last": _when(taken.last_at)}
    shifts = say_many(
        "{first} to {last}, {count} shift", "{first} to {last}, {count} shifts", taken.shifts, **time
    )
    sets = ", ".join(taken.stone_sets) or unstated
    number, revision = d.part_number, d.revision or unstated
    bores = say("{count}, serials {first} to {last}", count=local.number(taken.bores), **serials)
    return [
        (say("drawing"), say("{number}, revision {revision}", number=number, revision=revision)),
        (say("feature"), _feature(s)),
        (say("judged"), d.judged),
        (say("bores"), bores),
        (say("from, to"), shifts),
        (say("stones"), say("{sets}; dressed {times}", sets=sets, times=_times(taken.dressings))),
        (say("subgroups"), _subgroups(s)),
        (say("rule"), _rule(s)),
    ]


def _feature(s: Statement) -> str:
    """Return the feature with what the drawing says of it."""
    d = s.drawing
    said = [feature_words(d.feature)]
    if d.number is not None:
        said.append(say("characteristic {number}", number=d.number))
    if d.class_ is not None:
        said.append(say("class {name}", name=d.class_))
    if d.control_plan is not None:
        said.append(say("control plan {name}", name=d.control_plan))
    if d.nominal_mm is not None:
        said.append(say("nominal {size} mm", size=local.number(d.nominal_mm, 3)))
    return ", ".join(said)


def _subgroups(s: Statement) -> str:
    taken = s.sampling
    within = ", ".join(say(BOUNDS.get(w, w)) for w in taken.within)
    if taken.every == taken.size:
        text_ = to_say("{size} bores in a row, none across a change of {within}")
        return say(text_, size=taken.size, within=within)
    text_ = to_say("{size} bores in a row, every {every}, none across a change of {within}")
    return say(text_, size=taken.size, every=taken.every, within=within)


BOUNDS = {
    "shift": to_say("shift"),
    "stone_set": to_say("stone set"),
    "dressing": to_say("dressing"),
    "fixture": to_say("fixture"),
}


def _rule(s: Statement) -> str:
    guard = s.picture.tolerance.guard_um
    if not guard:
        return s.gauge.rule
    return say(
        "guarded (ISO 14253-1): a bore conforms only inside limits drawn in by {guard} {unit}",
        guard=local.number(guard, 2),
        unit=s.unit,
    )


def _gauge(s: Statement) -> list[tuple[str, str]]:
    g = s.gauge
    known = []
    if g.common_um is not None:
        known.append(say("{um} µm common", um=local.significant(g.common_um)))
    if g.reading_um is not None:
        known.append(say("{um} µm of a reading", um=local.significant(g.reading_um)))
    share = say("no study of this feature was taken")
    if g.of_tolerance is not None and g.of_tolerance.value is not None:
        share = say(
            "{share} % of the tolerance{interval}, study {study}",
            share=local.number(g.of_tolerance.value),
            interval=between(g.of_tolerance, 0),
            study=g.study,
        )
    unstated = say("not stated")
    step = unstated if g.resolution_um is None else f"{local.significant(g.resolution_um)} µm"
    u = say("{known} (standard, k = 1)", known=say(" and ").join(known) or unstated)
    return [
        (say("gauge"), say("{gauge}, smallest step {step}", gauge=g.gauge, step=step)),
        (say("uncertainty"), u),
        (say("takes"), share),
        (say("on its master"), g.on_masters),
    ]


SHORT = 6
"""So many lines of what was left out stand beside the gauge; more become a table."""


def _left_out(s: Statement, room: float) -> list[Block]:
    if len(s.left_out) > SHORT:
        return []
    if not s.left_out:
        return [heading(say("Left out")), text(say("Nothing: every bore measured in this time counts."))]
    lines = [(local.number(one.bores), _left_out_words(one)) for one in s.left_out]
    return [heading(say("Left out, and decided")), facts(lines, room=room, label=0.1)]


def _left_out_words(one: LeftOut) -> str:
    if one.by is None:
        return f"{one.what}, {one.reason}"
    return say("{what}, {reason}, by {by}", what=one.what, reason=one.reason, by=one.by)


def _long_left_out(s: Statement, room: float) -> list[Block]:
    if len(s.left_out) <= SHORT:
        return []
    rows = [[one.what, local.number(one.bores), one.reason, one.by or ""] for one in s.left_out]
    head = [say("what"), say("bores"), say("why"), say("by")]
    return [
        heading(say("Left out, and decided")),
        table(head, rows, widths=[2.4, 0.8, 5, 1.4], figures=[1], room=room),
    ]


def _when(at: datetime | None) -> str:
    return say("unknown") if at is None else f"{at:%Y-%m-%d %H:%M}"


def _times(n: int) -> str:
    if n == 0:
        return say("never")
    return say("once") if n == 1 else say("{count} times", count=local.number(n))
