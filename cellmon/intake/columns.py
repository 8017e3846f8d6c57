"""A header to the kind of file it heads, and to where each of our columns stands in it."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from cellmon.errors import FileUnreadable, KindInDoubt
from cellmon.records import ROW_BATCHES, Batch, ColumnType, Kind, Readings
from cellmon.sheet import Sheet
from cellmon.units import LengthUnit
from cellmon.words import say

UNIT_OF = {f"_{unit.value}": unit for unit in LengthUnit}
SERIAL = {"part": "serial"}
"""Other names we take for a column of ours."""
SIZES = ("diameter", "deviation")
EITHER: dict[Kind, tuple[str, ...]] = {Kind.EVENTS: ("spindle", "gauge")}
"""Kinds that need one of several columns."""


@dataclass(frozen=True, kw_only=True)
class SizeColumn:
    """Where sizes stand: their unit where the header says it, and whether they count from nominal.

    `deviation` is None where only the gauge's own settings tell. `plane` and `direction` are those of
    a column that holds one place of every bore, None where each row names its own.
    """

    place: int
    unit: LengthUnit | None
    deviation: bool | None
    plane: str | None = None
    direction: str | None = None


@dataclass(frozen=True, kw_only=True)
class Layout:
    """Where our columns stand in a file of one kind."""

    kind: Kind
    place: Mapping[str, int]
    unit: Mapping[str, LengthUnit | None]
    """Of the length columns: what the header says, None for a bare name."""
    sizes: tuple[SizeColumn, ...] = ()
    extra: tuple[int, ...] = ()
    missing: tuple[str, ...] = ()
    twice: tuple[str, ...] = ()
    """Pairs of columns that would both be one of ours."""

    @property
    def wide(self) -> bool:
        """Whether a row holds a whole bore."""
        return len(self.sizes) > 0 and self.sizes[0].plane is not None

    @property
    def needed(self) -> frozenset[int]:
        """The places of the columns this kind cannot do without."""
        batch = Readings if self.kind is Kind.READINGS else ROW_BATCHES[self.kind]
        must = [column.name for column in batch.columns() if column.needed]
        if self.kind is Kind.READINGS and not self.wide:
            must += ["plane", "direction"]
        return frozenset([self.place[n] for n in must if n in self.place] + [s.place for s in self.sizes])

    @property
    def known(self) -> frozenset[int]:
        """The places of all columns this kind has a use for."""
        return frozenset([*self.place.values(), *(size.place for size in self.sizes)])


def layout_of(header: Sequence[str], sheet: Sheet, *, kind: Kind | None, name: str) -> Layout:
    """Return what kind of file a header heads, and where its columns stand.

    Parameters
    ----------
    header : sequence of str
        The file's own names.
    sheet : Sheet
        Gives the renamed columns, planes and directions.
    kind : Kind, optional
        What the file is said to be; default: the one kind its header fits.
    name : str
        How to call the file in a refusal.

    Raises
    ------
    FileUnreadable
        When no kind fits, or two do.
    """
    ours = own_names(header, sheet.columns)
    tried = [layout for layout in _layouts(ours, sheet) if kind in (None, layout.kind)]
    fitting = [layout for layout in tried if not layout.missing]
    nearer = [layout for layout in tried if layout.missing and _knows_far_more(layout, fitting)]
    if not fitting or nearer:
        raise FileUnreadable(name, _no_kind(nearer or tried, kind))
    left = [one for one in fitting if not any(_explains(other, one) for other in fitting)]
    kinds = sorted({layout.kind.value for layout in left})
    if len(kinds) > 1:
        raise KindInDoubt(name, kinds)
    if len(left) > 1:
        raise FileUnreadable(
            name, say("has a size column and columns of planes and directions; keep one of them")
        )
    chosen = left[0]
    if chosen.twice:
        twice = ", ".join(chosen.twice)
        raise FileUnreadable(name, say("has more than one column for {names}; rename one", names=twice))
    rest = [place for place in range(len(header)) if place not in chosen.known]
    return replace(chosen, extra=tuple(rest))


def normal_name(name: str) -> str:
    """Return a column's name in small letters, with one underscore for spaces, hyphens and the like."""
    return re.sub(r"[\s\-]+", "_", name.strip().strip("\ufeff\"'").strip()).casefold()


def own_names(header: Sequence[str], renamed: Mapping[str, str]) -> list[str]:
    """Return our names of a file's columns, as far as the sheet renames them; others in small letters."""
    own = [normal_name(name) for name in header]
    for mine, theirs in renamed.items():
        if normal_name(theirs) in own:
            own = [
                mine if name == normal_name(theirs) else f"{name} (not renamed)" if name == mine else name
                for name in own
            ]
    return own


def _layouts(ours: Sequence[str], sheet: Sheet) -> Iterator[Layout]:
    declared = _declared(ours, Kind.READINGS, Readings)
    yield _with_sizes(declared, ours, tuple(_long_sizes(ours)), ("plane", "direction"))
    wide, missing = _wide_sizes(ours, sheet)
    whole = _with_sizes(declared, ours, wide, ())
    yield replace(whole, missing=(*(m for m in whole.missing if m != "diameter"), *missing))
    for kind, batch in ROW_BATCHES.items():
        yield _declared(ours, kind, batch)


def _declared(ours: Sequence[str], kind: Kind, batch: type[Batch]) -> Layout:
    place: dict[str, int] = {}
    unit: dict[str, LengthUnit | None] = {}
    missing, twice = [], []
    for column in batch.columns():
        names: dict[str, LengthUnit | None] = {column.name: None, SERIAL.get(column.name, column.name): None}
        if column.type is ColumnType.LENGTH:
            names = dict(_length_names(column.name))
            if kind is Kind.SIZING:
                names |= dict(_length_names("deviation_um"))
        found = [i for i, name in enumerate(ours) if name in names]
        if found:
            place[column.name] = found[0]
            unit[column.name] = names[ours[found[0]]]
        elif column.needed:
            missing.append(_shown(column.name, column.type))
        if len(found) > 1:
            twice.append(column.name)
    either = EITHER.get(kind, ())
    if either and not any(name in place for name in either):
        missing.append(" or ".join(either))
    sizes = tuple(_long_sizes(ours))[:1] if kind is Kind.SIZING else ()
    return Layout(kind=kind, place=place, unit=unit, sizes=sizes, missing=tuple(missing), twice=tuple(twice))


def _length_names(name: str) -> Iterator[tuple[str, LengthUnit | None]]:
    base = base_name(name)
    yield base, None
    for end, unit in UNIT_OF.items():
        yield base + end, unit


def base_name(name: str) -> str:
    """Return a name without the unit that ends it."""
    end = name.rfind("_")
    return name[:end] if name[end:] in UNIT_OF else name


def _shown(name: str, type_: ColumnType) -> str:
    return base_name(name) if type_ is ColumnType.LENGTH and name.startswith("diameter") else name


def _long_sizes(ours: Sequence[str]) -> Iterator[SizeColumn]:
    for base in SIZES:
        for name, unit in [(base, None), *((base + end, unit) for end, unit in UNIT_OF.items())]:
            if name in ours:
                told = True if base == "deviation" else _counts_from_zero(unit)
                yield SizeColumn(place=ours.index(name), unit=unit, deviation=told)


def _counts_from_zero(unit: LengthUnit | None) -> bool | None:
    """Return False where the header says so; micrometres and bare names are as the gauge reads."""
    return None if unit in (None, LengthUnit.UM) else False


def _wide_sizes(ours: Sequence[str], sheet: Sheet) -> tuple[tuple[SizeColumn, ...], tuple[str, ...]]:
    sizes, missing = [], []
    for plane in sheet.measuring.planes:
        for direction in sheet.measuring.directions:
            base = normal_name(f"{plane}_{direction}")
            names: dict[str, tuple[LengthUnit | None, bool | None]] = {base: (None, None)}
            names |= {base + end: (unit, _counts_from_zero(unit)) for end, unit in UNIT_OF.items()}
            names |= {f"{base}_deviation": (None, True)}
            names |= {f"{base}_deviation{end}": (unit, True) for end, unit in UNIT_OF.items()}
            found = [i for i, name in enumerate(ours) if name in names]
            if not found:
                missing.append(base)
                continue
            unit, told = names[ours[found[0]]]
            sizes.append(
                SizeColumn(place=found[0], unit=unit, deviation=told, plane=plane, direction=direction)
            )
    return tuple(sizes), tuple(missing)


def _with_sizes(
    layout: Layout, ours: Sequence[str], sizes: tuple[SizeColumn, ...], also: tuple[str, ...]
) -> Layout:
    """Add the size columns, and those that say where a size was read."""
    missing = [*layout.missing, *(name for name in also if name not in ours)]
    if not sizes:
        missing.append("diameter")
    place = dict(layout.place) | {name: ours.index(name) for name in also if name in ours}
    kept = sizes if not also else sizes[:1]
    return replace(layout, place=place, sizes=kept, missing=tuple(missing))


def _knows_far_more(layout: Layout, fitting: Sequence[Layout]) -> bool:
    """Whether a kind that lacks a column is still what the header means: it knows two columns more."""
    return all(len(layout.known) >= len(one.known) + 2 for one in fitting)


def _explains(other: Layout, one: Layout) -> bool:
    """Whether all that `one` needs also has its place in `other`, but not the other way round."""
    return one.needed <= other.known and not other.needed <= one.known


def _no_kind(tried: Sequence[Layout], kind: Kind | None) -> str:
    nearest = min(
        tried, key=lambda layout: len(layout.missing) / (len(layout.missing) + len(layout.needed) or 1)
    )
    lacks = ", ".join(nearest.missing[:12])
    if kind is not None:
        return say("lacks what {kind} need: {names}", kind=kind.value, names=lacks)
    nearest_kind = nearest.kind.value
    if nearest.wide:
        nearest_kind = say("{kind} with one bore a row", kind=nearest_kind)
    return say(
        "no kind of file has this header; nearest is {kind}, which also needs: {names}",
        kind=nearest_kind,
        names=lacks,
    )
