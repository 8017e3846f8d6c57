"""What was decided already is not decided anew by somebody who did not know of it.

Answers that people decide on say how far their journal went (`decided`). Who decides hands that number back
as what they knew, 0 where they knew of no decision: what was decided about the same thing after it stands.
"""

from __future__ import annotations

from collections.abc import Iterable

from cellmon import local
from cellmon.errors import DecidedAlready
from cellmon.monitor.rules import Rules
from cellmon.shifts import to_local
from cellmon.store import Decision
from cellmon.words import say


def must_have_known(rules: Rules, decided: Iterable[Decision], knew: int | None, what: str) -> None:
    """Refuse what is decided without knowing what was decided about the same thing.

    Parameters
    ----------
    rules : Rules
        They tell the time zone of the cell.
    decided : iterable of Decision
        What was decided about the same thing.
    knew : int or None
        The number of the newest decision that was known, 0 for none; None decides anew in any case.
    what : str
        The thing, in words.

    Raises
    ------
    DecidedAlready
        With the name, the moment and the reason of the newest that was not known.
    """
    unknown = [] if knew is None else [one for one in decided if one.id > knew]
    if not unknown:
        return
    last = max(unknown, key=lambda one: one.id)
    at = to_local(last.at, rules.now.zone)
    raise DecidedAlready(
        say(
            "{what}: {by} decided this already, {at}: {why}; nothing was changed",
            what=what,
            by=last.by,
            at=local.moment(at),
            why=last.why.rstrip("."),
        )
    )
