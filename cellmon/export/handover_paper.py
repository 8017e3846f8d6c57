"""A shift on paper, as one person hands it to the next: both sign."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from cellmon.export.paper import (
    Block,
    Head,
    Leaf,
    PaperSize,
    facts,
    heading,
    inner_width,
    lead,
    signatures,
    small,
    space,
    table,
    text,
    together,
)
from cellmon.export.signals_paper import age_words, answer_words, cautions_of, state_words
from cellmon.monitor.answers import Due
from cellmon.monitor.handover import Handover, StonesNow
from cellmon.monitor.signals import Signal

ROLES = ("Handed over by", "Taken over by")
FOOT = "Advice only. A hold stands until a named person decides on each part."


def handover_head(answer: Handover) -> Head:
    """Return what stands at the head of every page."""
    return Head(kind="Shift handover", cell=answer.cell, as_of=answer.as_of, sheet=answer.sheet, foot=FOOT)


def handover_leaves(answer: Handover, *, size: PaperSize = PaperSize.A4) -> tuple[Leaf, ...]:
    """Return the shift as one leaf."""
    room = inner_width(size)
    shift = answer.shift
    title = (
        "No shift yet"
        if shift is None
        else f"{shift.date:%A} {shift.date.day} {shift.date:%B %Y}, {shift.name}"
    )
    blocks = [
        lead(answer.sentence),
        facts(
            [(s.spindle, _without_name(s.sentence, s.spindle)) for s in answer.spindles],
            room=room,
            label=0.06,
        ),
        *_made(answer, room),
        *_signals("What moved in this shift", "Nothing was signalled.", answer.moved, answer, room),
        *_answered(answer, room),
        *_signals(
            "Open: waits for an answer", "No signal waits for an answer.", _older(answer), answer, room
        ),
        *_holds(answer, room),
        *_due(answer, room),
        *_stones(answer, room),
        *_cautions(answer),
        together(space(4), signatures(ROLES, room=room)),
    ]
    return (Leaf(title=title, blocks=blocks),)


def _without_name(sentence: str, spindle: str) -> str:
    said = sentence.removeprefix(f"{spindle}: ")
    return said[:1].upper() + said[1:]


def _older(answer: Handover) -> list[Signal]:
    """Return the open signals that the shift itself did not bring."""
    own = {s.id for s in answer.moved}
    return [s for s in answer.open if s.id not in own]


def _made(answer: Handover, room: float) -> list[Block]:
    if not answer.made:
        return []
    several = len({m.part_number for m in answer.made}) > 1
    rows = [
        [
            f"{m.spindle} bore {m.bore}" + (f", {m.part_number}" if several else ""),
            *(f"{n:,}" for n in (m.made, m.conform, m.undecided, m.do_not_conform, m.doubted)),
        ]
        for m in answer.made
    ]
    head = ["bores made", "all", "conform", "undecided", "do not conform", "doubted"]
    return [space(4), table(head, rows, widths=[3, 1, 1, 1.2, 1.6, 1.2], figures=range(1, 6), room=room)]


def _signals(
    title: str, nothing: str, signals: Sequence[Signal], answer: Handover, room: float
) -> list[Block]:
    if not signals:
        return [heading(title), text(nothing)]
    rows = [
        [_moment(s.raised_at), f"{s.words}\n{s.id}, {state_words(s)}", _first(s), age_words(s)]
        for s in signals
    ]
    head = ["since", "what", "likeliest cause; check first", "age"]
    return [heading(title), table(head, rows, widths=[1.1, 3.6, 4, 0.8], room=room)]


def _first(s: Signal) -> str:
    if not s.causes:
        return s.reaction or "no row of the table of causes fits"
    first = s.causes[0]
    return f"{first.title}. {first.check_first}"


def _answered(answer: Handover, room: float) -> list[Block]:
    if not answer.answered:
        return [heading("Answered in this shift"), text("No signal was answered.")]
    rows = [[s.id, s.words, answer_words(s)] for s in answer.answered]
    return [
        heading("Answered in this shift"),
        table(["signal", "what", "answer"], rows, widths=[1.4, 3.5, 4.5], room=room),
    ]


def _holds(answer: Handover, room: float) -> list[Block]:
    if not answer.holds:
        return [heading("On hold"), text("No block waits for a decision.")]
    rows = [
        [h.signal, h.words, f"{h.from_part} to {h.to_part}", f"{h.waiting:,}", f"{h.decided:,}"]
        for h in answer.holds
    ]
    head = ["signal", "why", "blocks made from, to", "waiting", "decided"]
    return [
        heading("On hold: nobody has decided on these blocks"),
        table(head, rows, widths=[1.3, 3.6, 2.7, 0.8, 0.8], figures=[3, 4], room=room),
    ]


def _due(answer: Handover, room: float) -> list[Block]:
    found = dict.fromkeys(d for s in answer.spindles for d in s.due)
    lines = [(_at(d), d.what + (": overdue" if d.overdue else "")) for d in found]
    if answer.doubts_open:
        lines.append(
            ("any time", f"{answer.doubts_open:,} doubted measurements wait to be cleared or corrected")
        )
    if not lines:
        return [heading("Due"), text("Nothing is due.")]
    return [heading("Due"), facts(lines, room=room, label=0.16)]


def _at(due: Due) -> str:
    return "now" if due.at is None else f"{due.at:%Y-%m-%d %H:%M}"


def _stones(answer: Handover, room: float) -> list[Block]:
    lines = [(s.spindle, _stones_words(s)) for s in answer.stones]
    happened = [
        (_moment(h.at), f"{h.where}: {h.words}" + (f", by {h.by}" if h.by else "")) for h in answer.happened
    ]
    given = "1 offset was given" if answer.offsets == 1 else f"{answer.offsets:,} offsets were given"
    return [
        heading("Stones"),
        facts(lines, room=room, label=0.06),
        heading("What else was logged"),
        facts([*happened, ("in all", given)], room=room, label=0.16),
    ]


def _stones_words(s: StonesNow) -> str:
    since = (
        "dressing never logged"
        if s.bores_since_dress is None
        else f"{s.bores_since_dress:,} bores since dressed"
    )
    if s.dress_in_bores is None:
        plan = s.why_not or "no plan"
    elif s.dress_in_bores < 0:
        plan = f"planned dressing passed {-s.dress_in_bores:,} bores ago"
    else:
        plan = f"next dressing planned in {s.dress_in_bores:,} bores"
    return f"{s.stone_set or 'set not stated'}, {since}; {plan}"


def _cautions(answer: Handover) -> list[Block]:
    words = [answer.caution, *cautions_of((*answer.moved, *_older(answer)))]
    return [heading("Cautions"), *(small(w) for w in dict.fromkeys(words))]


def _moment(at: datetime) -> str:
    return f"{at:%a} {at.day} {at:%b %H:%M}"
