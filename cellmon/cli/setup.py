"""The command `setup`: speed, stroke, overrun and crosshatch of a hone; works without a cell too."""

from __future__ import annotations

import argparse
import math
import os
from collections.abc import Sequence
from dataclasses import fields
from pathlib import Path
from zoneinfo import ZoneInfo

from cellmon.cli.arguments import json_argument, open_monitor, zone_of
from cellmon.cli.showing import show_document
from cellmon.cli.terminal import clean, figure, table, terminal_width, text, write
from cellmon.cli.wording import not_known_lines, note_line, number
from cellmon.errors import WrongUsage
from cellmon.monitor.setup import SetupRequest, SetupSheet, SpeedChoice, setup_sheet
from cellmon.monitor.setup_words import removal_lines, stroke_lines
from cellmon.words import say

MM_PER_INCH = 25.4
SHEET = "cell.toml"
OPTIONS = (
    ("length-mm", "length of the bore"),
    ("stone-mm", "length of the stones"),
    ("overrun-top-mm", "how far the stones leave the bore at the top (default a third of their length)"),
    ("overrun-bottom-mm", "the same at the bottom; 0 for a blind bore"),
    ("surface-m-min", "surface speed wanted"),
    ("strokes-per-min", "your own stroke rate, double strokes: there and back"),
    ("angle-deg", "included crosshatch angle wanted"),
    ("rated-rpm", "rated speed of the hone or drill: never above it"),
    ("stock-um", "what is to come off, on diameter"),
    ("um-per-stroke", "what a double stroke takes off, on diameter, from a bore of your own"),
    ("g-ratio", "volume of work for one of stone, from wear you measured"),
    ("stone-width-mm", "width of one stone"),
)


def setup_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `setup`."""
    size = parser.add_mutually_exclusive_group()
    size.add_argument("--diameter-mm", metavar="X", type=positive, help="of the bore (default: the sheet's)")
    size.add_argument("--diameter-in", metavar="X", type=positive, help="the same in inch")
    for name, words in OPTIONS:
        kind = not_negative if name.startswith("overrun") else positive
        parser.add_argument(f"--{name}", metavar="X", type=kind, help=words)
    parser.add_argument("--stones", metavar="N", type=int, help="stones of a set")
    parser.add_argument(
        "--angle-at",
        choices=("mean", "mid-stroke"),
        default="mean",
        help="where the angle is wanted: from the mean stroke speed, or in the middle of a crank's or hand's",
    )
    parser.add_argument(
        "--surface",
        choices=("plain", "coated", "plated", "unknown"),
        help="of the bore (default: the sheet's, else plain)",
    )
    parser.add_argument("--part-number", metavar="P", help="the drawing, where the sheet names several")
    parser.add_argument(
        "--cell",
        metavar="DIR",
        type=Path,
        help=f"the cell whose sheet gives the rest (default: $CELLMON_CELL, else here if {SHEET} is)",
    )
    json_argument(parser)


def positive(typed: str) -> float:
    """Return a number above 0."""
    found = not_negative(typed)
    if found == 0:
        raise argparse.ArgumentTypeError(f"{typed!r} is not above 0")
    return found


def not_negative(typed: str) -> float:
    """Return a finite number, 0 or more."""
    try:
        found = float(typed)
    except ValueError as wrong:
        raise argparse.ArgumentTypeError(f"{typed!r} is not a number") from wrong
    if not math.isfinite(found) or found < 0:
        raise argparse.ArgumentTypeError(f"{typed!r} is not 0 or more")
    return found


def setup(args: argparse.Namespace) -> int:
    """Print a set-up sheet, cautions first."""
    if args.stones is not None and args.stones < 1:
        raise WrongUsage(say("a set has at least one stone"))
    args.cell = args.cell or _usual_cell()
    request, zone = _request(args), ZoneInfo("UTC")
    if args.cell is None:
        answer = setup_sheet(request)
    else:
        monitor = open_monitor(args)
        answer, zone = monitor.setup(request), zone_of(monitor)
    if args.json:
        show_document(answer, zone=zone)
    else:
        write([clean(line) for line in setup_lines(answer, width=terminal_width())])
    return 0


def _usual_cell() -> Path | None:
    named = os.environ.get("CELLMON_CELL")
    if named:
        return Path(named)
    return Path(".") if Path(SHEET).exists() else None


def _request(args: argparse.Namespace) -> SetupRequest:
    given = {f.name: getattr(args, f.name) for f in fields(SetupRequest)}
    if args.diameter_in is not None:
        given["diameter_mm"] = args.diameter_in * MM_PER_INCH
    return SetupRequest(**given)


def setup_lines(answer: SetupSheet, *, width: int | None) -> list[str]:
    """Return the cautions, the figures, the order of work, and what is missing or unusual."""
    lines = [say("Cautions"), *(f"  - {caution}" for caution in answer.cautions), "", answer.sentence, ""]
    lines += stroke_lines(answer)
    lines += ["", *table(_SPEED_COLUMNS, [_speed_row(s) for s in answer.speeds], width=width)]
    lines += [say("{speed}: {note}.", speed=s.name, note=s.note) for s in answer.speeds]
    if answer.removal is not None:
        lines += ["", *removal_lines(answer.removal)]
    lines += ["", say("Order of work"), *(f"  {i}. {step}" for i, step in enumerate(answer.steps, 1))]
    missing = {**answer.why_not, **({} if answer.removal is None else answer.removal.why_not)}
    lines += ["", *(note_line(note) for note in answer.notes)]
    return lines + not_known_lines(missing)


_SPEED_COLUMNS = (
    text("speed by"),
    figure("rev/min"),
    figure("m/min"),
    figure("crosshatch, mean"),
    figure("mid-stroke"),
    figure("strokes for the angle"),
    text("rated speed"),
)


def _speed_row(s: SpeedChoice) -> Sequence[str | None]:
    return [
        s.name,
        str(math.floor(s.rpm)),
        number(s.surface_m_min, decimals=0),
        number(s.angle_mean_deg, decimals=0),
        number(s.angle_mid_stroke_deg, decimals=0),
        number(s.strokes_for_angle, decimals=0),
        say("held at it") if s.limited else None,
    ]
