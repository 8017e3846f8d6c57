"""Signals in words."""

from __future__ import annotations

import numpy as np

from cellmon.monitor.judge.calls import SHARE_OF, Called


def signal_words(stream: str, call: Called, *, kind: str, size: float, unit: str) -> str:
    """Return what a signal of a stream of that name says, in a sentence without its full stop."""
    if call.family == "audit":
        return _audit_words(stream, call, size=size, unit=unit)
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


def _other_words(stream: str, call: Called, *, kind: str, size: float) -> str:
    if kind == "gauge":
        return f"{call.detector} found {size:+.1f} µm off"
    if kind == "pattern":
        return f"{stream}: {call.detector}"
    many = "1 bore carries" if size == 1 else f"{size:.0f} bores carry"
    return f"{many} a spindle that does not hone them, from {call.part} on"


def _audit_words(stream: str, call: Called, *, size: float, unit: str) -> str:
    if call.detector.startswith(SHARE_OF):
        return f"{stream}: found in {figure(size)} % of the bores of one shift, more than chance gives"
    return f"{stream}: audits moved {_way(size)} by {figure(abs(size))} {unit}"


def figure(value: float) -> str:
    """Return a figure of an audit to two digits that count: texture may be read to a nanometre.

    >>> figure(0.0412), figure(12.34), figure(153.2)
    ('0.041', '12', '153')
    """
    if not value:
        return "0"
    return f"{value:.{max(0, 1 - int(np.floor(np.log10(abs(value)))))}f}"


def short_words(kind: str, *, size: float | None, unit: str, ratio: float | None) -> str:
    """Return what a signal says in a word or two, for the margin of a drawing."""
    if kind in ("level", "drift", "single") and size is not None:
        return f"{size:+.1f} {unit}" if abs(size) >= 0.1 else f"{size:+.2g} {unit}"
    return f"spread × {ratio:.1f}" if ratio is not None else kind


def _way(size: float) -> str:
    return "up" if size > 0 else "down"
