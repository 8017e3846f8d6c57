"""When the bores of a spindle were honed lately, unit by unit: those of a unit are read once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cellmon.judged import Bores
from cellmon.monitor.view import View
from cellmon.records import Times


@dataclass(frozen=True, kw_only=True, eq=False)
class _Made:
    measured_at: Times
    honed: Times


def made_since(view: View, spindle: str, since: np.datetime64) -> Times:
    """Return when the charted bores of a spindle measured since a moment of the last weeks were honed."""
    units = [one for one in view.units_stored if one.start <= view.as_of]

    def made(start: np.datetime64) -> _Made:
        rows = view.session.bores_of_unit(start)
        rows = rows.select((rows.spindle == spindle) & (rows.charted == 1))
        return _Made(measured_at=rows.measured_at, honed=honed_at(rows))

    found = view.carry_until(
        f"bores made of {spindle}",
        ((one.start, one.stored) for one in units[::-1]),
        made,
        enough=lambda found: bool(units[len(units) - len(found)].start <= since),
    )
    every = [one.honed[(one.measured_at >= since) & (one.measured_at <= view.as_of)] for one in found]
    return np.sort(np.concatenate(every)) if every else np.array([], dtype="datetime64[us]")


def honed_at(bores: Bores) -> Times:
    """Return when bores were honed; measured, where that is not known."""
    return np.where(np.isnat(bores.honed_at), bores.measured_at, bores.honed_at)
