"""The lines of the answers about streams: state, shifts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from cellmon.cli.showing import Look
from cellmon.cli.terminal import clean, figure, table, text
from cellmon.cli.wording import (
    as_of_line,
    bores_left,
    chance,
    count,
    listed,
    note_line,
    number,
    ranged,
    reasons,
    signed,
    sure,
    when,
)
from cellmon.monitor.status import Status
from cellmon.words import say, say_many, to_say

PLANNED_BY = {"sheet": to_say("sheet"), "log": to_say("log")}
"""Where it is known from when stones are dressed."""
GROUPS = (
    (Status.STOP, to_say("stop {spindles}")),
    (Status.LOOK, to_say("look at {spindles}")),
    (Status.CARRY_ON, to_say("carry on with {spindles}")),
)
"""Spindles of one status as a sentence names them, the gravest first."""
NEXT_DRESSING = to_say("{stream}: next in {bores} ({source}), a limit before it {chance}; then {left}")
DRESSING_NOW = to_say("{stream}: next now ({source}), a limit before it {chance}; then {left}")

if TYPE_CHECKING:
    from cellmon.monitor.answers import Due, Estimate, Limits
    from cellmon.monitor.dressings import PlannedDressing
    from cellmon.monitor.hand_streams import HandStream
    from cellmon.monitor.shifts import Shifts, StreamShift, SubgroupPoint
    from cellmon.monitor.state import State, StreamState


def state_lines(answer: State, look: Look) -> list[str]:
    """Return the cell now: a sentence, a line a spindle, a row a stream."""
    lines = [
        _state_sentence(answer),
        as_of_line(answer.as_of, answer.sheet, look.zone),
        "",
    ]
    for spindle in answer.spindles:
        head = f"{spindle.spindle}: {say(spindle.status)}. "
        lines.append(spindle.sentence if spindle.sentence.startswith(head) else head + spindle.sentence)
        for due in spindle.due:
            lines.append("    " + _due_words(due, look))
    columns = (
        text("stream"),
        text("status"),
        figure("bores"),
        figure("mean um"),
        figure("um / 100 bores"),
        text("bores to a limit"),
        figure("open"),
        figure("sd within um", spare=True),
        figure("sd total um", spare=True),
        figure("centre um", spare=True),
        figure("sigma um", spare=True),
        text("limits", spare=True),
    )
    rows = [_state_row(s, look) for s in answer.streams]
    lines += ["", *table(columns, rows, width=look.width), *_dressing_lines(answer.streams, look)]
    lines += [*_advice_lines(answer.streams, look), *_by_hand_lines(answer.by_hand, look), ""]
    lines += [answer.alarms.sentence]
    lines += [note_line(note) for note in answer.notes]
    return lines + _reason_lines(answer.streams)


def _due_words(due: Due, look: Look) -> str:
    at = when(due.at, look.zone)
    what = due.what if at is None else say("{what}, {at}", what=due.what, at=at)
    return say("due: {what} (overdue)", what=what) if due.overdue else say("due: {what}", what=what)


def _by_hand_lines(streams: Sequence[HandStream], look: Look) -> list[str]:
    """Return the bores finished by hand in the last week, which are in no machine's figures."""
    if not streams:
        return []
    columns = (text("finished by hand"), figure("bores"), figure("conform"), figure("mean um"), text("last"))
    rows = [
        [
            str(s.stream),
            str(s.bores),
            str(s.conforming),
            signed(s.mean_um, decimals=1),
            f"{s.last_part}, {when(s.last_at, look.zone)}",
        ]
        for s in streams
    ]
    return ["", *table(columns, rows, width=look.width)]


def _state_sentence(answer: State) -> str:
    by_status = {status: [s.spindle for s in answer.spindles if s.status is status] for status in Status}
    named = [say(words, spindles=listed(by_status[s])) for s, words in GROUPS if by_status[s]]
    if not named:
        return say("No bores have been taken yet.")
    sentence = "; ".join(named)
    return f"{sentence[0].upper()}{sentence[1:]}."


def _state_row(s: StreamState, look: Look) -> list[str | None]:
    b = s.baseline
    footing = None
    if b is not None:
        footing = say("provisional") if b.provisional else say("frozen by {who}", who=b.by)
    return [
        look.name(s.stream),
        say(s.status),
        count(s.bores),
        signed(s.mean_um, decimals=look.um),
        sure(s.drift_um_per_100_bores),
        bores_left(s.bores_to_limit),
        count(s.open_signals),
        number(s.sd_within_um, decimals=look.um + 1),
        number(s.sd_total_um, decimals=look.um + 1),
        signed(None if b is None else b.center_um, decimals=look.um),
        number(None if b is None else b.sigma_um, decimals=look.um + 1),
        footing,
    ]


def _dressing_lines(streams: Sequence[StreamState], look: Look) -> list[str]:
    """Return when each stream's spindle is dressed next, and the bores left if it is dressed as planned."""
    lines = []
    for s in streams:
        planned = s.planned_dressing
        if planned is None:
            continue
        told = NEXT_DRESSING if planned.in_bores > 0 else DRESSING_NOW
        words = say(
            told,
            stream=look.name(s.stream),
            bores=count(planned.in_bores),
            source=say(PLANNED_BY[planned.from_]),
            chance=chance(planned.reached_before.value),
            left=_left_when_dressed(planned),
        )
        lines.append(f"  {words}")
    head = say("Bores to the next dressing, and to a limit if dressed as planned:")
    return ["", head, *lines] if lines else []


def _left_when_dressed(planned: PlannedDressing) -> str:
    left = planned.bores_to_limit
    if left is None:
        return say("not known: {why}", why=planned.why_not["bores_to_limit"])
    return say("none in sight") if left.p05 is None else bores_left(left) or ""


def _advice_lines(streams: Sequence[StreamState], look: Look) -> list[str]:
    """Return what correction pays, or that none does, with each caution once before it."""
    advised = [(s.stream, advice) for s in streams for advice in s.advice]
    if not advised:
        return []
    lines = ["", say("Corrections of size (um of diameter, + is larger):")]
    lines += dict.fromkeys(advice.caution for _, advice in advised)
    for stream, advice in advised:
        what = say(advice.what)
        if advice.by_um is not None:
            what = say("{what} by {size} um", what=what, size=signed(advice.by_um, decimals=1))
        lines.append(f"  {look.name(stream)}: {what}. {advice.why}")
    return lines


def shifts_lines(answer: Shifts, look: Look) -> list[str]:
    """Return one shift: a sentence, a row a stream, then every subgroup beyond a limit."""
    columns = (
        text("stream"),
        figure("bores"),
        figure("mean um"),
        figure("before um"),
        figure("moved um (95 %)"),
        figure("subgroups"),
        figure("beyond"),
        text("signals", spare=True),
    )
    lines = [answer.sentence, as_of_line(answer.as_of, answer.sheet, look.zone), ""]
    lines += table(columns, [_shift_row(s, look) for s in answer.shifts], width=look.width)
    beyond = [(s, p) for s in answer.shifts for p in s.subgroups if p.beyond]
    if beyond:
        lines += ["", say("Subgroups beyond a limit:"), *_beyond_table(beyond, look)]
    if answer.loudest:
        most = "; ".join(
            say_many(
                "{shift} with {count} signal",
                "{shift} with {count} signals",
                one.signals,
                shift=str(one.shift),
            )
            for one in answer.loudest
        )
        lines += ["", say("Most signals in the week up to its end: {shifts}.", shifts=most)]
    if answer.decided:
        lines += ["", say("Decided in the shift:")]
        lines += [f"{when(one.at, look.zone)}  {clean(one.words)}" for one in answer.decided]
    if answer.known:
        shifts = listed(map(str, reversed(answer.known)), most=6)
        lines += ["", say("Shifts with bores: {shifts}.", shifts=shifts)]
    return lines + _reason_lines(answer.shifts)


def _shift_row(s: StreamShift, look: Look) -> list[str | None]:
    return [
        look.name(s.stream),
        count(s.bores),
        signed(s.mean_um, decimals=look.um),
        signed(s.previous_mean_um, decimals=look.um),
        _moved(s.moved_um, look),
        count(len(s.subgroups)),
        count(sum(bool(p.beyond) for p in s.subgroups)),
        listed(s.signals, most=3),
    ]


def _moved(found: Estimate | None, look: Look) -> str | None:
    if found is None:
        return None
    value, low, high = (signed(v, decimals=look.um) for v in (found.value, found.low, found.high))
    return value if found.low is None else ranged(value, low, high)


def _beyond_table(points: Sequence[tuple[StreamShift, SubgroupPoint]], look: Look) -> list[str]:
    columns = (
        text("stream"),
        text("at"),
        text("parts"),
        figure("mean um"),
        text("limits um", spare=True),
        figure("range um"),
        figure("upper um", spare=True),
        text("beyond"),
    )
    rows = [
        [
            look.name(s.stream),
            when(p.at, look.zone),
            say("{first} to {last}", first=p.first_part, last=p.last_part),
            signed(p.mean_um, decimals=look.um),
            _from_to(p.mean_limits, look),
            number(p.range_um, decimals=look.um),
            number(None if p.range_limits is None else p.range_limits.upper, decimals=look.um),
            ", ".join(map(say, p.beyond)),
        ]
        for s, p in points
    ]
    return table(columns, rows, width=look.width)


def _from_to(limits: Limits | None, look: Look) -> str | None:
    if limits is None:
        return None
    low, high = (signed(limit, decimals=look.um) for limit in (limits.lower, limits.upper))
    return say("{low} to {high}", low=low, high=high)


def _reason_lines(rows: Sequence[StreamState | StreamShift]) -> list[str]:
    found = reasons([row.stream for row in rows], [row.why_not for row in rows])
    return ["", *found] if found else []
