"""Stone sets on the shelf and on order, from the movements taken and the sheet's opening stock."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from cellmon.local import significant
from cellmon.monitor.view import View
from cellmon.records import Kind, StockMovements
from cellmon.sheet import StoneKind
from cellmon.stones.stock import Move, Movement, Shelf, posted
from cellmon.words import say

NEARBY = np.timedelta64(12, "h")


def shelf_of(view: View, kind: StoneKind) -> Shelf | None:
    """Return the stock of one kind at the moment of the view; None where none is known."""
    movements = movements_of(view, kind.id)
    planning = view.sheet.planning
    opening = None if planning is None else planning.opening_stock.get(kind.id)
    if opening is None and not any(m.move is not Move.ORDERED for m in movements):
        return None
    days = kind.shelf_life_days
    life = None if days is None else np.timedelta64(round(days * 86400), "s")
    rests_on = (view.newest_row_of(Kind.STOCK), len(movements), opening, life)
    book = view.carry(
        f"stock of {kind.id}", rests_on, lambda: posted(movements, opening=opening or 0.0, shelf_life=life)
    )
    return book.at(view.as_of)


def movements_of(view: View, kind: str) -> list[Movement]:
    """Return the movements of one kind up to the moment of the view, oldest first."""
    newest = view.newest_row_of(Kind.STOCK)
    every = view.carry(f"movements of {kind}", newest, lambda: _read(view, kind))
    return [one for one in every if one.at <= view.as_of]


def _read(view: View, kind: str) -> list[Movement]:
    rows: StockMovements = view.session.rows(Kind.STOCK)
    mine = rows.select(rows.kind == kind)
    return [
        Movement(
            at=mine.at[i],
            move=_move(mine.movement[i], float(mine.change[i]), mine.due[i]),
            sets=abs(float(mine.change[i])),
            lot=mine.lot[i],
            order=mine.order[i],
            due=mine.due[i],
            use_by=mine.use_by[i],
        )
        for i in range(len(mine))
    ]


def fittings_words(movements: Sequence[Movement], fitted: Sequence[np.datetime64]) -> str | None:
    """Return what is odd where more new sets were fitted than taken, since the last count or the first row.

    Parameters
    ----------
    movements : sequence of Movement
        Of one kind, oldest first.
    fitted : sequence of datetime64
        When each set of the kind was fitted first, new.
    """
    if not movements:
        return None
    counts = [m.at for m in movements if m.move is Move.COUNTED]
    since = counts[-1] if counts else movements[0].at
    taken = sum(m.sets for m in movements if m.move is Move.TAKEN and m.at >= since)
    # a set is taken some hours before or after it is logged as fitted
    new = sum(at > since + NEARBY if counts else at >= since - NEARBY for at in fitted)
    if new <= taken:
        return None
    day = str(since.astype("datetime64[D]"))
    return say(
        "{new} new sets were fitted since {day} and {taken} taken from stock: {missing} may be missing from "
        "the log, and the stock too high by as many",
        new=significant(float(new)),
        day=day,
        taken=significant(taken),
        missing=significant(float(new - taken)),
    )


def _move(word: str | None, change: float, due: np.datetime64) -> Move:
    """Return what a movement was: as it says, else by its sign, and an order where it is due some day."""
    if word is not None:
        return Move(word)
    if change < 0:
        return Move.TAKEN
    return Move.RECEIVED if np.isnat(due) else Move.ORDERED
