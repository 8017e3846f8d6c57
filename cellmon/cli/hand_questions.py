"""The questions of `cellmon new --hand`."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from typing import TypeVar

from cellmon.cli.terminal import write
from cellmon.errors import WrongUsage
from cellmon.monitor.hand_sheet import HandSheet, limits_of_clearance
from cellmon.words import say, to_say

Found = TypeVar("Found")
FAR = 0.05
"""Of the bore size: limits, master and the part that goes in lie nearer."""


def asked_sheet() -> HandSheet:
    """Ask a handful of questions; Enter takes what stands in brackets."""
    name = _ask(say("What is this place called"), str, say("Bench"))
    number = _ask(say("Part or drawing number"), str, "PART-1")
    bores = _ask(say("How many bores"), _whole, 4)
    unit = _one_of(say("Sizes are typed in"), ("mm", "in"), "mm")
    nominal = _ask(say("Bore size, nominal ({unit})", unit=unit), _above, None)
    length = _ask(say("Bore length ({unit})", unit=unit), _above, None)
    lower, upper = _limits(unit, nominal)
    material = _ask(say("Material"), str, say("grey cast iron"))
    surface = _one_of(say("Surface"), ("plain", "coated", "plated", "unknown"), "plain")
    dial = say("One division of the dial, um on diameter (0: full sizes are typed)")
    division = _ask(dial, _figure, 0.0)
    turn = _ask(say("One whole turn of the dial, um on diameter (0: not said)"), _figure, 0.0)
    clockwise = _one_of(say("Clockwise on the dial means the bore is"), ("larger", "smaller"), "larger")
    set_on = _one_of(say("The gauge is set on"), ("ring", "micrometer", "blocks"), "ring")
    set_at = _ask(say("which is of size ({unit})", unit=unit), _near(nominal), nominal)
    doubt = _ask(say("Uncertainty of one reading, um, expanded (k = 2)"), _above, 3.0)
    stones = _ask(say("Stones in their order, finest last, with commas"), str, "")
    named = tuple(one.strip() for one in stones.split(",") if one.strip())
    left = say("What each leaves for the next, um on diameter")
    leaves = _ask(left, _figure, 10.0) if len(named) > 1 else 0.0
    return HandSheet(
        name=name,
        part_number=number,
        bores=bores,
        unit=unit,
        nominal=nominal,
        lower=lower,
        upper=upper,
        length=length,
        material=material,
        surface=surface,
        division_um=division or None,
        turn_um=turn or None,
        clockwise=clockwise,
        set_on=set_on,
        set_at=set_at,
        uncertainty_um=doubt,
        stones=named,
        finish_allowance_um=leaves,
    )


def _limits(unit: str, nominal: float) -> tuple[float, float]:
    if _one_of(say("The size is given by"), ("limits", "clearance"), "limits") == "limits":
        lower = _ask(say("Lower limit ({unit})", unit=unit), _near(nominal), None)
        return lower, _ask(say("Upper limit ({unit})", unit=unit), _near(nominal, above=lower), None)
    mating = _ask(say("Size of the part that goes in ({unit})", unit=unit), _near(nominal), None)
    least = _ask(say("Least clearance ({unit})", unit=unit), _figure, None)
    most = _ask(say("Most clearance ({unit})", unit=unit), _more_than(least), None)
    return limits_of_clearance(mating, least, most)


def _ask(words: str, kind: Callable[[str], Found], default: Found | None) -> Found:
    """Ask until an answer fits."""
    shown = "" if default in (None, "") else f" [{default}]"
    while True:
        sys.stdout.write(f"{words}{shown}: ")
        sys.stdout.flush()
        line = sys.stdin.readline()
        if not sys.stdin.isatty():
            sys.stdout.write("\n")
        if not line:
            raise WrongUsage(say("the answers ended before the sheet was whole; nothing was made"))
        said = line.strip()
        if not said and default is not None:
            return default
        try:
            return kind(said)
        except WrongUsage as wrong:
            write([f"  {wrong}"])
        except ValueError:
            write(["  " + say("That is no figure that can stand here; once more.")])


def _one_of(words: str, choices: Sequence[str], default: str) -> str:
    def kind(said: str) -> str:
        found = [one for one in choices if one.startswith(said.casefold())]
        if len(found) != 1:
            raise WrongUsage(say("Type one of {choices}.", choices=", ".join(choices)))
        return found[0]

    return _ask(f"{words} ({', '.join(choices)})", kind, default)


def _figure(said: str) -> float:
    found = float(said.replace(",", "."))
    if not 0 <= found < 1e6:
        raise ValueError(said)
    return found


def _above(said: str) -> float:
    found = _figure(said)
    if found == 0:
        raise ValueError(said)
    return found


def _near(nominal: float, *, above: float = 0.0) -> Callable[[str], float]:
    """Return how a size is read that lies near the nominal one: another unit or a slip would not."""

    def kind(said: str) -> float:
        found = _above(said)
        if abs(found / nominal - 1) > FAR:
            text = to_say("{found} lies far from the bore size {nominal}. Where that is wrong: Ctrl-C, anew.")
            raise WrongUsage(say(text, found=f"{found:g}", nominal=f"{nominal:g}"))
        return _more_than(above)(said)

    return kind


def _more_than(least: float) -> Callable[[str], float]:
    def kind(said: str) -> float:
        found = _above(said)
        if found <= least:
            raise WrongUsage(say("It must be more than {least}.", least=f"{least:g}"))
        return found

    return kind


def _whole(said: str) -> int:
    found = int(said)
    if not 1 <= found <= 99:
        raise ValueError(said)
    return found
