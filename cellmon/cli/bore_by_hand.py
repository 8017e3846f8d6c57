"""A person at the bore: questions and answers round by round; the same in a pipe."""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from cellmon.cli.bore_asked import (
    END,
    answer_of,
    ask,
    asked_readings,
    asked_temperature,
    degrees,
    sure,
    tried,
)
from cellmon.cli.bore_lines import bore_lines
from cellmon.cli.terminal import clean, write
from cellmon.errors import WrongUsage
from cellmon.words import say, to_say

if TYPE_CHECKING:
    from cellmon.monitor import Monitor
    from cellmon.monitor.bore import BoreAnswer
    from cellmon.monitor.bore.keeping import TypedRound


def by_hand(monitor: Monitor, args: argparse.Namespace) -> None:
    """Ask for the block, the zero, then for one round after another, until the bore or the person ends."""
    from cellmon.monitor.bore.words import ENDED, WASH

    answer = answer_of(monitor, args)
    if not _block_by_hand(monitor, args, answer):
        return
    found = ask(say("Gauge on its master, before (Enter: not checked): "))
    if found is None or found in END:
        return
    if found:
        tried(lambda: _zero_by_hand(monitor, found, state="as-found", by=args.by))
    if not answer.sign_checked:
        _sign_by_hand(monitor, args)
    while answer.next is None or answer.next.step not in ENDED:
        if not _round_by_hand(monitor, args, answer):
            break
        answer = answer_of(monitor, args)
        write(["", *(clean(line) for line in bore_lines(answer, cautions=False))])
    left = ask(say("Gauge on its master, after (Enter: not checked): "))
    if left and left not in END:
        tried(lambda: _zero_by_hand(monitor, left, state="as-left", by=args.by))
    if answer.next is not None and answer.next.step == "finished":
        write([say(WASH)])
        _cleaned_by_hand(monitor, args)


def _block_by_hand(monitor: Monitor, args: argparse.Namespace, answer: BoreAnswer) -> bool:
    """Ask who measures, and once for a block its job and the customer's reference; False ends."""
    if not args.by:
        name = ask(say("Who measures (Enter: not said): "))
        if name is None or name in END:
            return False
        args.by = name
    if not args.by or answer.block.said or answer.rounds:
        return True
    job = ask(say("Job (Enter: none): "))
    reference = None if job is None or job in END else ask(say("Customer's reference (Enter: none): "))
    if reference is None or reference in END:
        return False
    tried(lambda: monitor.tell_block(args.part, by=args.by, job=job, reference=reference))
    return True


def _cleaned_by_hand(monitor: Monitor, args: argparse.Namespace) -> None:
    """Ask for the tick that the block was cleaned, which needs a name."""
    if args.by and ask(say("Is that done (y; Enter: not yet): ")) in ("y", say("y")):
        tried(lambda: monitor.tell_block(args.part, by=args.by, cleaned=True))


def _zero_by_hand(monitor: Monitor, typed: str, *, state: str, by: str) -> None:
    """Keep what the gauge read on its master, and say what to do where it stands far from zero."""
    from cellmon.monitor.bore.zero import keep_zero, zero_warning

    warned = zero_warning(monitor.sheet, keep_zero(monitor, typed, state=state, by=by), state=state)
    if warned is not None:
        write([clean(warned)])


def _sign_by_hand(monitor: Monitor, args: argparse.Namespace) -> None:
    """Ask once, before the first bore, whether a larger size reads larger."""
    from cellmon.monitor.bore.zero import keep_sign

    text = to_say(
        "Sign check: on something {um} um larger than the master the gauge reads (Enter: not checked): "
    )
    said = ask(say(text, um=20))
    if said and said not in END:
        tried(lambda: keep_sign(monitor, said, larger_um=20.0, by=args.by))


@dataclass(frozen=True, kw_only=True)
class _Made:
    """What was done since the last round; `number` is that of a round that is typed again."""

    strokes: Any
    stones: str
    number: int | None = None
    as_advised: bool = False


def _round_by_hand(monitor: Monitor, args: argparse.Namespace, answer: BoreAnswer) -> bool:
    """Ask for one round and keep it; False ends."""
    try:
        made = _made_by_hand(monitor, args, answer)
    except WrongUsage as wrong:
        write([str(wrong)])
        return True
    if not isinstance(made, _Made):
        return made
    warm = asked_temperature(say("Temperature of the part, C (Enter: not measured): "))
    master: str | None = ""
    if warm:
        master = asked_temperature(say("Temperature of the master, C (Enter: not measured): "))
    if warm is None or master is None:
        return False
    near = answer.next.expected_um if made.as_advised and answer.next is not None else {}
    found = asked_readings(monitor, args.part_number, expected_um=near)
    if found is None:
        return False
    from cellmon.monitor.bore.keeping import TypedRound

    typed = TypedRound(
        part=args.part,
        bore=args.bore,
        part_number=args.part_number,
        readings=found.texts,
        strokes=made.strokes,
        stones=made.stones,
        part_temp_c=degrees(warm),
        master_temp_c=degrees(master),
        rpm=args.rpm,
        strokes_per_min=args.strokes_per_min,
        by=args.by,
        number=made.number,
    )
    tried(lambda: _keep_if_sure(monitor, typed, found.confirmed))
    return True


def _made_by_hand(monitor: Monitor, args: argparse.Namespace, answer: BoreAnswer) -> _Made | bool:
    """Ask for strokes and stones; False ends, True: something else was typed, ask again."""
    from cellmon.monitor.bore.keeping import strokes_of

    told = answer.next
    if not answer.rounds or told is None:
        return _Made(strokes=strokes_of({}), stones="")
    advised = f"{told.strokes_full}/{told.strokes_top}/{told.strokes_bottom}"
    text = to_say(
        "Strokes made: full/top/bottom (Enter: {advised}; u: type the last round again; e: a cell event): "
    )
    said = ask(say(text, advised=advised))
    if said in (None, *END):
        return False
    if said == "e":
        from cellmon.cli.bore_besides import by_hand_event

        by_hand_event(monitor, by=args.by)
        return True
    last = answer.rounds[-1]
    if said == "u":
        again = f"{last.strokes_full}/{last.strokes_top}/{last.strokes_bottom}"
        return _Made(strokes=strokes_of(again), stones=last.stones, number=last.number)
    strokes = strokes_of(said or advised)
    usual = told.change_to or told.stones
    stones = ask(say("Stones (Enter: {stones}): ", stones=usual or say("as before")))
    if stones is None or stones in END:
        return False
    return _Made(strokes=strokes, stones=stones or usual, as_advised=said in ("", advised))


def _keep_if_sure(monitor: Monitor, typed: TypedRound, confirmed: frozenset[str]) -> None:
    again = say("Enter: keep it as typed; n: type the round again: ")
    asked = tuple(one for one in monitor.look_at_round(typed).asked if one not in confirmed)
    if sure(asked, again=again):
        monitor.keep_round(typed)
