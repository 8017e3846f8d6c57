"""Rows that were taken and are doubted, and what a person decided."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from cellmon.errors import NotFound, WrongUsage
from cellmon.judged import Doubts
from cellmon.monitor.answers import Answer
from cellmon.monitor.judge import judge
from cellmon.monitor.rules import Rules
from cellmon.monitor.view import View
from cellmon.records import Flag
from cellmon.store import Session


@dataclass(frozen=True, kw_only=True)
class FlagRow:
    """One doubt about one measurement; `state` is `open`, `accepted` or `kept`."""

    id: str
    flag: Flag
    part: str
    bore: str
    spindle: str
    at: datetime
    words: str
    proposal: str | None
    state: str
    by: str | None = None
    why: str | None = None


@dataclass(frozen=True, kw_only=True)
class FlagList(Answer):
    """Doubted measurements in time order."""

    flags: tuple[FlagRow, ...]


def flags(view: View) -> FlagList:
    """Answer with every doubt in time order, decided ones among them."""
    return FlagList(**view.head(), flags=flag_rows(view, view.session.doubts()))


def flag_rows(view: View, doubts: Doubts) -> tuple[FlagRow, ...]:
    """Return some doubts one by one, each with what a person decided of it."""
    decided = {d.subject: d for d in view.session.decisions("correct")} if len(doubts) else {}
    rows = []
    for i in range(len(doubts)):
        decision = decided.get(doubts.id[i])
        accepted = decision is not None and decision.body["accept"]
        rows.append(
            FlagRow(
                id=doubts.id[i],
                flag=Flag(doubts.flag[i]),
                part=doubts.part[i],
                bore=doubts.bore[i],
                spindle=doubts.spindle[i],
                at=view.local(doubts.measured_at[i]),
                words=doubts.words[i],
                proposal=_proposal(Flag(doubts.flag[i]), doubts.proposal[i]),
                state="open" if decision is None else ("accepted" if accepted else "kept"),
                by=decision.by if decision else None,
                why=decision.why if decision else None,
            )
        )
    return tuple(rows)


def _proposal(flag: Flag, proposal: str | None) -> str | None:
    if proposal is not None and flag is Flag.ROUTING:
        return f"count it to spindle {proposal}"
    return proposal


def correct(
    session: Session, rules: Rules, flag: str, *, accept: bool, by: str, why: str, at: np.datetime64
) -> None:
    """Journal what a person decided of a doubt, and judge anew what it touches.

    Raises
    ------
    NotFound
        When there is no such doubt.
    WrongUsage
        When a correction is accepted that nothing proposes.
    """
    doubt = session.doubts(id_=flag)
    if not len(doubt):
        raise NotFound(f"no flag {flag}; `cellmon flags` lists them")
    if accept and doubt.proposal[0] is None:
        raise WrongUsage(f"flag {flag} proposes no correction; --keep lets the row stand as it was read")
    body = {"accept": accept, "part": doubt.part[0], "bore": doubt.bore[0], "proposal": doubt.proposal[0]}
    session.decide(at=at, by=by, why=why, kind="correct", subject=flag, body=body)
    measured = session.bores(part=doubt.part[0]).measured_at  # another of them may now be the one charted
    judge(session, rules, rules.units(np.concatenate([doubt.measured_at, measured])), at=at)
