"""The blocks that are honed by hand: which bores of each were begun, the last touched first."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from cellmon.monitor.answers import Answer
from cellmon.monitor.view import View
from cellmon.records import Kind, SizingReadings

MOST = 50
"""So many blocks are named."""


@dataclass(frozen=True, kw_only=True)
class HandBlock:
    """One block: how many rounds each begun bore has, and which was read last, and when."""

    part: str
    rounds: dict[str, int]
    last_bore: str
    last_at: datetime


@dataclass(frozen=True, kw_only=True)
class HandWork(Answer):
    """The blocks that are honed by hand, the last touched first."""

    blocks: tuple[HandBlock, ...]


def hand_work(view: View) -> HandWork:
    """Answer: which blocks are honed by hand, and which of their bores were begun."""
    rows: SizingReadings = view.session.rows(Kind.SIZING)
    newest = np.argsort(rows.at, kind="stable")[::-1]
    parts = list(dict.fromkeys(rows.part[newest].tolist()))[:MOST]
    return HandWork(**view.head(), blocks=tuple(_block(view, rows, part) for part in parts))


def _block(view: View, rows: SizingReadings, part: str) -> HandBlock:
    mine = rows.part == part
    begun = sorted(set(rows.bore[mine].tolist()))
    return HandBlock(
        part=part,
        last_bore=str(rows.bore[mine][np.argmax(rows.at[mine])]),
        rounds={bore: len(np.unique(rows.round[mine & (rows.bore == bore)])) for bore in begun},
        last_at=view.local(rows.at[mine].max()),
    )
