"""Rows that were taken and are doubted, and what a person decided."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from cellmon.errors import NotFound, WrongUsage
from cellmon.judged import Doubts
from cellmon.monitor.answers import Answer
from cellmon.monitor.judge import judge
from cellmon.monitor.judge.doubts import AHEAD, PROPOSALS, WORDS
from cellmon.monitor.meanwhile import must_have_known
from cellmon.monitor.rules import Rules
from cellmon.monitor.view import View
from cellmon.records import Flag
from cellmon.store import Session
from cellmon.words import say, say_kept, to_say


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
    more: bool = False
    """Whether further ones follow those shown."""


@dataclass(frozen=True, kw_only=True)
class OneFlag(Answer):
    """One doubt, and how many more wait of the same flag, gauge, spindle and proposal."""

    flag: FlagRow
    alike: int


def flags(
    view: View,
    *,
    flag: str | None = None,
    waiting: bool = False,
    most: int | None = None,
    skip: int = 0,
) -> FlagList:
    """Answer with doubts: every one in time order, or so many of the newest, the newest first."""
    if most is None:
        found = view.session.doubts()
        kept = [f for f in flag_rows(view, found) if flag in (None, f.flag)]
        return FlagList(**view.head(), flags=tuple(f for f in kept if not waiting or f.state == "open"))
    found = view.session.doubts_listed(flag=flag, waiting=waiting, most=most + 1, skip=skip)
    return FlagList(**view.head(), flags=flag_rows(view, found)[:most], more=len(found) > most)


def one_flag(view: View, flag: str) -> OneFlag:
    """Answer with one doubt; refused as `correct` refuses one that is not known."""
    doubt = _known(view.session, flag)
    return OneFlag(**view.head(), flag=flag_rows(view, doubt)[0], alike=len(_alike(view.session, doubt)) - 1)


def _known(session: Session, flag: str) -> Doubts:
    doubt = session.doubts(id_=flag)
    if not len(doubt):
        raise NotFound(say("no flag {flag}; `cellmon flags` lists them", flag=flag))
    return doubt


def _alike(session: Session, doubt: Doubts) -> Doubts:
    """Return a doubt and all that wait of the same flag, gauge, spindle and proposal."""
    waiting = session.doubts_listed(flag=doubt.flag[0], waiting=True)
    same = np.ones(len(waiting), dtype=bool)
    for name in ("gauge", "spindle", "proposal"):
        same &= getattr(waiting, name) == getattr(doubt, name)[0]
    others = waiting.select(same & (waiting.id != doubt.id[0]))
    return Doubts.concat([doubt, others])


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
                words=say_kept(doubts.words[i], WORDS[Flag(doubts.flag[i])], AHEAD),
                proposal=_proposal(Flag(doubts.flag[i]), doubts.proposal[i]),
                state="open" if decision is None else ("accepted" if accepted else "kept"),
                by=decision.by if decision else None,
                why=decision.why if decision else None,
            )
        )
    return tuple(rows)


def _proposal(flag: Flag, proposal: str | None) -> str | None:
    if proposal is None:
        return None
    if flag is Flag.ROUTING:
        return say("count it to spindle {spindle}", spindle=proposal)
    return say_kept(proposal, PROPOSALS[flag])


def correct(
    session: Session,
    rules: Rules,
    flag: str,
    *,
    accept: bool,
    by: str,
    why: str,
    at: np.datetime64,
    alike: bool = False,
    knew: int | None = None,
) -> None:
    """Journal what a person decided of a doubt, or of all alike one by one, and judge anew what it touches.

    Raises
    ------
    NotFound
        When there is no such doubt.
    WrongUsage
        When a correction is accepted that nothing proposes.
    DecidedAlready
        When it was decided after the decision numbered `knew`.
    """
    doubts = _known(session, flag)
    must_have_known(rules, session.decisions("correct", subject=flag), knew, flag)
    if accept and doubts.proposal[0] is None:
        text = to_say("flag {flag} proposes no correction; --keep lets the row stand as it was read")
        raise WrongUsage(say(text, flag=flag))
    if alike:
        doubts = _alike(session, doubts)
    for i in range(len(doubts)):
        body = {
            "accept": accept,
            "part": doubts.part[i],
            "bore": doubts.bore[i],
            "proposal": doubts.proposal[i],
        }
        session.decide(at=at, by=by, why=why, kind="correct", subject=doubts.id[i], body=body)
    moments = [doubts.measured_at]  # and another measurement of the bore may now be the one charted
    moments += [session.bores(part=part).measured_at for part in dict.fromkeys(doubts.part.tolist())]
    judge(session, rules, rules.units(np.concatenate(moments)), at=at)
