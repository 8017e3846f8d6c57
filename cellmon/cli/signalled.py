"""The lines of signals: a row each, and one of them in full."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

from cellmon.cli.arguments import newest
from cellmon.cli.showing import Look
from cellmon.cli.terminal import figure, table, text
from cellmon.cli.wording import age, plural, signed, span, times, when
from cellmon.monitor.signals import LikelyCause, Signal, Signals

WAITING = ("open", "reopened")
NO_WRAP = 10_000
"""Columns of a line where standard output is no terminal."""
WEIGHTS = "weights are shares by the table of causes, not measured chances"


def signals_lines(answer: Signals, look: Look, *, last: int, withdrawn: bool) -> list[str]:
    """Return the signals: how many wait, then a row each, newest first; `last` 0 shows all.

    Those withdrawn are counted, and shown with `withdrawn` only.
    """
    if not answer.signals:
        return ["No signals."]
    standing = [s for s in answer.signals if withdrawn or s.state != "withdrawn"]
    waiting = [s for s in standing if s.state in WAITING]
    sentence = f"{plural(len(waiting), 'signal')} of {len(standing):,} "
    sentence += "waits for an answer." if len(waiting) == 1 else "wait for an answer."
    hidden = len(answer.signals) - len(standing)
    if hidden:
        sentence += (
            f" {plural(hidden, 'withdrawn one')} not shown; --all shows {'it' if hidden == 1 else 'them'}."
        )
    shown = standing[:last] if last else standing
    lines = [sentence, *_table(shown, look), *newest(len(standing), last=last)]
    if waiting:
        lines += [
            "",
            answer.caution,
            f"One in full: cellmon signals {waiting[0].id}",
            f"Answer one: cellmon respond {waiting[0].id} --cause ... --action ... --by NAME",
        ]
    return lines


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
        s.state,
        look.name(s.stream),
        s.kind,
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
        return plural(round(size), "bore")
    unit = "um" if s.unit == "µm" else s.unit
    if s.kind == "limit":
        return f"{size:.2f} {unit}"
    return f"{signed(size, decimals=look.um)} {unit}"


def cause_words(cause: LikelyCause) -> str:
    """Return a cause in a line, its weight behind it."""
    return f"{cause.title} ({cause.weight:.2f})"


def answer_words(s: Signal) -> str | None:
    """Return what a person answered, None where nobody did."""
    r = s.response
    if r is None:
        return None
    return f"seen by {r.by}" if r.cause is None else f"{r.cause}: {r.action} ({r.by})"


def _last_seen(s: Signal, look: Look) -> str:
    return f"{when(s.last_at, look.zone)}{', over' if s.over else ', still'}"


def signal_lines(answer: Signals, look: Look) -> list[str]:
    """Return one signal in full: what moved, since when, what called; each cause with what to check first."""
    (s,) = answer.signals
    lines = [f"{s.id}: {s.words}.", answer.caution, ""]
    lines += _items(list(_facts(s, look)), look)
    if s.causes:
        lines += ["", f"Likely causes ({WEIGHTS}):"]
    for n, cause in enumerate(s.causes, start=1):
        lines += ["", f"{n}. {cause_words(cause)}", *_items(_cause_items(cause), look, indent="   ")]
    lines += [f"not known: {name}: {why}" for name, why in s.why_not.items()]
    lines += ["", f"Parts to contain: cellmon hold {s.id}"]
    if s.state in WAITING:
        lines.append(f"Answer it: cellmon respond {s.id} --cause ... --action ... --by NAME")
    return lines


def _facts(s: Signal, look: Look) -> Iterator[tuple[str, str | None]]:
    c = s.change
    yield "kind", f"{s.kind}, first called by {s.detector}" if s.detector else s.kind
    yield "how much", how_much(s, look)
    yield "state", s.state
    yield "raised", f"{when(s.raised_at, look.zone)} at {s.part}, {age(s.age_s)} ago"
    if c is not None:
        yield "since", f"{span(c.at, c.earliest_at, c.latest_at, look.zone)}"
        yield "in parts", f"from {c.part}; at the earliest {c.earliest_part}, at the latest {c.latest_part}"
    yield "last seen", f"{_last_seen(s, look)} at {s.last_part}"
    yield "called by", f"{plural(len(s.streams), 'stream')}: {'; '.join(map(look.name, s.streams))}"
    yield "reaction", s.reaction
    yield "owner", s.owner
    yield "answer", answer_words(s)


def _cause_items(cause: LikelyCause) -> list[tuple[str, str | None]]:
    return [
        ("why", cause.why),
        ("check first", cause.check_first),
        ("correction", cause.correction),
        ("caution", cause.caution),
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
