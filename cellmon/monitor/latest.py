"""Up to when rows of an instrument count: an audit is often taken after the last bore was measured."""

from __future__ import annotations

import numpy as np

from cellmon.monitor.view import View
from cellmon.records import Kind


def last_moment(view: View, *kinds: Kind) -> np.datetime64:
    """Return the moment of the view, or of the newest row of these kinds where that is later.

    A view of another moment than the newest row (`--as-of`) sees nothing later than that moment.
    """
    if view.as_of != view.session.newest_row():
        return view.as_of
    newest = [view.session.newest_of(kind) for kind in kinds]
    return max([view.as_of, *(moment for moment in newest if moment is not None)])
