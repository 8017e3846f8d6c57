"""The second person: signs what another proposed, or refuses it with a reason."""

from __future__ import annotations

import numpy as np

from cellmon.monitor.baseline import freeze_signed
from cellmon.monitor.proposals import (
    LIMITS,
    REFUSE,
    SIGN,
    ProposalState,
    find_waiting,
    must_be_another,
    must_decide,
)
from cellmon.monitor.rules import Rules
from cellmon.store import Session


def sign(
    session: Session,
    rules: Rules,
    proposal: str,
    *,
    by: str,
    why: str,
    at: np.datetime64,
    refuse: bool = False,
) -> None:
    """Journal that a second person signs a proposal, and let it stand; or that it is refused.

    Who proposed may take back by refusing, never sign.

    Raises
    ------
    NotFound
        When there is no such proposal.
    WrongUsage
        When it was signed, refused or overtaken already.
    NotAllowed
        When it is the proposer's own, or there are accounts and this name may not decide.
    """
    proposed = find_waiting(session, proposal)
    must_decide(session, by)
    if not refuse:
        must_be_another(proposed, by)
    state = ProposalState.REFUSED if refuse else ProposalState.SIGNED
    body = {"state": state, "hash": proposed.entry.hash}
    kind = REFUSE if refuse else SIGN
    session.decide(at=at, by=by, why=why, kind=kind, subject=proposed.id, body=body)
    if not refuse and proposed.of == LIMITS:
        freeze_signed(session, rules, proposed, by=by, why=why, at=at)
