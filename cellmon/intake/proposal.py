"""The text of a cell sheet as a file of readings suggests it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import orjson

from cellmon.intake.sheet_texts import CELL, FILL, FORM, HEAD, MEASURING, PART, REST, SHIFTS, STONES
from cellmon.records import Numbers
from cellmon.units import UM_PER, LengthUnit

FIRST_DEPTH_MM = 10.0
AUDIT = 'use = "audit"              # audit: kept beside, not charted | streams'


@dataclass(frozen=True, kw_only=True, eq=False)
class Shown:
    """What a file of readings shows of a cell."""

    renamed: Mapping[str, str]
    bores: tuple[str, ...]
    planes: tuple[str, ...]
    directions: tuple[str, ...]
    routing: Mapping[str, tuple[str, ...]]
    gauges: tuple[str, ...]
    part_number: str | None
    sizes: Numbers
    unit: LengthUnit | None
    deviation: bool
    unknown: tuple[str, ...]


def proposal_text(shown: Shown, name: str) -> str:
    """Return the text of a proposed sheet; `name` is that of the file it comes from."""
    remark = f"# Proposed from {_plain(name)}. FILL IN marks what the file cannot show.\n"
    parts = [HEAD, remark, _cell_text(shown), _part_text(shown), _form_text(shown), _measuring_text(shown)]
    for gauge in shown.gauges[1:]:
        parts.append(f"\n[[gauges]]\nid = {_quoted(gauge)}\n{AUDIT}\n")
    parts.append(SHIFTS)
    for spindle, bores in shown.routing.items():
        parts.append(
            f"\n[[spindles]]\nid = {_quoted(spindle)}\nbores = [{_list(bores)}]     # as most rows say\n"
        )
    parts += [STONES, REST, _columns_text(shown)]
    return "".join(parts)


def _cell_text(shown: Shown) -> str:
    unit = _unit(shown)
    mark = "" if shown.unit or shown.deviation else FILL + "as the size of the numbers suggests; check it"
    return CELL.format(
        name='"My cell"',
        zone='"UTC"',
        zone_mark=FILL + "the file does not say",
        unit=_quoted(LengthUnit.MM if shown.deviation else unit),
        unit_mark=mark,
    )


def _unit(shown: Shown) -> LengthUnit:
    """Return the unit the header names, else the one in which the sizes are bores that can be honed."""
    if shown.unit is not None:
        return shown.unit
    middle = _middle(shown.sizes)
    if shown.deviation or middle > 2000:
        return LengthUnit.UM
    return LengthUnit.INCH if middle < 6 else LengthUnit.MM


def _middle(sizes: Numbers) -> float:
    held = sizes[np.isfinite(sizes) & (sizes != 0)]
    return float(np.median(held)) if len(held) else 0.0


def _part_text(shown: Shown) -> str:
    nominal, mark = 100.0, FILL + "this is a placeholder; the file holds deviations only"
    if not shown.deviation:
        middle = _middle(shown.sizes) * UM_PER[_unit(shown)] / UM_PER[LengthUnit.MM]
        nominal = max(round(middle, 1 if middle >= 20 else 2), 0.01)
        mark = FILL + "rounded from the middle of the readings; put the drawing's figure"
    limits = (
        f"# lower = {nominal:.3f}          # FILL IN: the drawing's; without limits nothing is judged\n"
        f"# upper = {nominal + 0.025:.3f}"
    )
    return PART.format(
        number=_quoted(shown.part_number or "PART-1"),
        number_mark="" if shown.part_number else FILL + "a placeholder",
        bores=_list(shown.bores),
        nominal=f"{nominal:.3f}",
        nominal_mark=mark,
        limits=limits,
    )


def _form_text(shown: Shown) -> str:
    planes, directions = len(shown.planes), len(shown.directions)
    there = {
        "taper": planes > 1,
        "barrel": planes > 2,
        "ovality": directions > 1,
        "roundness": directions > 1,
    }
    return "".join(FORM[name] for name, holds in there.items() if holds)


def _measuring_text(shown: Shown) -> str:
    depths = [FIRST_DEPTH_MM * (i + 1) for i in range(len(shown.planes))]
    step = 180 / max(len(shown.directions), 1)
    angles = [round(i * step, 3) for i in range(len(shown.directions))]
    return MEASURING.format(
        planes=", ".join(f"{_key(p)} = {d}" for p, d in zip(shown.planes, depths, strict=True)),
        planes_mark=FILL + "evenly spaced placeholders",
        directions=", ".join(f"{_key(d)} = {a:g}" for d, a in zip(shown.directions, angles, strict=True)),
        directions_mark=FILL + "evenly spaced placeholders",
        reads='"deviation"' if shown.deviation else '"diameter"',
        gauge=_quoted(shown.gauges[0] if shown.gauges else "G1"),
        resolution="# resolution_um = 0.1        # FILL IN: the step of the gauge's display",
    )


def _columns_text(shown: Shown) -> str:
    lines = ['\n[columns]                    # ours = "as your files call it"']
    lines += [
        f"{_key(ours)} = {_quoted(theirs)}   # proposed; check it" for ours, theirs in shown.renamed.items()
    ]
    if shown.unknown:
        lines.append(f"# kept with each bore, not used: {', '.join(map(_plain, shown.unknown[:20]))}")
    return "\n".join(lines) + "\n"


def _quoted(word: str) -> str:
    """Return a word as a TOML string; JSON's escapes are TOML's too."""
    return orjson.dumps(str(word)).decode().replace("\x7f", "\\u007f")


def _key(word: str) -> str:
    return word if re.fullmatch(r"[A-Za-z0-9_-]+", word) else _quoted(word)


def _list(words: Sequence[str]) -> str:
    return ", ".join(map(_quoted, words))


def _plain(word: str) -> str:
    """Return a word fit for a remark: one line, no control characters."""
    return "".join(c if c.isprintable() else " " for c in word)[:80]
