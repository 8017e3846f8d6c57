"""Capability of streams on paper, one page a stream, for a person to sign or to refuse."""

from __future__ import annotations

from datetime import datetime

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

ROLES = ("Made by", "Checked by", "Released by")


def capability_leaves(answer: Submission, *, size: PaperSize = PaperSize.A4) -> tuple[Leaf, ...]:
    """Return one leaf a stream; one that says so where there is none."""
    if not answer.statements:
        return (Leaf(title="No stream", blocks=[lead(answer.sentence)]),)
    return tuple(
        Leaf(title=s.name[:1].upper() + s.name[1:], blocks=_blocks(s, answer, size))
        for s in answer.statements
    )


def capability_head(answer: Submission) -> Head:
    """Return what stands at the head of every page."""
    return Head(kind="Capability", cell=answer.cell, as_of=answer.as_of, sheet=answer.sheet)


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
            [heading("Drawing and sampling"), facts(_sampling(s), room=room * 0.48, label=0.24)],
            [heading("Gauge"), facts(_gauge(s), room=room * 0.48, label=0.24), *_left_out(s, room * 0.48)],
            room=room,
        ),
        *_long_left_out(s, room),
        signatures(ROLES, room=room),
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
    reasons = () if row.claim == "supported" else row.reasons or ("No reason was recorded.",)
    return [
        refusal(claim_words(row, required=answer.required), reasons, room=room),
        space(5),
        lead(index_sentence(row, confidence=answer.confidence)),
    ]


def _indices(s: Statement, room: float) -> Block:
    lines = index_lines(s.capability)
    return table(
        ["index", "found", interval_head(s.capability), "rests on"],
        [[line.name, line.found, line.interval, line.rests_on] for line in lines],
        widths=[1, 1, 1.8, 6],
        room=room,
        figures=[1, 2],
    )


def _sampling(s: Statement) -> list[tuple[str, str]]:
    d, taken = s.drawing, s.sampling
    number = "" if d.number is None else f", characteristic {d.number}"
    klass = "" if d.class_ is None else f", class {d.class_}"
    plan = "" if d.control_plan is None else f", control plan {d.control_plan}"
    nominal = "" if d.nominal_mm is None else f", nominal {d.nominal_mm:.3f} mm"
    return [
        ("drawing", f"{d.part_number}, revision {d.revision or 'not stated'}"),
        ("feature", f"{d.feature.replace('_', ' ')}{number}{klass}{plan}{nominal}"),
        ("judged", f"{d.judged}"),
        ("bores", f"{taken.bores:,}, serials {taken.first_part or 'none'} to {taken.last_part or 'none'}"),
        ("from, to", f"{_when(taken.first_at)} to {_when(taken.last_at)}, {_count(taken.shifts, 'shift')}"),
        ("stones", f"{', '.join(taken.stone_sets) or 'not stated'}; dressed {_times(taken.dressings)}"),
        ("subgroups", _subgroups(s)),
        ("rule", _rule(s)),
    ]


def _subgroups(s: Statement) -> str:
    taken = s.sampling
    each = f"{taken.size} bores in a row" + ("" if taken.every == taken.size else f", every {taken.every}")
    return f"{each}, none across a change of {', '.join(w.replace('_', ' ') for w in taken.within)}"


def _rule(s: Statement) -> str:
    guard = s.picture.tolerance.guard_um
    if not guard:
        return s.gauge.rule
    return f"guarded (ISO 14253-1): a bore conforms only inside limits drawn in by {guard:.2f} {s.unit}"


def _gauge(s: Statement) -> list[tuple[str, str]]:
    g = s.gauge
    known = [
        f"{v:g} µm {what}"
        for v, what in ((g.common_um, "common"), (g.reading_um, "of a reading"))
        if v is not None
    ]
    share = "no study of this feature was taken"
    if g.of_tolerance is not None and g.of_tolerance.value is not None:
        share = f"{g.of_tolerance.value:.0f} % of the tolerance{between(g.of_tolerance, 0)}, study {g.study}"
    step = "not stated" if g.resolution_um is None else f"{g.resolution_um:g} µm"
    return [
        ("gauge", f"{g.gauge}, smallest step {step}"),
        ("uncertainty", f"{' and '.join(known) or 'not stated'} (standard, k = 1)"),
        ("takes", share),
        ("on its master", g.on_masters),
    ]


SHORT = 6
"""So many lines of what was left out stand beside the gauge; more become a table."""


def _left_out(s: Statement, room: float) -> list[Block]:
    if len(s.left_out) > SHORT:
        return []
    if not s.left_out:
        return [heading("Left out"), text("Nothing: every bore measured in this time counts.")]
    lines = [(f"{one.bores:,}", _left_out_words(one)) for one in s.left_out]
    return [heading("Left out, and decided"), facts(lines, room=room, label=0.1)]


def _left_out_words(one: LeftOut) -> str:
    by = "" if one.by is None else f", by {one.by}"
    return f"{one.what}, {one.reason}{by}"


def _long_left_out(s: Statement, room: float) -> list[Block]:
    if len(s.left_out) <= SHORT:
        return []
    rows = [[one.what, f"{one.bores:,}", one.reason, one.by or ""] for one in s.left_out]
    head = ["what", "bores", "why", "by"]
    return [
        heading("Left out, and decided"),
        table(head, rows, widths=[2.4, 0.8, 5, 1.4], figures=[1], room=room),
    ]


def _when(at: datetime | None) -> str:
    return "unknown" if at is None else f"{at:%Y-%m-%d %H:%M}"


def _count(n: int, what: str) -> str:
    return f"{n:,} {what}" + ("" if n == 1 else "s")


def _times(n: int) -> str:
    return "never" if n == 0 else "once" if n == 1 else f"{n} times"
