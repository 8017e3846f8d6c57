"""The signals in the order in which they are shown, as a list of links, and the one a page opens."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from dash import dcc, html

from cellmon.errors import CellmonError, NotFound
from cellmon.monitor.signals import WAITING, Signal, Signals
from cellmon.words import say, say_many
from dashboards.pages import leafing, one_signal, parts

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

PATH = "/signals"
SAID_WHY = 10
"""Of so many that wait the list says the likely cause; the others say it where they are opened."""


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


def link_to(signal: str) -> str:
    """Return the address of one signal."""
    return f"{PATH}?signal={signal}"


def show_list(monitor: Monitor, wanted: str | None, before: str | None = None) -> list[Any]:
    """Return the sentence, the caution, the list and the signal that is chosen.

    Where no link names one, that shown before stays: a newer one must not take a half-written answer away.
    """
    try:
        answer = monitor.signals(why=SAID_WHY)
        known = before if any(s.id == before for s in answer.signals) else None
        chosen = chosen_of(answer, wanted or known)
    except CellmonError as refusal:
        return [parts.notice(str(refusal)), "", [], None]
    waiting, answered, gone = ordered(answer)
    found: list[Any] = []
    if waiting:
        upto = say("Ages up to the newest row, {at}.", at=parts.when(answer.as_of))
        head = [html.H2(say("Waiting, {count}", count=len(waiting))), html.P(upto, className="aside")]
        found += [*head, *entries(waiting, chosen)]
    if answered:
        found += [html.H2(say("Answered, {count}", count=len(answered))), *entries(answered, chosen)]
    if gone:
        summary = html.Summary(say("Withdrawn, {count}", count=len(gone)))
        found.append(parts.folded([summary, *entries(gone, chosen)], "gone", opened=chosen in gone))
    return [sentence(answer), answer.caution, found, chosen.id if chosen else None]


def entries(signals: Sequence[Signal], chosen: Signal | None) -> list[Any]:
    """Return the newest of some signals as a list, the chosen one among them, and how many are left out."""
    shown = [s for i, s in enumerate(signals) if i < leafing.SHOWN or s is chosen]
    rest = len(signals) - len(shown)
    text = say_many(
        "{count} older one is in the table below.", "{count} older ones are in the table below.", rest
    )
    older = [html.P(text, className="aside")] if rest else []
    return [html.Ul([entry(s, chosen) for s in shown], **leafing.roves()), *older]


def entry(signal: Signal, chosen: Signal | None) -> html.Li:
    """Return a signal as it stands in the list: what moved, since when, why, and whether it waits."""
    here = chosen is not None and chosen.id == signal.id
    likely = say("Likely: {cause}.", cause=signal.causes[0].title) if signal.causes else ""
    began = signal.change.at if signal.change else signal.raised_at
    link = dcc.Link(parts.capital(signal.words), href=link_to(signal.id), className="words")
    since = html.Span(f"{say('Since {at}.', at=parts.when(began))} {likely}", className="more")
    state = html.Span(
        one_signal.sentence(one_signal.short_state_words(signal)),
        className="state waits" if signal.state in WAITING else "state",
    )
    return html.Li([link, since, state], className="here" if here else "")
