"""The lines of signals: a row each, and one of them in full."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

from cellmon import local
from cellmon.cli.arguments import newest
from cellmon.cli.showing import Look
from cellmon.cli.terminal import figure, table, text
from cellmon.cli.wording import age, counted_bores, not_known_lines, number, signed, span, times, when
from cellmon.monitor.signals import Change, LikelyCause, Signal, Signals
from cellmon.words import say, say_many, to_say

WAITING = ("open", "reopened")
NO_WRAP = 10_000
"""Columns of a line where standard output is no terminal."""
WEIGHTS = to_say("Likely causes (weights are shares by the table of causes, not measured chances):")

OVER, STILL = to_say("{at}, over"), to_say("{at}, still")


def signals_lines(answer: Signals, look: Look, *, last: int, withdrawn: bool) -> list[str]:
    """Return the signals: how many wait, then a row each, newest first; `last` 0 shows all.

    Those withdrawn are counted, and shown with `withdrawn` only.
    """
    if not answer.signals:
        return [say("No signals.")]
    standing = [s for s in answer.signals if withdrawn or s.state != "withdrawn"]
    waiting = [s for s in standing if s.state in WAITING]
    sentences = [_waiting(len(waiting), len(standing)), *_hidden(len(answer.signals) - len(standing))]
    shown = standing[:last] if last else standing
    lines = [" ".join(sentences), *_table(shown, look), *newest(len(standing), last=last)]
    if waiting:
        lines += [
            "",
            answer.caution,
            say("One in full: cellmon signals {signal}", signal=waiting[0].id),
            say(
                "Answer one: cellmon respond {signal} --cause ... --action ... --by NAME",
                signal=waiting[0].id,
            ),
        ]
    return lines


def _waiting(waiting: int, of: int) -> str:
    return say_many(
        "{n} signal of {of} waits for an answer.",
        "{n} signals of {of} wait for an answer.",
        waiting,
        n=local.number(waiting),
        of=local.number(of),
    )


def _hidden(withdrawn: int) -> list[str]:
    if not withdrawn:
        return []
    return [
        say_many(
            "{n} withdrawn one not shown; --all shows it.",
            "{n} withdrawn ones not shown; --all shows them.",
            withdrawn,
            n=local.number(withdrawn),
        )
    ]


def _table(shown: Sequence[Signal], look: Look) -> list[str]:
    columns = (
        text("signal"),
        text("state"),
        text("stream"),
        text("kind"),
        figure("how much"),
        text("since (from to)"),
        text("likely cause", flexible=True),
        text("last seen", spare=True),
        text("raised", spare=True),
        figure("age", spare=True),
        text("answer", spare=True),
    )
    rows = table(columns, [_row(s, look) for s in shown], width=look.width)
    return ["", *rows] if rows else []


def _row(s: Signal, look: Look) -> list[str | None]:
    c = s.change
    return [
        s.id,
        say(s.state),
        look.name(s.stream),
        say(s.kind),
        how_much(s, look),
        None if c is None else span(c.at, c.earliest_at, c.latest_at, look.zone),
        cause_words(s.causes[0]) if s.causes else None,
        _last_seen(s, look),
        when(s.raised_at, look.zone),
        age(s.age_s),
        answer_words(s),
    ]


def how_much(s: Signal, look: Look) -> str | None:
    """Return how far a level moved, how many times wider a spread is, how many bores are misrouted."""
    if s.kind == "spread":
        return times(s.ratio)
    size = s.size_um if s.size is None else s.size
    if size is None:
        return None
    if s.kind == "routing":
        return counted_bores(round(size))
    unit = "um" if s.unit == "µm" else say(s.unit)
    if s.kind == "limit":
        return f"{number(size, decimals=2)} {unit}"
    return f"{signed(size, decimals=look.um)} {unit}"


def cause_words(cause: LikelyCause) -> str:
    """Return a cause in a line, its weight behind it."""
    return f"{cause.title} ({number(cause.weight, decimals=2)})"


def answer_words(s: Signal) -> str | None:
    """Return what a person answered, None where nobody did."""
    r = s.response
    if r is None:
        return None
    return say("seen by {by}", by=r.by) if r.cause is None else f"{r.cause}: {r.action} ({r.by})"


def _last_seen(s: Signal, look: Look) -> str:
    return say(OVER if s.over else STILL, at=when(s.last_at, look.zone))


def signal_lines(answer: Signals, look: Look) -> list[str]:
    """Return one signal in full: what moved, since when, what called; each cause with what to check first."""
    (s,) = answer.signals
    lines = [f"{s.id}: {s.words}.", answer.caution, ""]
    lines += _items(list(_facts(s, look)), look)
    if s.causes:
        lines += ["", say(WEIGHTS)]
    for n, cause in enumerate(s.causes, start=1):
        lines += ["", f"{n}. {cause_words(cause)}", *_items(_cause_items(cause), look, indent="   ")]
    lines += not_known_lines(s.why_not)
    lines += ["", say("Parts to contain: cellmon hold {signal}", signal=s.id)]
    if s.state in WAITING:
        lines.append(
            say("Answer it: cellmon respond {signal} --cause ... --action ... --by NAME", signal=s.id)
        )
    return lines


def _facts(s: Signal, look: Look) -> Iterator[tuple[str, str | None]]:
    yield say("kind"), _called_first(s)
    yield say("how much"), how_much(s, look)
    yield say("state"), say(s.state)
    raised = {"at": when(s.raised_at, look.zone), "part": s.part, "age": age(s.age_s)}
    yield say("raised"), say("{at} at {part}, {age} ago", **raised)
    if s.change is not None:
        yield from _since(s.change, look)
    yield say("last seen"), say("{seen} at {part}", seen=_last_seen(s, look), part=s.last_part)
    yield say("called by"), _callers(s, look)
    yield say("reaction"), s.reaction
    yield say("owner"), s.owner
    yield say("answer"), answer_words(s)


def _called_first(s: Signal) -> str:
    kind = say(s.kind)
    return say("{kind}, first called by {detector}", kind=kind, detector=s.detector) if s.detector else kind


def _since(c: Change, look: Look) -> Iterator[tuple[str, str | None]]:
    yield say("since"), span(c.at, c.earliest_at, c.latest_at, look.zone)
    parts = {"part": c.part, "earliest": c.earliest_part, "latest": c.latest_part}
    yield say("in parts"), say("from {part}; at the earliest {earliest}, at the latest {latest}", **parts)


def _callers(s: Signal, look: Look) -> str:
    names = "; ".join(map(look.name, s.streams))
    count = len(s.streams)
    return say_many("{n} stream: {names}", "{n} streams: {names}", count, n=local.number(count), names=names)


def _cause_items(cause: LikelyCause) -> list[tuple[str, str | None]]:
    return [
        (say("why"), cause.why),
        (say("check first"), cause.check_first),
        (say("correction"), cause.correction),
        (say("caution"), cause.caution),
    ]


def _items(items: Sequence[tuple[str, str | None]], look: Look, *, indent: str = "") -> list[str]:
    """Return a line an item, wrapped to the terminal; what has no words is left out."""
    there = [(name, words) for name, words in items if words]
    head = max(len(name) for name, _ in there) + 2
    lines = []
    for name, words in there:
        lines += textwrap.wrap(
            words,
            width=max(look.width or NO_WRAP, len(indent) + head + 20),
            initial_indent=indent + name.ljust(head),
            subsequent_indent=indent + " " * head,
        )
    return lines
