"""The first bores after stones, a dressing or a set-up were changed: may the spindle run?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np

from cellmon import lengths, local
from cellmon.drift.release import Release, judge_first_bores
from cellmon.errors import CellmonError, NotFound, WrongUsage
from cellmon.judged import Bores
from cellmon.monitor.answers import Answer
from cellmon.monitor.changes import newest_change
from cellmon.monitor.forecast import size_stream
from cellmon.monitor.meanwhile import must_have_known
from cellmon.monitor.running import of_running, routed_bores
from cellmon.monitor.view import View
from cellmon.records import Numbers, Stream, Verdict
from cellmon.store import Decision, Session
from cellmon.words import say, to_say

OLD_BORES = 5
LOOKED_AT = 12
"""So many bores of a position tell of a set-up at most; later ones belong to running."""
RUN, CORRECT, CANNOT_TELL = to_say("run"), to_say("correct"), to_say("cannot tell yet")
"""The verdicts, as they are named in every language; whoever shows one says it."""
NOT_MEASURED = to_say("no bore is measured yet")
NO_LIMITS = to_say("no limits tell the usual spread")


@dataclass(frozen=True, kw_only=True)
class FirstOfPosition:
    """One bore position: what its first bores say, and the last of the old set-up beside them."""

    bore: str
    verdict: str
    by_um: float | None
    more: int | None
    probability: float | None
    mean_um: float | None
    parts: tuple[str, ...]
    new_um: tuple[float, ...]
    verdicts: tuple[Verdict, ...]
    old_um: tuple[float, ...]
    why: str


@dataclass(frozen=True, kw_only=True)
class SetupCheck:
    """One spindle's newest change and what its first bores say; `released` once a named person ran it."""

    spindle: str
    change: str
    """An event kind, or `new-part`."""
    part_number: str
    """Of the part its first bores are of."""
    part_before: str | None
    """The part that ran before, where it is another one; its last bores are the old ones."""
    changed_at: datetime
    verdict: str
    sentence: str
    positions: tuple[FirstOfPosition, ...]
    released_by: str | None
    released_at: datetime | None
    why: str | None
    caution: str


@dataclass(frozen=True, kw_only=True)
class FirstBores(Answer):
    """Every spindle whose stones, dressing or set-up were changed, newest change only."""

    checks: tuple[SetupCheck, ...]
    decided: int = 0
    """The number of the newest decision that it knows."""


CAUTION = to_say(
    "Advice only: a qualified person releases the set-up by the site's procedures. Measure with the spindle "
    "stopped; parts may be hot and sharp-edged."
)


def first_bores(view: View) -> FirstBores:
    """Answer, for every spindle, what the first bores since its newest change say."""
    spindles = view.sheet.spindle_ids
    found = tuple(check for s in spindles if (check := setup_check(view, s)) is not None)
    return FirstBores(**view.head(), checks=found, decided=view.decided)


def setup_check(view: View, spindle: str) -> SetupCheck | None:
    """Return what the first bores of one spindle say; None where no change is known."""
    newest = newest_change(view, spindle)
    if newest is None:
        return None
    at = newest.at
    bores = view.session.bores(
        spindle=spindle, start=at - np.timedelta64(12, "h"), end=view.as_of, charted=True
    )
    honed = np.where(np.isnat(bores.honed_at), bores.measured_at, bores.honed_at)
    old, new = bores.select(honed <= at), bores.select(honed > at)
    new = of_running(view, spindle, new)
    positions = tuple(_position(view, spindle, b, old, new) for b in routed_bores(view, spindle))
    released = _released(view.session, spindle, at)
    verdict = _whole(positions)
    return SetupCheck(
        spindle=spindle,
        change=newest.kind,
        part_number=newest.part_number,
        part_before=newest.before,
        changed_at=view.local(at),
        verdict=verdict,
        sentence=_sentence(spindle, newest.words, verdict, positions, released),
        positions=positions,
        released_by=released.by if released else None,
        released_at=view.local(released.at) if released else None,
        why=released.why if released else None,
        caution=say(CAUTION),
    )


def _position(view: View, spindle: str, bore: str, old: Bores, new: Bores) -> FirstOfPosition:
    before, first = old.select(old.bore == bore), new.select(new.bore == bore).select(slice(0, LOOKED_AT))
    sizes, past = _sizes(first), _sizes(before)[-OLD_BORES:]
    shown: dict[str, Any] = {
        "bore": bore,
        "parts": tuple(map(str, first.part)),
        "new_um": tuple(map(float, sizes)),
        "verdicts": tuple(first.verdict_of(i) for i in range(len(first))),
        "old_um": tuple(map(float, past)),
    }
    try:
        told = _release(view, size_stream(view, spindle, bore), sizes)
    except CellmonError as refused:
        return FirstOfPosition(
            verdict=CANNOT_TELL,
            by_um=None,
            more=(view.sheet.checks.first_bores if view.sheet.checks else None) or 3,
            probability=None,
            mean_um=None,
            why=str(refused),
            **shown,
        )
    return FirstOfPosition(
        verdict=told.verdict,
        by_um=told.by_um if told.verdict == "correct" else None,
        more=told.more,
        probability=told.probability,
        mean_um=told.mean_um,
        why=told.why,
        **shown,
    )


def _release(view: View, stream: Stream, sizes: Numbers) -> Release:
    """Judge the first sizes of a position by the spread that its limits tell, the gauge's own taken off."""
    tolerance, measuring, reach = view.tolerance(stream), view.sheet.measuring, view.reach(stream)
    limit = view.baseline(stream)
    if not len(sizes) or limit is None or not np.isfinite(limit.sigma):
        raise NotFound(say(NOT_MEASURED if not len(sizes) else NO_LIMITS))
    reading = (measuring.reading_um or 0.0) * reach.share
    return judge_first_bores(
        sizes,
        sigma_um=float(np.sqrt(max(limit.sigma**2 - reading**2, (0.1 * limit.sigma) ** 2))),
        gauge_common_um=measuring.common_um or 0.0,
        gauge_reading_um=reading,
        lower_um=None if tolerance.lower_um is None else tolerance.lower_um + reach.below,
        upper_um=None if tolerance.upper_um is None else tolerance.upper_um - reach.above,
        target_um=tolerance.target_um,
        step_um=0.5,
    )


def _sizes(bores: Bores) -> Numbers:
    values: Numbers = bores.average
    return values[np.isfinite(values)]


def _whole(positions: Sequence[FirstOfPosition]) -> str:
    """Return the verdict of a spindle: that of the bore that hinders most."""
    for verdict in (CORRECT, CANNOT_TELL):
        if any(p.verdict == verdict for p in positions):
            return verdict
    return RUN


def _sentence(
    spindle: str,
    change: str,
    verdict: str,
    positions: Sequence[FirstOfPosition],
    released: Decision | None,
) -> str:
    what = say("{spindle}, first bores after {change}", spindle=spindle, change=change)
    if released is not None:
        return say("{first_bores}: released by {name}.", first_bores=what, name=released.by)
    if verdict == RUN:
        return say("{first_bores}: run; a named person releases it.", first_bores=what)
    if verdict == CORRECT:
        by = float(np.mean([p.by_um for p in positions if p.by_um is not None]))
        return say(
            "{first_bores}: correct by {by}, then measure {more} more.",
            first_bores=what,
            by=lengths.said(by, 1, sign=True),
            more=max((p.more or 3) for p in positions),
        )
    more = max((p.more or 0) for p in positions)
    if not more:
        return say("{first_bores}: cannot tell.", first_bores=what)
    text = to_say("{first_bores}: cannot tell yet, measure {more} more of each bore.")
    return say(text, first_bores=what, more=more)


def subject(spindle: str, at: np.datetime64) -> str:
    """Return under which name a release is kept."""
    return f"{spindle}@{at}"


def _released(session: Session, spindle: str, at: np.datetime64) -> Decision | None:
    found = session.decisions("set-up", subject=subject(spindle, at))
    return found[-1] if found else None


def sign(
    view: View,
    session: Session,
    spindle: str,
    *,
    by: str,
    why: str,
    at: np.datetime64,
    changed_at: datetime | None = None,
    knew: int | None = None,
) -> None:
    """Journal that a named person lets a spindle run after its newest change, with what was advised then.

    Raises
    ------
    NotFound
        When no change of that spindle is known.
    WrongUsage
        When the newest is not the one of `changed_at`, whose first bores were looked at.
    DecidedAlready
        When it was released after the decision numbered `knew`.
    """
    check = setup_check(view, spindle)
    if check is None:
        text = to_say("no change of stones, dressing, set-up or part of {spindle} is known")
        raise NotFound(say(text, spindle=spindle))
    newest = newest_change(view, spindle)
    assert newest is not None
    if changed_at not in (None, check.changed_at):
        text = to_say("{spindle} was changed again since, {at}; look at its first bores, then release it")
        raise WrongUsage(say(text, spindle=spindle, at=local.moment(check.changed_at)))
    named = subject(spindle, newest.at)
    must_have_known(view.rules, session.decisions("set-up", subject=named), knew, spindle)
    body = {"change": check.change, "verdict": check.verdict, "sentence": check.sentence}
    session.decide(at=at, by=by, why=why, kind="set-up", subject=named, body=body)
