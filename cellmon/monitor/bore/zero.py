"""The gauge on its master, before and after a bore."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from cellmon.errors import WrongUsage
from cellmon.monitor.bore.entry import Dial, read_entry
from cellmon.monitor.opened import clock
from cellmon.records import Kind
from cellmon.words import say

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

STATES = ("as-found", "as-left")


def keep_zero(monitor: Monitor, typed: str, *, state: str, by: str = "") -> float:
    """Keep what the gauge read on its master, and return its zero error, µm.

    The master's size is that at which the dial stands on zero (`[hand] set_at_mm`, else nominal).

    Raises
    ------
    WrongUsage
        When the figure cannot be read, or the state is neither as-found nor as-left.
    """
    if state not in STATES:
        raise WrongUsage(say("as-found or as-left, not {state}", state=state))
    return _keep(monitor, typed, larger_um=0.0, state=state, by=by)


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
                "The dial says {moved} um for {larger} um: what a division is worth, or the unit, is wrong.",
                moved=f"{moved:.1f}",
                larger=f"{larger_um:g}",
            )
        )
    return _keep(monitor, typed, larger_um=larger_um, state="", by=by)


def _keep(monitor: Monitor, typed: str, *, larger_um: float, state: str, by: str) -> float:
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
        },
    )
    if taken.set_aside or taken.why_not is not None:
        raise WrongUsage(taken.why_not or taken.set_aside[0].text)
    return reading.um - dial.set_um - larger_um
