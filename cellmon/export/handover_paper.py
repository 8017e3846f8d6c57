"""A shift on paper, as one person hands it to the next: both sign."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

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
    signatures,
    small,
    space,
    table,
    text,
    together,
)
from cellmon.export.signals_paper import age_words, answer_words, cautions_of, state_words
from cellmon.monitor.answers import Due
from cellmon.monitor.handover import Handover, Happened, StonesNow
from cellmon.monitor.signals import Signal
from cellmon.words import say, say_many, to_say

ROLES = (to_say("Handed over by"), to_say("Taken over by"))
FOOT = to_say("Advice only. A hold stands until a named person decides on each part.")


def handover_head(answer: Handover) -> Head:
    """Return what stands at the head of every page."""
    return Head(
        kind=say("Shift handover"),
        cell=answer.cell,
        as_of=answer.as_of,
        sheet=answer.sheet,
        foot=say(FOOT),
    )


def handover_leaves(answer: Handover, *, size: PaperSize = PaperSize.A4) -> tuple[Leaf, ...]:
    """Return the shift as one leaf."""
    room = inner_width(size)
    shift = answer.shift
    title = say("No shift yet") if shift is None else f"{local.full_day(shift.date)}, {shift.name}"
    blocks = [
        lead(answer.sentence),
        facts(
            [(s.spindle, _without_name(s.sentence, s.spindle)) for s in answer.spindles],
            room=room,
            label=0.06,
        ),
        *_made(answer, room),
        *_signals(say("What moved in this shift"), say("Nothing was signalled."), answer.moved, room),
        *_answered(answer, room),
        *_decided(answer, room),
        *_signals(
            say("Open: waits for an answer"), say("No signal waits for an answer."), _older(answer), room
        ),
        *_holds(answer, room),
        *_due(answer, room),
        *_stones(answer, room),
        *_cautions(answer),
        together(space(4), signatures([say(role) for role in ROLES], room=room)),
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
            say("{spindle} bore {bore}", spindle=m.spindle, bore=m.bore)
            + (f", {m.part_number}" if several else ""),
            *(local.number(n) for n in (m.made, m.conform, m.undecided, m.do_not_conform, m.doubted)),
        ]
        for m in answer.made
    ]
    head = [say("bores made"), say("all"), say("conform"), say("undecided")]
    head += [say("do not conform"), say("doubted")]
    return [space(4), table(head, rows, widths=[3, 1, 1, 1.2, 1.6, 1.2], figures=range(1, 6), room=room)]


def _signals(title: str, nothing: str, signals: Sequence[Signal], room: float) -> list[Block]:
    if not signals:
        return [heading(title), text(nothing)]
    rows = [
        [_moment(s.raised_at), f"{s.words}\n{s.id}, {state_words(s)}", _first(s), age_words(s)]
        for s in signals
    ]
    head = [say("since"), say("what"), say("likeliest cause; check first"), say("age")]
    return [heading(title), table(head, rows, widths=[1.1, 3.6, 4, 0.8], room=room)]


def _first(s: Signal) -> str:
    if not s.causes:
        return s.reaction or say("no row of the table of causes fits")
    first = s.causes[0]
    return f"{first.title}. {first.check_first}"


def _answered(answer: Handover, room: float) -> list[Block]:
    title = heading(say("Answered in this shift"))
    if not answer.answered:
        return [title, text(say("No signal was answered."))]
    rows = [[s.id, s.words, answer_words(s)] for s in answer.answered]
    head = [say("signal"), say("what"), say("answer")]
    return [title, table(head, rows, widths=[1.4, 3.5, 4.5], room=room)]


def _decided(answer: Handover, room: float) -> list[Block]:
    """Return what was decided of limits, sheet, set-ups and figures; nothing where nothing was."""
    lines = [(_moment(one.at), one.words) for one in answer.decided]
    return [heading(say("Decided in this shift")), facts(lines, room=room, label=0.16)] if lines else []


def _holds(answer: Handover, room: float) -> list[Block]:
    if not answer.holds:
        return [heading(say("On hold")), text(say("No block waits for a decision."))]
    rows = [
        [
            h.signal,
            h.words,
            say("{first} to {last}", first=h.from_part, last=h.to_part),
            local.number(h.waiting),
            local.number(h.decided),
        ]
        for h in answer.holds
    ]
    head = [say("signal"), say("why"), say("blocks made from, to"), say("waiting"), say("decided")]
    return [
        heading(say("On hold: nobody has decided on these blocks")),
        table(head, rows, widths=[1.3, 3.6, 2.7, 0.8, 0.8], figures=[3, 4], room=room),
    ]


def _due(answer: Handover, room: float) -> list[Block]:
    found = dict.fromkeys(d for s in answer.spindles for d in s.due)
    lines = [(_at(d), say("{what}: overdue", what=d.what) if d.overdue else d.what) for d in found]
    if answer.doubts_open:
        doubted = say_many(
            "{count} doubted measurement waits to be cleared or corrected",
            "{many} doubted measurements wait to be cleared or corrected",
            answer.doubts_open,
            many=local.number(answer.doubts_open),
        )
        lines.append((say("any time"), doubted))
    if not lines:
        return [heading(say("Due")), text(say("Nothing is due."))]
    return [heading(say("Due")), facts(lines, room=room, label=0.16)]


def _at(due: Due) -> str:
    return say("now") if due.at is None else f"{due.at:%Y-%m-%d %H:%M}"


def _stones(answer: Handover, room: float) -> list[Block]:
    lines = [(s.spindle, _stones_words(s)) for s in answer.stones]
    given = say_many(
        "{count} offset was given",
        "{many} offsets were given",
        answer.offsets,
        many=local.number(answer.offsets),
    )
    happened = [(_moment(h.at), _logged(h)) for h in answer.happened]
    return [
        heading(say("Stones")),
        facts(lines, room=room, label=0.06),
        heading(say("What else was logged")),
        facts([*happened, (say("in all"), given)], room=room, label=0.16),
    ]


def _logged(one: Happened) -> str:
    if one.by:
        return say("{where}: {words}, by {by}", where=one.where, words=one.words, by=one.by)
    return f"{one.where}: {one.words}"


def _stones_words(s: StonesNow) -> str:
    since = (
        say("dressing never logged")
        if s.bores_since_dress is None
        else say("{count} bores since dressed", count=local.number(s.bores_since_dress))
    )
    if s.dress_in_bores is None:
        plan = s.why_not or say("no plan")
    elif s.dress_in_bores < 0:
        plan = say("planned dressing passed {count} bores ago", count=local.number(-s.dress_in_bores))
    else:
        plan = say("next dressing planned in {count} bores", count=local.number(s.dress_in_bores))
    return f"{s.stone_set or say('set not stated')}, {since}; {plan}"


def _cautions(answer: Handover) -> list[Block]:
    words = [answer.caution, *cautions_of((*answer.moved, *_older(answer)))]
    return [heading(say("Cautions")), *(small(w) for w in dict.fromkeys(words))]


def _moment(at: datetime) -> str:
    return local.moment(at)
