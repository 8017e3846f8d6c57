"""Rows dated in the future: taken as they are, and said, since they move the moment of every answer."""

from __future__ import annotations

import numpy as np

from cellmon.records import Readings
from cellmon.words import say_many

FAR = np.timedelta64(4, "D")
"""So much later than the one before: longer than a cell stands still at a weekend."""
CLOCKS = np.timedelta64(1, "h")
"""By so much the clocks of a cell and of this computer may differ."""


def notes_on_future(
    batch: Readings, *, newest_before: np.datetime64 | None, at: np.datetime64
) -> tuple[str, ...]:
    """Return a sentence where bores are dated after now, and far after those before them.

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
    ahead = times[far[0] :] if len(far) else times[:0]
    if not len(ahead):
        return ()
    day = str(ahead[-1].astype("datetime64[D]"))
    return (
        say_many(
            "{count} bore is dated in the future, on {day}: is a clock wrong? Answers hold as of then",
            "{count} bores are dated in the future, up to {day}: is a clock wrong? Answers hold as of then",
            len(ahead),
            day=day,
        ),
    )
