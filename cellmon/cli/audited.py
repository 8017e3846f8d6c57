"""The command `audits`: streams of other instruments' figures, and shares of bores with findings."""

from __future__ import annotations

import argparse

import numpy as np

from cellmon.cli.arguments import listing_arguments, open_monitor, stream_arguments, stream_choice
from cellmon.cli.showing import Look, show
from cellmon.cli.terminal import figure, table, text
from cellmon.cli.wording import as_of_line, count, listed, not_known_line, not_known_lines, number, when
from cellmon.monitor.audits import Audits, AuditStream, FindingStream
from cellmon.shifts import to_local
from cellmon.words import say


def audits_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `audits`."""
    listing_arguments(parser)
    stream_arguments(parser)


def audits(args: argparse.Namespace) -> int:
    """Print every stream of audits and of findings, its newest value and its limits."""
    monitor = open_monitor(args)
    show(args, monitor, monitor.audits(**stream_choice(args)), audits_lines)
    return 0


def audits_lines(answer: Audits, look: Look) -> list[str]:
    """Return a sentence, a row a stream of audits, a row a finding on a spindle."""
    lines = [f"{answer.sentence[0].upper()}{answer.sentence[1:]}."]
    lines += [as_of_line(answer.as_of, answer.sheet, look.zone)]
    if answer.audits:
        lines += [
            "",
            say("Audits, one value a block; limits by probability, each passed by chance once in 370."),
        ]
        lines += _audits(answer.audits, look)
    if answer.findings:
        lines += ["", say("Findings, shift by shift; a signal is more bores than chance explains.")]
        lines += _findings(answer.findings, look)
    lines += not_known_lines(answer.why_not)
    return lines + _said((*answer.audits, *answer.findings))


def _audits(streams: tuple[AuditStream, ...], look: Look) -> list[str]:
    columns = (
        text("stream"),
        text("unit"),
        figure("values"),
        text("last at"),
        figure("last"),
        figure("lower"),
        figure("centre"),
        figure("upper"),
        figure("range", spare=True),
        figure("up to", spare=True),
        figure("beyond"),
        text("scale", spare=True),
        text("signals"),
    )
    return table(columns, [_audit_row(s, look) for s in streams], width=look.width)


def _audit_row(s: AuditStream, look: Look) -> list[str | None]:
    last = {name: _last(getattr(s, name)) for name in ("value", "lower", "center", "upper")}
    ranges = _last(s.moving_range), _last(s.range_upper)
    by = "x " if s.scale == "log" else ""
    return [
        str(s.stream),
        s.unit,
        str(len(s.value)),
        when(to_local(s.at[-1], look.zone), look.zone) if len(s.at) else None,
        *(None if value is None else _shown(value) for value in last.values()),
        *(None if value is None else by + _shown(value) for value in ranges),
        str(int((s.beyond != 0).sum() + (s.beyond_range != 0).sum())) if s.baseline_n else None,
        say(s.scale),
        ", ".join(s.signals) or say("none"),
    ]


def _findings(streams: tuple[FindingStream, ...], look: Look) -> list[str]:
    columns = (
        text("finding"),
        text("of"),
        figure("shifts"),
        text("last shift"),
        figure("bores"),
        figure("with it"),
        figure("share %"),
        figure("at most"),
        figure("shifts beyond"),
        text("before", spare=True),
        text("signals"),
    )
    return table(columns, [_finding_row(s) for s in streams], width=look.width)


def _finding_row(s: FindingStream) -> list[str | None]:
    most, bores = _last(s.most), _last(s.bores)
    share = 100 * float(s.found[-1]) / bores if bores else None
    return [
        str(s.stream),
        s.of,
        str(len(s.bores)),
        s.shift[-1] if len(s.shift) else None,
        count(bores),
        str(int(s.found[-1])) if len(s.found) else None,
        None if share is None else _shown(share),
        count(most),
        None if s.why_not else str(int(s.beyond.sum())),
        say("{some} of {all}", some=count(s.baseline_found), all=count(s.baseline_bores)),
        ", ".join(s.signals) or say("none"),
    ]


def _last(values: np.ndarray) -> float | None:
    return float(values[-1]) if len(values) and np.isfinite(values[-1]) else None


def _shown(value: float) -> str:
    """Return a figure to three digits that count."""
    decimals = max(0, 2 - int(np.floor(np.log10(abs(value))))) if value else 0
    return str(number(value, decimals=decimals))


def _said(streams: tuple[AuditStream | FindingStream, ...]) -> list[str]:
    """Return each refusal and each note once, with the streams it is of."""
    of: dict[str, list[str]] = {}
    for s in streams:
        for name, why in s.why_not.items():
            of.setdefault(not_known_line(name, why), []).append(str(s.stream))
        for note in s.notes:
            of.setdefault(note, []).append(str(s.stream))
    return [f"{told} ({listed(names, most=4)})" for told, names in of.items()]
