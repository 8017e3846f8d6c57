"""The signals in the order in which they are shown, the one a page opens, and what is said of them all."""

from __future__ import annotations

from cellmon.errors import NotFound
from cellmon.monitor.signals import WAITING, Signal, Signals
from cellmon.words import say, say_many
from dashboards.pages import parts


def ordered(answer: Signals) -> tuple[list[Signal], list[Signal], list[Signal]]:
    """Return those that wait, those that were answered and those withdrawn, each newest first."""
    waiting, answered, gone = [], [], []
    for signal in answer.signals:
        if signal.state in WAITING:
            waiting.append(signal)
        else:
            (gone if signal.state == "withdrawn" else answered).append(signal)
    return waiting, answered, gone


def chosen_of(answer: Signals, wanted: str | None) -> Signal | None:
    """Return the signal a link names; without one the newest that waits, else the newest; None if none.

    Raises
    ------
    NotFound
        When there is no such signal.
    """
    if wanted is not None:
        found = next((s for s in answer.signals if s.id == wanted), None)
        if found is None:
            raise NotFound(say("There is no signal {signal} here.", signal=wanted))
        return found
    return next((s for group in ordered(answer) for s in group), None)


def sentence(answer: Signals) -> str:
    """Return how many signals wait, and what the newest says."""
    waiting, answered, _ = ordered(answer)
    if not waiting:
        return say("No signal waits for an answer.") if answered else say("Nothing was signalled yet.")
    newest = waiting[0]
    return say_many(
        "{count} signal waits for an answer; the newest, {at}: {words}.",
        "{count} signals wait for an answer; the newest, {at}: {words}.",
        len(waiting),
        at=parts.when(newest.raised_at),
        words=newest.words,
    )
