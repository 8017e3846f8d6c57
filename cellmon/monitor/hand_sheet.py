"""A sheet for honing by hand, from a handful of answers."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from cellmon.errors import WrongUsage
from cellmon.words import say

MM_PER_INCH = 25.4
PLANE_SHARES = {"top": 0.12, "middle": 0.5, "bottom": 0.88}
"""Where a bore is read, as shares of its length: near each end, and the middle (*common practice*)."""


@dataclass(frozen=True, kw_only=True)
class HandSheet:
    """What a short sheet needs; sizes in `unit`, the dial in micrometres.

    Attributes
    ----------
    lower, upper : float
        Limits of the bore.
    division_um : float or None
        What one division of the dial is worth, on diameter; None: full sizes are typed.
    turn_um : float or None
        What one whole turn of the dial is worth, so that a turn misread is asked about; None: not said.
    clockwise : str
        larger or smaller: what clockwise on the dial means for the bore.
    set_on, set_at : str, float or None
        What the gauge is set on, and its size; None: nominal.
    uncertainty_um : float
        Expanded (k = 2), of the gauge as it is used.
    """

    name: str
    part_number: str
    bores: int
    unit: str
    nominal: float
    lower: float
    upper: float
    length: float
    material: str = "grey cast iron"
    surface: str = "plain"
    division_um: float | None = None
    turn_um: float | None = None
    clockwise: str = "larger"
    set_on: str = "ring"
    set_at: float | None = None
    uncertainty_um: float = 3.0
    stones: tuple[str, ...] = ()
    finish_allowance_um: float = 0.0

    def mm(self, size: float) -> float:
        """Return a size in millimetres."""
        return round(size * MM_PER_INCH if self.unit == "in" else size, 5)


def limits_of_clearance(mating: float, least: float, most: float) -> tuple[float, float]:
    """Return the limits of a bore from the part that goes in and the clearance wanted, all in one unit.

    >>> limits_of_clearance(67.96, 0.04, 0.06)
    (68.0, 68.02)
    """
    if not 0 <= least < most:
        raise WrongUsage(say("a clearance from 0, the smaller first"))
    return round(mating + least, 6), round(mating + most, 6)


def hand_sheet_text(sheet: HandSheet) -> str:
    """Return the text of a cell sheet for honing by hand."""
    length = sheet.mm(sheet.length)
    planes = ", ".join(f"{name} = {round(length * share, 1)}" for name, share in PLANE_SHARES.items())
    bores = ", ".join(f'"{i + 1}"' for i in range(sheet.bores))
    dial = [
        ("" if sheet.division_um else "# ")
        + f"division_um = {sheet.division_um or 10.0}  # of the dial, on diameter",
        ("" if sheet.turn_um else "# ")
        + f"turn_um = {sheet.turn_um or 1000.0}  # one whole turn: a turn misread is asked about",
        f'clockwise = "{sheet.clockwise}"  # what clockwise on the dial means for the bore',
        f'set_on = "{sheet.set_on}"  # ring | micrometer | blocks',
        f"set_at_mm = {sheet.mm(sheet.set_at if sheet.set_at is not None else sheet.nominal)}",
    ]
    stones = ", ".join(f'"{_plain(one)}"' for one in sheet.stones)
    return "\n".join(
        [
            "# Honing by hand: one bore in the hand. Sizes in mm, deviations in um. Read it, correct it.",
            "[cell]",
            f'name = "{_plain(sheet.name)}"',
            f'length_unit = "{sheet.unit}"  # of sizes that are typed',
            "",
            "[part]",
            f'number = "{_plain(sheet.part_number)}"',
            f"bores = [{bores}]",
            f"length_mm = {length}",
            f'material = "{_plain(sheet.material)}"',
            f'surface = "{sheet.surface}"  # coated, plated or unknown: no advice until a person confirms',
            "oversizes_mm = []  # such as [0.25, 0.5]",
            "",
            "[features.diameter]",
            f"nominal = {sheet.mm(sheet.nominal)}",
            f"lower = {sheet.mm(sheet.lower)}",
            f"upper = {sheet.mm(sheet.upper)}",
            "# target = ...  # default: the middle",
            "",
            "[measuring]",
            f"planes = {{ {planes} }}  # depth below the top face, mm",
            "directions = { x = 0, y = 90 }  # degrees",
            f"uncertainty_um = {sheet.uncertainty_um:g}  # expanded (k = 2), of one reading as you measure",
            'temperature = "as-read"',
            "",
            "[hand]",
            *dial,
            f"stones = [{stones}]  # in the order in which they are used, the finest last",
            f"finish_allowance_um = {sheet.finish_allowance_um:g}  # what each leaves for the next",
            "# interruptions = { port = [60.0, 75.0] }  # depths without short strokes across",
            "",
        ]
    )


def new_hand_cell(folder: Path, sheet: HandSheet) -> Path:
    """Make a cell folder with a sheet for honing by hand; return the sheet's path.

    Raises
    ------
    WrongUsage
        When the folder already holds a sheet: nothing a person wrote is ever replaced.
    SheetRefused
        When the answers do not make a sheet; nothing is written.
    """
    from cellmon.intake.sheet_file import parse_sheet

    path, text = folder / "cell.toml", hand_sheet_text(sheet)
    if path.exists():
        raise WrongUsage(say("{file} is already there; it was left as it is", file=path))
    parse_sheet(text, where=say("the answers"))
    folder.mkdir(parents=True, exist_ok=True)
    for name in ("inbox", "taken", "set-aside", "reports"):
        (folder / name).mkdir(exist_ok=True)
    path.write_text(text, encoding="utf-8")
    return path


def _plain(words: str) -> str:
    return words.replace("\\", "/").replace('"', "'").replace("\n", " ").strip()
