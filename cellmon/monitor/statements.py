"""Statements of capability: figures that a named person signs, and a second one where the sheet says so."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import numpy as np

from cellmon import local
from cellmon.errors import WrongUsage
from cellmon.monitor.answers import Estimate, Signature
from cellmon.monitor.capability_stream import StreamCapability
from cellmon.monitor.judge.limits import stream_key
from cellmon.monitor.meanwhile import must_have_known
from cellmon.monitor.proposals import (
    ALONE,
    CLAIMS,
    PROPOSE,
    ProposalState,
    Proposed,
    all_proposed,
    propose,
    wants_second,
)
from cellmon.monitor.rules import Rules
from cellmon.monitor.view import View
from cellmon.shifts import to_utc
from cellmon.store import Decision, Session
from cellmon.words import say

DIGITS = 6
"""Significant digits in which signed figures are kept: further ones differ from machine to machine."""


@dataclass(frozen=True, kw_only=True)
class Stated:
    """The newest statement about one stream over some time."""

    entry: Decision
    figures: Mapping[str, Any]
    proposed: Proposed | None
    """None where one person signed alone."""


@dataclass(frozen=True, kw_only=True)
class Window:
    """The time that figures are asked over; None where it is open."""

    since: str | None
    until: str | None

    @classmethod
    def of(cls, since: datetime | None, until: datetime | None) -> Window:
        """Return a window as the journal keeps it."""
        since_, until_ = (None if at is None else str(to_utc(at)) for at in (since, until))
        return cls(since=since_, until=until_)


def state_figures(
    session: Session,
    rules: Rules,
    rows: Sequence[StreamCapability],
    window: Window,
    *,
    by: str,
    why: str,
    at: np.datetime64,
    knew: int | None = None,
) -> None:
    """Journal that a person signs the figures of some streams, supported claims and others alike.

    Where the sheet wants a second person they are only proposed.

    Raises
    ------
    WrongUsage
        When there is no stream.
    DecidedAlready
        When the same figures of one of them were signed after the decision numbered `knew`.
    NotAllowed
        When a second person is wanted, there are accounts, and this name may not decide.
    """
    if not rows:
        raise WrongUsage(say("no stream with limits has bores in this time"))
    known, streams = _stated(session, window), []
    for row in rows:
        key = stream_key(row.stream)
        before, after = known[key].figures if key in known else None, _figures(row)
        if before == after:
            must_have_known(rules, [known[key].entry], knew, say("these figures"))
        streams.append({"key": key, "before": before, "after": after})
    during = {"since": window.since, "until": window.until}
    if wants_second(rules.now.sheet, CLAIMS):
        propose(session, CLAIMS, streams, by=by, why=why, at=at, **during)
        return
    body = {"streams": streams, **during}
    session.decide(at=at, by=by, why=why, kind=ALONE, subject=CLAIMS, body=body)


def with_signatures(
    view: View, rows: Sequence[StreamCapability], window: Window
) -> tuple[StreamCapability, ...]:
    """Return rows with who signed them; without where nobody did and the sheet wants no second person."""
    known, wanted = _stated(view.session, window), wants_second(view.sheet, CLAIMS)
    if not known and not wanted:
        return tuple(rows)
    return tuple(
        replace(row, signature=_signature(view, row, known.get(stream_key(row.stream)), wanted=wanted))
        for row in rows
    )


def _stated(session: Session, window: Window) -> dict[str, Stated]:
    """Return the newest statement of each stream over some time."""
    proposed = {one.entry.id: one for one in all_proposed(session)}
    found = {}
    for entry in session.decisions(PROPOSE, ALONE, subject=CLAIMS):
        if (entry.body["since"], entry.body["until"]) != (window.since, window.until):
            continue
        for one in entry.body["streams"]:
            found[one["key"]] = Stated(entry=entry, figures=one["after"], proposed=proposed.get(entry.id))
    return found


def _figures(row: StreamCapability) -> dict[str, Any]:
    """Return the figures that are signed, in so many digits that every machine finds the same."""
    indices = {name: getattr(row, name) for name in ("cp", "cpk", "pp", "ppk", "ppm_expected")}
    plain = ("n", "mean_um", "sd_within_um", "sd_total_um", "ppm_observed", "lower_bound")
    found = {name: _rounded(getattr(row, name)) for name in plain}
    found |= {name: _rounded(_value(estimate)) for name, estimate in indices.items()}
    counted = {"since": row.since, "until": row.until}
    times = {name: at.isoformat() for name, at in counted.items() if at is not None}
    return found | times | {"claim": row.claim, "stable": row.stable}


def _value(estimate: Estimate | None) -> float | None:
    return None if estimate is None else estimate.value


def _rounded(value: float | None) -> float | None:
    return None if value is None else float(f"{value:.{DIGITS}g}")


def _signature(view: View, row: StreamCapability, said: Stated | None, *, wanted: bool) -> Signature | None:
    if said is None:
        return _nobody() if wanted else None
    entry, proposed = said.entry, said.proposed
    state = _state(said, row, wanted=wanted)
    second = proposed.decided if proposed else None
    names = {
        "by": entry.by,
        "at": local.moment(view.local(entry.at)),
        "proposal": proposed.id if proposed else None,
        "second": second.by if second else None,
        "then": local.moment(view.local(second.at)) if second else None,
        "why": second.why.rstrip(".") if second else None,
    }
    return Signature(
        state=state,
        proposal=proposed.id if proposed else None,
        by=entry.by,
        signed_by=second.by if second and state == "signed" else None,
        sentence=_sentence(state, names, alone=proposed is None),
    )


def _nobody() -> Signature:
    sentence = say("Not signed by a second person: nobody has signed these figures yet.")
    return Signature(state="nobody", proposal=None, by=None, signed_by=None, sentence=sentence)


def _state(said: Stated, row: StreamCapability, *, wanted: bool) -> str:
    if said.figures != _figures(row):
        return "changed"
    if said.proposed is None:
        return "waits" if wanted else "signed"
    return said.proposed.state.value


def _sentence(state: str, names: Mapping[str, Any], *, alone: bool) -> str:
    if state == "changed":
        return say("Not signed: the figures have changed since {by} signed them, {at}.", **names)
    if alone and state == "waits":
        return say("Signed by {by}, {at}. Not signed by a second person.", **names)
    if alone:
        return say("Signed by {by}, {at}.", **names)
    if state == ProposalState.SIGNED:
        return say("Signed by {by}, {at}, and by {second}, {then} ({proposal}).", **names)
    if state == ProposalState.REFUSED:
        return say("Not signed by a second person: {second} refused, {then}: {why} ({proposal}).", **names)
    return say("Signed by {by}, {at}. Not signed by a second person; {proposal} waits for one.", **names)
