"""A reading as a person types it: a full size, divisions of the dial, or micrometres from nominal."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from cellmon import lengths
from cellmon.errors import WrongUsage
from cellmon.sheet import Part, Sheet
from cellmon.units import UM_PER, LengthUnit
from cellmon.words import say, say_many

As = Literal["size", "divisions", "deviation"]
NUMBER = re.compile(r"([+\-\u2212]?)\s*(\d+(?:[.,]\d*)?|[.,]\d+)\s*(mm|in|um|\u00b5m|div|d)?", re.IGNORECASE)
PLAIN = re.compile(r"[+\-\u2212]?(\d+(?:[.,]\d*)?|[.,]\d+)")
SHOP_C = (5.0, 45.0)
"""A temperature outside is asked about."""
FAHRENHEIT = (45.0, 113.0)
"""What fits as such where it is no shop's temperature in Celsius."""
FAR_TOLERANCES = 10.0
"""Further from nominal than so many tolerances: another unit, or another place."""
OTHER_BOX = 0.1
"""Further from nominal than this share of it: no size of the bore, but a temperature or strokes."""


@dataclass(frozen=True, kw_only=True)
class Typed:
    """One reading, µm from nominal, and what is odd about it; empty: nothing."""

    um: float
    meant: As
    asked: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class TypedTemperature:
    """A temperature as it was typed, Celsius, and what is odd about it."""

    c: float
    asked: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Dial:
    """What turns typed figures into sizes: lengths in µm, sizes from nominal."""

    nominal_mm: float
    tolerance_um: float
    unit: LengthUnit
    division_um: float | None
    sign: int
    set_um: float
    turn_um: float | None

    @classmethod
    def of(cls, sheet: Sheet, part: Part) -> Dial:
        """Return the dial of a sheet; without [hand] it has no divisions."""
        hand, size = sheet.hand, part.diameter
        per = UM_PER[LengthUnit.MM]
        lower, upper = size.lower_um, size.upper_um
        set_at = None if hand is None else hand.set_at_mm
        return cls(
            nominal_mm=size.nominal,
            tolerance_um=50.0 if lower is None or upper is None else upper - lower,
            unit=LengthUnit.MM if sheet.cell.length_unit is LengthUnit.UM else sheet.cell.length_unit,
            division_um=None if hand is None else hand.division_um,
            sign=-1 if hand is not None and hand.clockwise == "smaller" else 1,
            set_um=0.0 if set_at is None else (set_at - size.nominal) * per,
            turn_um=None if hand is None else hand.turn_um,
        )


def read_entry(text: str, dial: Dial, *, expected_um: float | None = None) -> Typed:
    """Read one typed figure, and say what is odd about it.

    `87.312`, `87,312` or `3.4375 in` is a full size; `+3` or `-12` counts from the dial's zero, in divisions
    where the sheet names their worth, else in µm; `4 div` is in divisions and `+7um` in µm always.

    Parameters
    ----------
    text : str
        As it was typed.
    dial : Dial
    expected_um : float, optional
        Where the place stood before with what the round should have taken, µm from nominal.

    Raises
    ------
    WrongUsage
        When it is no figure, or divisions are typed whose worth the sheet does not say.
    """
    found = NUMBER.fullmatch(text.strip())
    if found is None:
        raise WrongUsage(
            say("{typed} is no figure; type a size, divisions such as +3, or 7um", typed=repr(text))
        )
    sign, digits, unit = found[1], float(found[2].replace(",", ".")), (found[3] or "").lower()
    value = -digits if sign in ("-", "\u2212") else digits
    if unit in ("um", "\u00b5m"):
        return _checked(Typed(um=value, meant="deviation"), dial, expected_um)
    if unit in ("div", "d") or (not unit and sign):
        return _checked(_divisions(value, unit, dial), dial, expected_um)
    length = LengthUnit(unit) if unit else dial.unit
    size = Typed(um=_from_nominal(value, length, dial), meant="size")
    if not unit and abs(size.um) > FAR_TOLERANCES * dial.tolerance_um:
        return _far(value, size, dial)
    return _checked(size, dial, expected_um)


def read_figure(text: str) -> float:
    """Read one plain figure; a comma may stand before decimals.

    Raises
    ------
    WrongUsage
        When it is none.
    """
    said = text.strip()
    if PLAIN.fullmatch(said) is None:
        raise WrongUsage(say("{typed} is no figure", typed=repr(text)))
    return float(said.replace(",", ".").replace("\u2212", "-"))


def read_temperature(text: str) -> TypedTemperature:
    """Read a temperature in Celsius, and ask about one that no shop has; refusals as `read_figure`.

    >>> read_temperature("20,5").c
    20.5
    """
    c = read_figure(text)
    if SHOP_C[0] <= c <= SHOP_C[1]:
        return TypedTemperature(c=c)
    if FAHRENHEIT[0] < c <= FAHRENHEIT[1]:
        asked = say("{c} fits as Fahrenheit, and here Celsius is typed: is that so?", c=f"{c:g}")
    else:
        asked = say("{c} °C is far from a shop's temperature: is that so?", c=f"{c:g}")
    return TypedTemperature(c=c, asked=(asked,))


def _divisions(value: float, unit: str, dial: Dial) -> Typed:
    if dial.division_um is None:
        if unit:
            raise WrongUsage(say("the sheet does not say what a division is worth: [hand] division_um"))
        return Typed(um=dial.set_um + value, meant="deviation")
    return Typed(um=dial.set_um + dial.sign * value * dial.division_um, meant="divisions")


def _from_nominal(value: float, unit: LengthUnit, dial: Dial) -> float:
    um = value * UM_PER[unit] - dial.nominal_mm * UM_PER[LengthUnit.MM]
    return round(um, 4)


def _far(value: float, size: Typed, dial: Dial) -> Typed:
    """Return a figure far from nominal: in the other unit where that fits, else as it stands; both asked."""
    other = LengthUnit.MM if dial.unit is LengthUnit.INCH else LengthUnit.INCH
    um = _from_nominal(value, other, dial)
    if abs(um) <= FAR_TOLERANCES * dial.tolerance_um:
        asked = say(
            "{value} fits as {unit}: is it {unit}? The sheet reads {own}.",
            value=f"{value:g}",
            unit=other.value,
            own=dial.unit.value,
        )
        return Typed(um=um, meant="size", asked=(asked,))
    if abs(size.um) > OTHER_BOX * dial.nominal_mm * UM_PER[LengthUnit.MM]:
        asked = say(
            "{value} is no size near {nominal}: was it meant for another box?",
            value=f"{value:g}",
            nominal=lengths.size_said(dial.nominal_mm, 3),
        )
        return Typed(um=size.um, meant="size", asked=(asked,))
    asked = say(
        "{value} lies {um} from nominal: is that so?",
        value=f"{value:g}",
        um=lengths.said(size.um, 0, sign=True),
    )
    return Typed(um=size.um, meant="size", asked=(asked,))


def _checked(typed: Typed, dial: Dial, expected_um: float | None) -> Typed:
    asked = []
    if abs(typed.um) > FAR_TOLERANCES * dial.tolerance_um:
        asked.append(say("That lies {um} from nominal: is that so?", um=lengths.said(typed.um, 0, sign=True)))
    if expected_um is not None and dial.turn_um is not None:
        off = typed.um - expected_um
        turns = round(off / dial.turn_um)
        if turns and abs(off - turns * dial.turn_um) < 0.2 * dial.turn_um:
            asked.append(
                say_many(
                    "That is about {turns} dial turn from what was expected: a turn misread?",
                    "That is about {turns} dial turns from what was expected: a turn misread?",
                    abs(turns),
                    turns=f"{turns:+d}",
                )
            )
    return Typed(um=typed.um, meant=typed.meant, asked=tuple(asked))
