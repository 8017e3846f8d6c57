"""Rows dated in the future: taken, flagged and said, since they move the moment of every answer."""

from __future__ import annotations

import numpy as np

from cellmon.monitor.judge.doubts import AHEAD
from cellmon.records import Flag, Flags, Readings
from cellmon.store import Session
from cellmon.words import say_many

FAR = np.timedelta64(4, "D")
"""So much later than the one before: longer than a cell stands still at a weekend."""
CLOCKS = np.timedelta64(1, "h")
"""By so much the clocks of a cell and of this computer may differ."""


def newest_in_time(session: Session, *, at: np.datetime64) -> np.datetime64 | None:
    """Return the newest row there is, rows left out that were dated in the future when they came.

    What a person kept as it was read counts: then it is this computer's clock that is wrong.
    """
    newest = session.newest_row()
    if newest is None or newest <= at + CLOCKS:
        return newest
    doubted = session.first_doubted(flag=Flag.CLOCK, words=AHEAD)
    return newest if doubted is None else session.newest_reading_before(doubted)


def is_ahead(batch: Readings, *, newest_before: np.datetime64 | None, at: np.datetime64) -> Flags:
    """Return which bores are dated after now, and far after those before them.

    Parameters
    ----------
    batch : Readings
        The bores of one file.
    newest_before : datetime64, optional
        The newest row there was before.
    at : datetime64
        What this computer's clock says.
    """
    times = np.sort(batch.measured_at)
    before = times[:1] if newest_before is None else np.array([newest_before])
    gaps = np.diff(np.concatenate((before, times)))
    far = np.flatnonzero((gaps > FAR) & (times > at + CLOCKS))
    if not len(far):
        return np.zeros(len(batch), dtype=bool)
    found: Flags = batch.measured_at >= times[far[0]]
    return found


def notes_on_future(
    batch: Readings, *, newest_before: np.datetime64 | None, at: np.datetime64
) -> tuple[str, ...]:
    """Return a sentence where bores are dated in the future; see `is_ahead`."""
    ahead = batch.measured_at[is_ahead(batch, newest_before=newest_before, at=at)]
    if not len(ahead):
        return ()
    day = str(ahead.max().astype("datetime64[D]"))
    return (
        say_many(
            "{count} bore is dated in the future, on {day}: is a clock wrong? Answers hold as of then",
            "{count} bores are dated in the future, up to {day}: is a clock wrong? Answers hold as of then",
            len(ahead),
            day=day,
        ),
    )
