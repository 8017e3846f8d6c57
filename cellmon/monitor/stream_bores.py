"""The bores of one stream, and the column of them that it charts."""

from __future__ import annotations

import numpy as np

from cellmon.errors import WrongUsage
from cellmon.judged import OFFSETS, SIZE_COLUMNS, Bores
from cellmon.monitor.audited_bores import audited_bores, is_audited
from cellmon.monitor.view import View
from cellmon.records import Flags, Stream
from cellmon.sheet import Sheet
from cellmon.words import say


def value_column(view: View, stream: Stream) -> str:
    """Return the column of `Bores` that a stream charts.

    Raises
    ------
    WrongUsage
        Of offsets, which a spindle is given and no bore has.
    """
    if stream.feature == OFFSETS:
        raise WrongUsage(say("Offsets are given to a spindle over 100 bores; no bore has a figure of them."))
    if is_audited(view, stream):
        return "figure"
    if stream.feature != "diameter":
        return stream.feature
    part = view.sheet.charted_part(stream.part_number)
    return SIZE_COLUMNS.get(part.diameter.size, "average")


def stream_bores(view: View, stream: Stream, start: np.datetime64 | None, end: np.datetime64 | None) -> Bores:
    """Return the charted bores of a stream between two moments; of an audited one, those audited."""
    if is_audited(view, stream):
        return audited_bores(view, stream, start, end)
    found = view.session.bores(start=start, end=end, spindle=stream.spindle, bore=stream.bore, charted=True)
    return found.select(holds(stream, found, view.sheet))


def holds(stream: Stream, bores: Bores, sheet: Sheet) -> Flags:
    """Return which bores a stream is made of."""
    mine: Flags = np.isin(bores.part_number.astype(str), sheet.charted_numbers(stream.part_number))
    if stream.bore is not None:
        mine &= bores.bore == stream.bore
    if stream.spindle is not None and (stream.bore is None or stream.spindle in sheet.spindle_ids):
        mine &= bores.spindle == stream.spindle
    if stream.fixture is not None:
        mine &= bores.fixture == stream.fixture
    return mine
