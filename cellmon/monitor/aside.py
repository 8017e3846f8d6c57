"""Rows that were set aside, and what became of them."""

from __future__ import annotations

from dataclasses import dataclass

from cellmon.monitor.answers import Answer
from cellmon.monitor.view import View


@dataclass(frozen=True, kw_only=True)
class AsideRow:
    """One row set aside; `state` is `waiting` or `taken` (after a retry)."""

    id: int
    file: str
    line: int
    reason: str
    text: str
    state: str


@dataclass(frozen=True, kw_only=True)
class Aside(Answer):
    """Rows set aside, newest file first."""

    rows: tuple[AsideRow, ...]


def aside(view: View) -> Aside:
    """Answer with every row set aside."""
    rows = tuple(
        AsideRow(
            id=a.id,
            file=a.file,
            line=a.line,
            reason=a.reason,
            text=a.text,
            state="taken" if a.retried else "waiting",
        )
        for a in view.session.aside()
    )
    return Aside(**view.head(), rows=rows)
