"""What is on the shelf and what is on order, from movements; and when it runs out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum

import numpy as np

NEVER = np.datetime64("NaT", "us")


class Move(StrEnum):
    """What a stock movement was."""

    RECEIVED = "received"
    TAKEN = "taken"
    ORDERED = "ordered"
    SCRAPPED = "scrapped"
    COUNTED = "counted"


@dataclass(frozen=True, kw_only=True)
class Movement:
    """One movement of one kind of sets; `sets` is never below 0, `move` says which way."""

    at: np.datetime64
    move: Move
    sets: float
    lot: str | None = None
    order: str | None = None
    due: np.datetime64 = NEVER
    use_by: np.datetime64 = NEVER


@dataclass(frozen=True, kw_only=True)
class Lot:
    """Sets on the shelf that came together."""

    name: str | None
    sets: float
    use_by: np.datetime64 = NEVER


@dataclass(frozen=True, kw_only=True)
class OpenOrder:
    """Sets ordered and not yet received."""

    order: str | None
    sets: float
    placed: np.datetime64
    due: np.datetime64 = NEVER


@dataclass(frozen=True, kw_only=True)
class Shelf:
    """The stock of one kind at a moment."""

    lots: tuple[Lot, ...]
    past_use: tuple[Lot, ...]
    """On the shelf, past their shelf life, not counted."""
    orders: tuple[OpenOrder, ...]
    notes: tuple[str, ...] = ()

    @property
    def usable(self) -> float:
        """Sets that can be fitted now."""
        return sum(lot.sets for lot in self.lots)

    @property
    def ordered(self) -> float:
        """Sets on order."""
        return sum(order.sets for order in self.orders)


@dataclass
class Ledger:
    """The stock of one kind as its movements leave it, whatever is past its use."""

    lots: list[Lot]
    orders: list[OpenOrder] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def at(self, now: np.datetime64) -> Shelf:
        """Return what of it can be used at a moment after the last movement."""
        fresh = [lot for lot in self.lots if not lot.use_by <= now and lot.sets > 0]
        past = [lot for lot in self.lots if lot.use_by <= now and lot.sets > 0]
        return Shelf(
            lots=tuple(sorted(fresh, key=_first_out)),
            past_use=tuple(past),
            orders=tuple(sorted((o for o in self.orders if o.sets > 0), key=lambda o: _rank(o.due))),
            notes=tuple(self.notes),
        )


def shelf(
    movements: Sequence[Movement],
    *,
    now: np.datetime64,
    opening: float = 0.0,
    shelf_life: np.timedelta64 | None = None,
) -> Shelf:
    """Count the stock of one kind at a moment from its movements.

    Parameters
    ----------
    movements : sequence of Movement
        Of one kind; those after `now` do not count.
    now : datetime64
    opening, shelf_life
        See `posted`.
    """
    return posted([m for m in movements if m.at <= now], opening=opening, shelf_life=shelf_life).at(now)


def posted(
    movements: Sequence[Movement], *, opening: float = 0.0, shelf_life: np.timedelta64 | None = None
) -> Ledger:
    """Post the movements of one kind, oldest first whatever their order in the files.

    Sets taken or scrapped without a lot come from the lot that is past its use first. A count replaces what
    was on the shelf: of its lot where it names one, else of all. A receipt that names an order closes as
    much of it.

    Parameters
    ----------
    movements : sequence of Movement
        Of one kind.
    opening : float
        Sets on the shelf before the first movement.
    shelf_life : timedelta64, optional
        Of a lot received without a date of its own.

    References
    ----------
    Bookkeeping; cases by hand in the test. The lot nearest to its date goes first: common practice.
    """
    book = Ledger(lots=[Lot(name=None, sets=opening)] if opening > 0 else [])
    for one in sorted(movements, key=_order_of_day):
        _POST[one.move](book, one, shelf_life)
    return book


_SAME_MOMENT = (Move.ORDERED, Move.RECEIVED, Move.TAKEN, Move.SCRAPPED, Move.COUNTED)


def _order_of_day(one: Movement) -> tuple[int, int]:
    """Return the place of a movement; at one moment what comes in is before what goes out, a count last."""
    return int(one.at.astype("datetime64[us]").astype(np.int64)), _SAME_MOMENT.index(one.move)


def _rank(moment: np.datetime64) -> int:
    """Return a number to sort moments by, none at the end."""
    return 2**62 if np.isnat(moment) else int(moment.astype("datetime64[us]").astype(np.int64))


def _first_out(lot: Lot) -> tuple[int, str]:
    return _rank(lot.use_by), lot.name or ""


def _receive(book: Ledger, one: Movement, shelf_life: np.timedelta64 | None) -> None:
    use_by = one.use_by
    if np.isnat(use_by) and shelf_life is not None:
        use_by = one.at + shelf_life
    book.lots.append(Lot(name=one.lot, sets=one.sets, use_by=use_by))
    if one.order is None:
        return
    left = one.sets
    for i, order in enumerate(book.orders):
        if order.order == one.order and left > 0:
            closed = min(order.sets, left)
            book.orders[i] = replace(order, sets=order.sets - closed)
            left -= closed


def _ordered(book: Ledger, one: Movement, _: np.timedelta64 | None) -> None:
    """Keep an order; the same order named again replaces what is still open of it."""
    book.orders = [o for o in book.orders if one.order is None or o.order != one.order]
    book.orders.append(OpenOrder(order=one.order, sets=one.sets, placed=one.at, due=one.due))


def _take(book: Ledger, one: Movement, _: np.timedelta64 | None) -> None:
    left, named = one.sets, [lot for lot in book.lots if one.lot is not None and lot.name == one.lot]
    rest = sorted((lot for lot in book.lots if lot not in named), key=_first_out)
    # a taken set was fit for use: a lot past its date by then is touched last
    rest.sort(key=lambda lot: bool(lot.use_by <= one.at) and one.move is Move.TAKEN)
    book.lots = []
    for lot in (*named, *rest):
        gone = min(lot.sets, left)
        left -= gone
        book.lots.append(replace(lot, sets=lot.sets - gone) if gone else lot)
    if left > 0:
        book.notes.append(
            f"{left:g} more {_sets(left)} {one.move} on {_day(one.at)} than the stock then held: a receipt "
            "was not logged or the opening stock is too low; counted as none left"
        )


def _count(book: Ledger, one: Movement, _: np.timedelta64 | None) -> None:
    chosen = [lot for lot in book.lots if one.lot is None or lot.name == one.lot]
    had = sum(lot.sets for lot in chosen)
    if abs(had - one.sets) > 1e-9:
        book.notes.append(
            f"counted {one.sets:g} on {_day(one.at)} where the movements gave {had:g}; the count stands"
        )
    kept = [lot for lot in book.lots if lot not in chosen]
    book.lots = [*kept, *_cut_to(sorted(chosen, key=_first_out), one)]


def _cut_to(lots: Sequence[Lot], count: Movement) -> Iterator[Lot]:
    """Yield lots that hold what was counted: the newest dates are taken to be those still there."""
    left = count.sets
    for lot in reversed(lots):
        kept = min(lot.sets, left)
        left -= kept
        yield replace(lot, sets=kept)
    if left > 0:
        own = not np.isnat(count.use_by) or not lots
        yield Lot(name=count.lot, sets=left, use_by=count.use_by if own else lots[-1].use_by)


_POST = {
    Move.RECEIVED: _receive,
    Move.ORDERED: _ordered,
    Move.TAKEN: _take,
    Move.SCRAPPED: _take,
    Move.COUNTED: _count,
}


def _sets(n: float) -> str:
    return "set was" if n == 1 else "sets were"


def _day(at: np.datetime64) -> str:
    return str(at.astype("datetime64[D]"))
