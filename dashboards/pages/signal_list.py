"""The signals in the order in which they are shown, as a list of links, and the one a page opens."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from functools import lru_cache
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from dash import dcc, html

from cellmon.errors import CellmonError, NotFound
from cellmon.monitor.signals import WAITING, Signal
from cellmon.monitor.signals_listed import Listed, Newest
from cellmon.words import say, say_many, voice
from dashboards.pages import leafing, one_signal, parts

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

PATH = "/signals"
ANSWERED, GONE = ("answered",), ("withdrawn",)
SAID_WHY = 10
"""Of so many that wait the list says the likely cause; the others say it where they are opened."""


HOLD_FORM = "hold-form"
"""Where it is said what becomes of held parts; a link may name the one that is meant."""


def listed(monitor: Monitor, *, named: str | None = None) -> Listed:
    """Return the newest signals of each sort, as many as the list shows."""
    return monitor.signals_listed(why=SAID_WHY, named=named)


def named(monitor: Monitor, wanted: str) -> Signal:
    """Return the signal a link names, and why it may be.

    Raises
    ------
    NotFound
        When there is no such signal.
    """
    found = monitor.signal_named(wanted).signal
    if found is None:
        raise NotFound(say("There is no signal {signal} here.", signal=wanted))
    return found


def newest(answer: Listed) -> Signal | None:
    """Return the newest signal that waits, else that was answered, else withdrawn; None if none."""
    every = (answer.waiting, answer.answered, answer.withdrawn)
    return next((signal for sort in every for signal in sort.signals), None)


def sentence(answer: Listed) -> str:
    """Return how many signals wait, and what the newest says."""
    if not answer.waiting.count:
        answered = answer.answered.count
        return say("No signal waits for an answer.") if answered else say("Nothing was signalled yet.")
    first = answer.waiting.signals[0]
    return say_many(
        "{count} signal waits for an answer; the newest, {at}: {words}.",
        "{count} signals wait for an answer; the newest, {at}: {words}.",
        answer.waiting.count,
        at=parts.when(first.raised_at),
        words=first.words,
    )


def link_to(signal: str, **more: str) -> str:
    """Return the address of one signal; `part` is the block that is meant of its hold list."""
    return f"{PATH}?{urlencode({'signal': signal, **more})}"


def show_list(monitor: Monitor, wanted: str | None, before: str | None = None) -> list[Any]:
    """Return the sentence, the caution, the list and the signal that is chosen.

    Where no link names one, that shown before stays: a newer one must not take a half-written answer away.
    """
    try:
        answer = listed(monitor, named=wanted or before)
        if wanted and answer.named is None:
            raise NotFound(say("There is no signal {signal} here.", signal=wanted))
    except CellmonError as refusal:
        return [parts.notice(str(refusal)), "", [], None]
    chosen = answer.named or newest(answer)
    return [sentence(answer), answer.caution, sorts(answer, chosen), chosen.id if chosen else None]


def sorts(answer: Listed, chosen: Signal | None) -> list[Any]:
    """Return those that wait, those that were answered and, folded away, those withdrawn, each as a list."""
    waiting, answered, gone = answer.waiting, answer.answered, answer.withdrawn
    found: list[Any] = []
    if waiting.count:
        upto = say("Ages up to the newest row, {at}.", at=parts.when(answer.as_of))
        head = [html.H2(say("Waiting, {count}", count=waiting.count)), html.P(upto, className="aside")]
        found += [*head, *entries(waiting, chosen, WAITING)]
    if answered.count:
        title = html.H2(say("Answered, {count}", count=answered.count))
        found += [title, *entries(answered, chosen, ANSWERED)]
    if gone.count:
        fold = [html.Summary(say("Withdrawn, {count}", count=gone.count)), *entries(gone, chosen, GONE)]
        opened = chosen is not None and chosen.state in GONE
        found.append(parts.folded(fold, "gone", opened=opened))
    return found


def entries(sort: Newest, chosen: Signal | None, states: Sequence[str]) -> list[Any]:
    """Return the newest signals of a sort as a list, the chosen one among them, and how many are left out."""
    shown = list(sort.signals)
    if chosen is not None and chosen.state in states and all(s.id != chosen.id for s in shown):
        shown.append(chosen)
    rest = sort.count - len(shown)
    text = say_many(
        "{count} older one is in the table below.", "{count} older ones are in the table below.", rest
    )
    older = [html.P(text, className="aside")] if rest else []
    return [html.Ul([entry(s, chosen) for s in shown], **leafing.roves()), *older]


def entry(signal: Signal, chosen: Signal | None) -> html.Li:
    """Return a signal as it stands in the list: what moved, since when, why, and whether it waits."""
    return _entry(
        signal.words,
        (signal.change.at if signal.change else signal.raised_at).replace(tzinfo=None),
        signal.causes[0].title if signal.causes else None,
        one_signal.short_state_words(signal),
        link=link_to(signal.id),
        waits=signal.state in WAITING,
        here=chosen is not None and chosen.id == signal.id,
        said=voice(),
    )


@lru_cache(maxsize=512)
def _entry(
    words: str,
    began: datetime,
    cause: str | None,
    state: str,
    *,
    link: str,
    waits: bool,
    here: bool,
    said: tuple[int, bool],
) -> html.Li:
    """Draw an entry, in the language `said`; most stand as they did, and nobody changes one."""
    likely = say("Likely: {cause}.", cause=cause) if cause else ""
    told = [
        dcc.Link(parts.capital(words), href=link, className="words"),
        html.Span(f"{say('Since {at}.', at=parts.when(began))} {likely}", className="more"),
        html.Span(one_signal.sentence(state), className="state waits" if waits else "state"),
    ]
    return html.Li(told, className="here" if here else "")
