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
from cellmon.monitor.signals import WAITING, Signal, Signals

DAY_S, HOUR_S = 86_400, 3_600


def signals_head(answer: Signals, *, cell: str) -> Head:
    """Return what stands at the head of every page."""
    foot = "Advice only: causes are weighed from what moved together; a qualified person decides."
    return Head(kind="Signal register", cell=cell, as_of=answer.as_of, sheet=answer.sheet, foot=foot)


def signals_leaves(answer: Signals, *, size: PaperSize = PaperSize.A4) -> tuple[Leaf, ...]:
    """Return the register as one leaf, newest signal first."""
    room = inner_width(size)
    rows = [[_when(s), _what(s), _cause(s), answer_words(s)] for s in answer.signals]
    head = ["raised, age", "what", "likeliest cause; check first", "answer"]
    cautions = cautions_of(answer.signals)
    blocks: list[Block] = [lead(register_sentence(answer.signals))]
    if rows:
        blocks.append(table(head, rows, widths=[1.5, 2.9, 3.4, 2.1], room=room))
    blocks += [
        heading("Cautions"),
        small(answer.caution),
        *(small(c) for c in cautions if c != answer.caution),
    ]
    blocks.append(together(space(4), signatures(("Read by",), room=room / 2)))
    return (Leaf(title="All signals", blocks=blocks),)


def register_sentence(signals: Sequence[Signal]) -> str:
    """Say how many signals there are, how many wait, and how long the oldest has waited."""
    if not signals:
        return "No signal was ever raised."
    open_ = [s for s in signals if s.state in WAITING]
    counts = [(len(open_), "open")] + [
        (sum(s.state == state for s in signals), state) for state in ("answered", "withdrawn")
    ]
    said = ", ".join(f"{n} {word}" for n, word in counts if n)
    many = "1 signal" if len(signals) == 1 else f"{len(signals)} signals"
    if not open_:
        return f"{many}: {said}. None waits for an answer."
    oldest = max(open_, key=lambda s: s.age_s)
    return f"{many}: {said}. The oldest open one has waited {age_words(oldest)}: {oldest.words}."


def age_words(signal: Signal) -> str:
    """Return a signal's age in the two units that tell it."""
    days, rest = divmod(int(signal.age_s), DAY_S)
    hours, rest = divmod(rest, HOUR_S)
    return f"{days} d {hours} h" if days else f"{hours} h {rest // 60} min"


def state_words(signal: Signal) -> str:
    """Return the state of a signal, and whether the stream is back."""
    seen = signal.response is not None and signal.response.seen
    state = "seen, not answered" if seen and signal.state == "open" else signal.state
    return f"{state}, back since" if signal.over and signal.state != "withdrawn" else state


def answer_words(signal: Signal) -> str:
    """Return the answer in a sentence; that there is none, where there is none."""
    answer = signal.response
    if answer is None:
        return "none yet" if signal.state in WAITING else "none"
    at = f"{answer.by}, {answer.at:%Y-%m-%d %H:%M}"
    if answer.seen:
        return f"seen by {at}; no answer yet"
    return f"{answer.cause}: {answer.action}. {at}"


def cautions_of(signals: Iterable[Signal]) -> list[str]:
    """Return the cautions of the likeliest causes, each with its cause, once."""
    found: dict[str, str] = {}
    for s in signals:
        if s.causes and s.state in WAITING:
            found.setdefault(s.causes[0].title, s.causes[0].caution)
    return [f"{title}: {caution}" for title, caution in found.items()]


def _when(s: Signal) -> str:
    return f"{s.raised_at:%Y-%m-%d %H:%M}\n{age_words(s)} ago\n{s.id}"


def _what(s: Signal) -> str:
    parts = s.part if s.part == s.last_part else f"{s.part} to {s.last_part}"
    return f"{s.words}\n{parts}; {state_words(s)}"


def _cause(s: Signal) -> str:
    if not s.causes:
        return s.why_not.get("causes", "not known")
    first = s.causes[0]
    return f"{first.title} ({100 * first.weight:.0f} %). {first.check_first}"
