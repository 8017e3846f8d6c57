"""The register of signals on paper: every signal with its cause, its answer and its age."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from cellmon.export.paper import (
    Block,
    Head,
    Leaf,
    PaperSize,
    heading,
    inner_width,
    lead,
    signatures,
    small,
    space,
    table,
    together,
)
from cellmon.local import number
from cellmon.monitor.signals import WAITING, Signal, Signals
from cellmon.words import say, say_many

DAY_S, HOUR_S = 86_400, 3_600


def signals_head(answer: Signals, *, cell: str) -> Head:
    """Return what stands at the head of every page."""
    foot = say("Advice only: causes are weighed from what moved together; a qualified person decides.")
    return Head(kind=say("Signal register"), cell=cell, as_of=answer.as_of, sheet=answer.sheet, foot=foot)


def signals_leaves(answer: Signals, *, size: PaperSize = PaperSize.A4) -> tuple[Leaf, ...]:
    """Return the register as one leaf, newest signal first."""
    room = inner_width(size)
    rows = [[_when(s), _what(s), _cause(s), answer_words(s)] for s in answer.signals]
    head = [say("raised, age"), say("what"), say("likeliest cause; check first"), say("answer")]
    cautions = cautions_of(answer.signals)
    blocks: list[Block] = [lead(register_sentence(answer.signals))]
    if rows:
        blocks.append(table(head, rows, widths=[1.5, 2.9, 3.4, 2.1], room=room))
    blocks += [
        heading(say("Cautions")),
        small(answer.caution),
        *(small(c) for c in cautions if c != answer.caution),
    ]
    blocks.append(together(space(4), signatures((say("Read by"),), room=room / 2)))
    return (Leaf(title=say("All signals"), blocks=blocks),)


def register_sentence(signals: Sequence[Signal]) -> str:
    """Say how many signals there are, how many wait, and how long the oldest has waited."""
    if not signals:
        return say("No signal was ever raised.")
    open_ = [s for s in signals if s.state in WAITING]
    answered, withdrawn = (sum(s.state == state for s in signals) for state in ("answered", "withdrawn"))
    counts = [
        (len(open_), say("{count} open", count=number(len(open_)))),
        (answered, say("{count} answered", count=number(answered))),
        (withdrawn, say("{count} withdrawn", count=number(withdrawn))),
    ]
    said = ", ".join(words for n, words in counts if n)
    if not open_:
        return say_many(
            "{count} signal: {states}. None waits for an answer.",
            "{count} signals: {states}. None waits for an answer.",
            len(signals),
            states=said,
        )
    oldest = max(open_, key=lambda s: s.age_s)
    return say_many(
        "{count} signal: {states}. The oldest open one has waited {age}: {words}.",
        "{count} signals: {states}. The oldest open one has waited {age}: {words}.",
        len(signals),
        states=said,
        age=age_words(oldest),
        words=oldest.words,
    )


def age_words(signal: Signal) -> str:
    """Return a signal's age in the two units that tell it."""
    days, rest = divmod(int(signal.age_s), DAY_S)
    hours, rest = divmod(rest, HOUR_S)
    if days:
        return say("{days} d {hours} h", days=days, hours=hours)
    return say("{hours} h {minutes} min", hours=hours, minutes=rest // 60)


def state_words(signal: Signal) -> str:
    """Return the state of a signal, and whether the stream is back."""
    seen = signal.response is not None and signal.response.seen
    state = say("seen, not answered") if seen and signal.state == "open" else say(signal.state)
    return say("{state}, back since", state=state) if signal.over and signal.state != "withdrawn" else state


def answer_words(signal: Signal) -> str:
    """Return the answer in a sentence; that there is none, where there is none."""
    answer = signal.response
    if answer is None:
        return say("none yet") if signal.state in WAITING else say("none")
    at = f"{answer.by}, {answer.at:%Y-%m-%d %H:%M}"
    if answer.seen:
        return say("seen by {by}; no answer yet", by=at)
    return f"{answer.cause}: {answer.action}. {at}"


def cautions_of(signals: Iterable[Signal]) -> list[str]:
    """Return the cautions of the likeliest causes, each with its cause, once."""
    found: dict[str, str] = {}
    for s in signals:
        if s.causes and s.state in WAITING:
            found.setdefault(s.causes[0].title, s.causes[0].caution)
    return [f"{title}: {caution}" for title, caution in found.items()]


def _when(s: Signal) -> str:
    ago = say("{age} ago", age=age_words(s))
    return f"{s.raised_at:%Y-%m-%d %H:%M}\n{ago}\n{s.id}"


def _what(s: Signal) -> str:
    same = s.part == s.last_part
    parts = s.part if same else say("{first} to {last}", first=s.part, last=s.last_part)
    return f"{s.words}\n{parts}; {state_words(s)}"


def _cause(s: Signal) -> str:
    if not s.causes:
        return s.why_not.get("causes", say("not known"))
    first = s.causes[0]
    return f"{first.title} ({number(100 * first.weight)} %). {first.check_first}"
