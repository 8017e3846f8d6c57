"""The gauge on its master, before and after a bore."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from cellmon import lengths
from cellmon.errors import WrongUsage
from cellmon.monitor.bore.entry import Dial, read_entry
from cellmon.monitor.bore.terms import Terms
from cellmon.monitor.opened import clock
from cellmon.records import Kind
from cellmon.sheet import Sheet
from cellmon.words import say

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

STATES = ("as-found", "as-left")


def keep_zero(
    monitor: Monitor, typed: str, *, state: str, by: str = "", temp_c: float | None = None
) -> float:
    """Keep what the gauge read on its master, at which temperature of it, and return its zero error, µm.

    The master's size is that at which the dial stands on zero (`[hand] set_at_mm`, else nominal).

    Raises
    ------
    WrongUsage
        When the figure cannot be read, or the state is neither as-found nor as-left.
    """
    if state not in STATES:
        raise WrongUsage(say("as-found or as-left, not {state}", state=state))
    return _keep(monitor, typed, larger_um=0.0, state=state, by=by, temp_c=temp_c)


def zero_warning(sheet: Sheet, zero_um: float, *, state: str) -> str | None:
    """Return what to do where a gauge stands further from zero than its expanded uncertainty (k = 2).

    Readings are kept as they are typed; no zero error is taken off them.
    """
    if abs(zero_um) <= 2 * Terms.needed(sheet, sheet.parts[0]).doubt.common_um:
        return None
    if state == "as-left":
        return say("That is more than its uncertainty: measure again what was read since it was last good.")
    return say("That is more than its uncertainty: set it to zero and check it again before you measure.")


def keep_sign(monitor: Monitor, typed: str, *, larger_um: float, by: str = "") -> float:
    """Keep what the gauge read on something larger than its master, and return reading less true size, µm.

    Parameters
    ----------
    monitor : Monitor
    typed : str
        What the gauge read.
    larger_um : float
        How much larger than the master it was: a micrometer opened by so much, or a thicker block.

    Raises
    ------
    WrongUsage
        When the dial moved the other way, or by less than half or more than twice as much: the sheet has
        its sign, the worth of a division or the unit wrong. Nothing is kept.
    """
    if not larger_um > 0:
        raise WrongUsage(say("how much larger than the master, in um, above 0"))
    dial = Dial.of(monitor.sheet, monitor.sheet.parts[0])
    moved = read_entry(typed, dial).um - dial.set_um
    if moved < 0:
        raise WrongUsage(
            say("The dial moved the other way: [hand] clockwise says what clockwise means for the bore.")
        )
    if not larger_um / 2 <= moved <= 2 * larger_um:
        raise WrongUsage(
            say(
                "The dial says {moved} for {larger}: what a division is worth, or the unit, is wrong.",
                moved=lengths.said(moved, 1),
                larger=lengths.said(larger_um, None),
            )
        )
    return _keep(monitor, typed, larger_um=larger_um, state="", by=by)


def _keep(
    monitor: Monitor, typed: str, *, larger_um: float, state: str, by: str, temp_c: float | None = None
) -> float:
    sheet = monitor.sheet
    dial = Dial.of(sheet, sheet.parts[0])
    reading = read_entry(typed, dial)
    master = dial.nominal_mm + (dial.set_um + larger_um) / 1000
    taken = monitor.log(
        Kind.GAUGE_CHECKS,
        {
            "at": f"{np.datetime_as_string(clock(), unit='us')}Z",
            "gauge": sheet.measuring.gauge,
            "master_mm": f"{master:.5f}",
            "reading_mm": f"{dial.nominal_mm + reading.um / 1000:.5f}",
            "state": state,
            "set_on": "ring" if sheet.hand is None else sheet.hand.set_on,
            "by": by,
            "temp_c": "" if temp_c is None else f"{temp_c:g}",
        },
    )
    if taken.set_aside or taken.why_not is not None:
        raise WrongUsage(taken.why_not or taken.set_aside[0].text)
    return reading.um - dial.set_um - larger_um
