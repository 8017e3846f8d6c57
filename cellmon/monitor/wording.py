"""Signals in words."""

from __future__ import annotations

import numpy as np

from cellmon.monitor.judge.calls import Called
from cellmon.records import Stream


def signal_words(stream: Stream, call: Called, *, kind: str, size: float, unit: str) -> str:
    """Return what a signal says, in a sentence without its full stop."""
    if kind in ("level", "drift"):
        moved = f"moved {_way(size)} by {abs(size):.1f} {unit}"
        drifts = f"drifts {_way(size)}, {abs(size):.1f} {unit} by now"
        return f"{stream}: {moved if kind == 'level' else drifts}"
    if kind == "spread":
        return f"{stream}: spread {size:.1f} times the usual"
    if kind == "single" and np.isfinite(call.sigma):
        return f"{stream}: one bore {abs(size):.1f} {unit} {'above' if size > 0 else 'below'} the others"
    if kind in ("single", "limit"):
        beyond = "beyond its limit" if kind == "limit" else "unlike those before"
        return f"{stream}: {size:.2f} {unit}, {beyond} ({call.part})"
    return _other_words(stream, call, kind=kind, size=size)


def _other_words(stream: Stream, call: Called, *, kind: str, size: float) -> str:
    if kind == "gauge":
        return f"{call.detector} found {size:+.1f} µm off"
    if kind == "pattern":
        return f"{stream}: {call.detector}"
    many = "1 bore carries" if size == 1 else f"{size:.0f} bores carry"
    return f"{many} a spindle that does not hone them, from {call.part} on"


def short_words(kind: str, *, size: float | None, unit: str, ratio: float | None) -> str:
    """Return what a signal says in a word or two, for the margin of a drawing."""
    if kind in ("level", "drift", "single") and size is not None:
        return f"{size:+.1f} {unit}"
    return f"spread × {ratio:.1f}" if ratio is not None else kind


def _way(size: float) -> str:
    return "up" if size > 0 else "down"
