"""The single bores behind the subgroups of a stream, and the subgroups behind its limits."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from cellmon.judged import Bores, Limit, Subgroups
from cellmon.monitor.baseline import quiet_subgroups
from cellmon.monitor.view import View
from cellmon.records import Numbers, Stream, Whole
from cellmon.store.joining import by_stream


@dataclass(frozen=True, kw_only=True, eq=False)
class Grouped:
    """Which bores are of which subgroup; arrays of shape (bores in any,), subgroup after subgroup."""

    row: Whole
    subgroup: Whole


def grouped(bores: Bores, values: Numbers, subgroups: Subgroups) -> Grouped:
    """Return the bores of each subgroup of one stream; one whose bores are not all found has none.

    Parameters
    ----------
    bores : Bores
        Charted bores of the stream.
    values : ndarray, shape (bores,)
        What the stream charts; nan where it was not measured.
    subgroups : Subgroups
        Of the stream; those of one stream never overlap.
    """
    known = np.flatnonzero(np.isfinite(values))
    known = known[np.argsort(bores.measured_at[known], kind="stable")]
    at = bores.measured_at[known]
    start = np.searchsorted(at, subgroups.first_at, side="left")
    end = np.searchsorted(at, subgroups.at, side="right")
    whole = np.flatnonzero(end - start == subgroups.n)
    many = subgroups.n[whole]
    of = np.repeat(whole, many)
    within = np.arange(len(of)) - np.repeat(np.cumsum(many) - many, many)
    return Grouped(row=known[np.repeat(start[whole], many) + within], subgroup=of)


def windows_of(view: View, limits: Mapping[Stream, Limit]) -> dict[Stream, Subgroups]:
    """Return the subgroups that limits rest on, as far as they can still be told from those left out.

    All are read at once; streams of bores only.
    """
    if not limits:
        return {}
    start, end = min(x.window_from for x in limits.values()), max(x.window_to for x in limits.values())
    every = view.session.subgroups(start=start, end=end, clean=True)
    rows = by_stream(every)
    found = {}
    for stream, limit in limits.items():
        own = every.select(rows.get(stream, np.zeros(0, dtype=np.int64)))
        window = own.select((own.first_at >= limit.window_from) & (own.at <= limit.window_to))
        quiet = limit.version == 0 or quiet_subgroups(view, stream, window, limit)
        found[stream] = window if quiet is True else window.select(quiet)
    return found
