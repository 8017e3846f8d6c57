"""What is said once of a block honed by hand: its job, the customer's reference, that it was cleaned."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from cellmon.errors import WrongUsage
from cellmon.monitor.bore.rounds import bores_begun
from cellmon.monitor.view import View
from cellmon.records import Kind, SizingReadings
from cellmon.store import Session
from cellmon.words import say, to_say

KIND = "hand-work"
WHY = to_say("said of the block")


@dataclass(frozen=True, kw_only=True)
class BlockTold:
    """What was said of a block; nothing of it is measured.

    Attributes
    ----------
    said : bool
        Anything was said, even that there is no job.
    cleaned : bool
        It was washed, dried and oiled after the last round of any of its bores.
    cleaned_at, cleaned_by : datetime and str, optional
        When that was said and by whom, also where a later round has undone it.
    """

    said: bool = False
    job: str = ""
    reference: str = ""
    cleaned: bool = False
    cleaned_at: datetime | None = None
    cleaned_by: str | None = None


def told_of(view: View, part: str) -> BlockTold:
    """Return what was said of a block until now."""
    decisions = view.session.decisions(KIND, subject=part)
    if not decisions:
        return BlockTold()
    body = decisions[-1].body
    said = BlockTold(said=True, job=body["job"], reference=body["reference"])
    if body["cleaned_at"] is None:
        return said
    at = np.datetime64(body["cleaned_at"], "us")
    rows: SizingReadings = view.session.rows_of_part(Kind.SIZING, part)
    still = not (rows.at > at).any()
    return replace(said, cleaned=still, cleaned_at=view.local(at), cleaned_by=body["cleaned_by"])


def tell(
    view: View,
    session: Session,
    part: str,
    *,
    by: str,
    at: np.datetime64,
    job: str | None = None,
    reference: str | None = None,
    cleaned: bool | None = None,
) -> None:
    """Journal what a person says of a block; what is None stays as it was said before.

    Raises
    ------
    WrongUsage
        When it has no name, no serial, or a block is cleaned of which nothing was measured.
    """
    if not part.strip():
        raise WrongUsage(say("which block: its serial"))
    if cleaned and not bores_begun(view, part):
        raise WrongUsage(say("nothing of {part} was measured by hand", part=part))
    found = session.decisions(KIND, subject=part)
    before = found[-1].body if found else {"job": "", "reference": "", "cleaned_at": None, "cleaned_by": None}
    body = dict(before)
    body |= {} if job is None else {"job": job.strip()}
    body |= {} if reference is None else {"reference": reference.strip()}
    if cleaned and not told_of(view, part).cleaned:
        body |= {"cleaned_at": np.datetime_as_string(at, unit="us"), "cleaned_by": by}
    elif cleaned is False:
        body |= {"cleaned_at": None, "cleaned_by": None}
    if not found or body != before:
        session.decide(at=at, by=by, why=WHY, kind=KIND, subject=part, body=body)
