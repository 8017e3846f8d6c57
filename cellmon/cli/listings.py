"""The lines of the answers about streams: state, shifts, capability."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from cellmon.cli.showing import Look
from cellmon.cli.terminal import figure, table, text
from cellmon.cli.wording import (
    at_least,
    bores_left,
    chance,
    count,
    interval,
    listed,
    number,
    ppm,
    reasons,
    signed,
    sure,
    when,
)
from cellmon.monitor.status import Status

if TYPE_CHECKING:
    from cellmon.monitor.answers import Limits
    from cellmon.monitor.capability import CapabilityAnswer
    from cellmon.monitor.capability_stream import StreamCapability
    from cellmon.monitor.shifts import Shifts, StreamShift, SubgroupPoint
    from cellmon.monitor.state import State, StreamState


def state_lines(answer: State, look: Look) -> list[str]:
    """Return the cell now: a sentence, a line a spindle, a row a stream."""
    lines = [
        _state_sentence(answer),
        f"As of {when(answer.as_of, look.zone)}, sheet version {answer.sheet}.",
        "",
    ]
    for spindle in answer.spindles:
        head = f"{spindle.spindle}: {spindle.status}. "
        lines.append(spindle.sentence if spindle.sentence.startswith(head) else head + spindle.sentence)
        for due in spindle.due:
            at = "" if due.at is None else f", {when(due.at, look.zone)}"
            lines.append(f"    due: {due.what}{at}{' (overdue)' if due.overdue else ''}")
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
    lines += [*_advice_lines(answer.streams, look), ""]
    lines += [answer.alarms.sentence]
    lines += [f"note: {note}" for note in answer.notes]
    return lines + _reason_lines(answer.streams)


def _state_sentence(answer: State) -> str:
    by_status = {status: [s.spindle for s in answer.spindles if s.status is status] for status in Status}
    said = [
        f"{word} {listed(by_status[status])}"
        for status, word in (
            (Status.STOP, "stop"),
            (Status.LOOK, "look at"),
            (Status.CARRY_ON, "carry on with"),
        )
        if by_status[status]
    ]
    if not said:
        return "No bores have been taken yet."
    sentence = "; ".join(said)
    return f"{sentence[0].upper()}{sentence[1:]}."


def _state_row(s: StreamState, look: Look) -> list[str | None]:
    b = s.baseline
    footing = None if b is None else "provisional" if b.provisional else f"frozen by {b.by}"
    return [
        look.name(s.stream),
        s.status,
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
        due = f"in {count(planned.in_bores)}" if planned.in_bores > 0 else "now"
        left = bores_left(planned.bores_to_limit) or f"not known: {planned.why_not['bores_to_limit']}"
        if planned.bores_to_limit is not None and planned.bores_to_limit.p05 is None:
            left = "none in sight"
        before = chance(planned.reached_before.value)
        lines.append(
            f"  {look.name(s.stream)}: next {due} ({planned.from_}), a limit before it {before}; then {left}"
        )
    return ["", "Bores to the next dressing, and to a limit if dressed as planned:", *lines] if lines else []


def _advice_lines(streams: Sequence[StreamState], look: Look) -> list[str]:
    """Return what correction pays, or that none does, with each caution once before it."""
    advised = [(s.stream, advice) for s in streams for advice in s.advice]
    if not advised:
        return []
    lines = ["", "Corrections of size (um of diameter, + is larger):"]
    lines += dict.fromkeys(advice.caution for _, advice in advised)
    for stream, advice in advised:
        by = "" if advice.by_um is None else f" by {signed(advice.by_um, decimals=1)} um"
        lines.append(f"  {look.name(stream)}: {advice.what}{by}. {advice.why}")
    return lines


def shifts_lines(answer: Shifts, look: Look) -> list[str]:
    """Return one shift: a sentence, a row a stream, then every subgroup beyond a limit."""
    columns = (
        text("stream"),
        figure("bores"),
        figure("mean um"),
        figure("before um"),
        figure("moved um"),
        figure("subgroups"),
        figure("beyond"),
        text("signals", spare=True),
    )
    lines = [answer.sentence, f"As of {when(answer.as_of, look.zone)}, sheet version {answer.sheet}.", ""]
    lines += table(columns, [_shift_row(s, look) for s in answer.shifts], width=look.width)
    beyond = [(s, p) for s in answer.shifts for p in s.subgroups if p.beyond]
    if beyond:
        lines += ["", "Subgroups beyond a limit:", *_beyond_table(beyond, look)]
    if answer.known:
        lines += ["", f"Shifts with bores: {listed(map(str, reversed(answer.known)), most=6)}."]
    return lines + _reason_lines(answer.shifts)


def _shift_row(s: StreamShift, look: Look) -> list[str | None]:
    moved = None if s.mean_um is None or s.previous_mean_um is None else s.mean_um - s.previous_mean_um
    return [
        look.name(s.stream),
        count(s.bores),
        signed(s.mean_um, decimals=look.um),
        signed(s.previous_mean_um, decimals=look.um),
        signed(moved, decimals=look.um),
        count(len(s.subgroups)),
        count(sum(bool(p.beyond) for p in s.subgroups)),
        listed(s.signals, most=3),
    ]


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
            f"{p.first_part} to {p.last_part}",
            signed(p.mean_um, decimals=look.um),
            _from_to(p.mean_limits, look),
            number(p.range_um, decimals=look.um),
            number(None if p.range_limits is None else p.range_limits.upper, decimals=look.um),
            ", ".join(p.beyond),
        ]
        for s, p in points
    ]
    return table(columns, rows, width=look.width)


def _from_to(limits: Limits | None, look: Look) -> str | None:
    if limits is None:
        return None
    return f"{signed(limits.lower, decimals=look.um)} to {signed(limits.upper, decimals=look.um)}"


def capability_lines(answer: CapabilityAnswer, look: Look) -> list[str]:
    """Return the indices: a sentence, a row a stream, then what forbids each claim."""
    columns = (
        text("stream"),
        figure("bores"),
        figure("mean um", spare=True),
        figure("sd within um", spare=True),
        figure("sd total um", spare=True),
        text("Cp", spare=True),
        text("Cpk", spare=True),
        text("Pp", spare=True),
        text("Ppk"),
        figure("at least"),
        figure("ppm expected", spare=True),
        figure("ppm seen", spare=True),
        text("claim"),
    )
    confidence = f"{answer.confidence:.1%}".replace(".0%", "%")
    lines = [
        answer.sentence,
        f"Required: {answer.required:.2f}. 'At least' is the one-sided lower bound at {confidence} "
        "of the index the claim rests on; intervals stand beside each index.",
        f"As of {when(answer.as_of, look.zone)}, sheet version {answer.sheet}.",
        "",
    ]
    lines += table(columns, [_capability_row(s, look) for s in answer.capability], width=look.width)
    forbidden = [f"  {look.name(s.stream)}: {' '.join(s.reasons)}" for s in answer.capability if s.reasons]
    if forbidden:
        lines += ["", "What forbids or weakens a claim:", *forbidden]
    lines += _behaviour_lines(answer, look) + _pooling_lines(answer)
    return lines + _reason_lines(answer.capability)


def _behaviour_lines(answer: CapabilityAnswer, look: Look) -> list[str]:
    """Return how the bores of each stream behave in time, and what they are worth."""
    lines = []
    for s in answer.capability:
        if s.time_model is None:
            continue
        words = f"{s.time_model}. Indices by: {s.model}."
        if s.effective_n is not None:
            words += f" Neighbours correlate by {s.correlation:.2f}: worth {count(s.effective_n)} bores."
        if s.ppk_process is not None:
            words += f" Without the gauge's noise Ppk is {interval(s.ppk_process, decimals=2)}."
        lines.append(f"  {look.name(s.stream)}: {words}")
    return ["", "How the bores behave:", *lines] if lines else []


def _pooling_lines(answer: CapabilityAnswer) -> list[str]:
    lines = [
        f"  {p.feature}: "
        + (
            f"{count(p.n)} bores together, Ppk {interval(p.ppk, decimals=2)}, at least "
            f"{at_least(p.lower_bound, decimals=2)}."
            if p.may_be_pooled
            else " ".join(p.reasons)
        )
        for p in answer.pooled
    ]
    return ["", "Streams of one feature together:", *lines] if lines else []


def _capability_row(s: StreamCapability, look: Look) -> list[str | None]:
    return [
        look.name(s.stream),
        count(s.n),
        signed(s.mean_um, decimals=look.um),
        number(s.sd_within_um, decimals=look.um + 1),
        number(s.sd_total_um, decimals=look.um + 1),
        *(interval(index, decimals=2) for index in (s.cp, s.cpk, s.pp, s.ppk)),
        at_least(s.lower_bound, decimals=2),
        ppm(None if s.ppm_expected is None else s.ppm_expected.value),
        ppm(s.ppm_observed),
        s.claim,
    ]


def _reason_lines(rows: Sequence[StreamState | StreamShift | StreamCapability]) -> list[str]:
    found = reasons([row.stream for row in rows], [row.why_not for row in rows])
    return ["", *found] if found else []
