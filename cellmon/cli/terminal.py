"""Tables for people: aligned, fitted to the terminal, every cell on one line."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Sequence
from dataclasses import dataclass

from cellmon.words import say

GAP = "  "
LEAST_FLEXIBLE = 30
"""The narrowest a flexible column is cut to; below this, spare columns go first."""


@dataclass(frozen=True, kw_only=True)
class Column:
    """A column: figures stand right; a spare one goes when it is tight, a flexible one is cut."""

    heading: str
    right: bool = False
    spare: bool = False
    flexible: bool = False


def text(heading: str, *, spare: bool = False, flexible: bool = False) -> Column:
    """Return a column of words; its heading is said when the table is printed."""
    return Column(heading=heading, spare=spare, flexible=flexible)


def figure(heading: str, *, spare: bool = False) -> Column:
    """Return a column of figures; its heading is said when the table is printed."""
    return Column(heading=heading, right=True, spare=spare)


def terminal_width() -> int | None:
    """Return the columns of the terminal, None where standard output is none: nothing is cut then."""
    return shutil.get_terminal_size().columns if sys.stdout.isatty() else None


def table(
    columns: Sequence[Column], rows: Sequence[Sequence[str | None]], *, width: int | None = None
) -> list[str]:
    """Return the lines of a table, headings first; None prints as a dash, empty rows give no line.

    Parameters
    ----------
    columns : sequence of Column
    rows : sequence of sequences
        One cell a column.
    width : int, optional
        Columns of the terminal to fit into; None fits nothing.
    """
    if not rows:
        return []
    grid = [[_cell(cell) for cell in row] for row in rows]
    kept = list(range(len(columns)))
    heads = [say(c.heading) for c in columns]
    widths = [max(len(head), *(len(row[i]) for row in grid)) for i, head in enumerate(heads)]
    if width is not None:
        kept = _without_spare(columns, widths, width)
        widths = _cut_flexible(columns, widths, kept, width)
    lines = [_line([heads[i] for i in kept], columns, widths, kept)]
    lines.append(GAP.join("-" * widths[i] for i in kept))
    lines.extend(_line([row[i] for i in kept], columns, widths, kept) for row in grid)
    return lines


def clean(words: str) -> str:
    """Return text on one line, without anything a terminal would obey."""
    return "".join(c if c.isprintable() else " " if c.isspace() else "?" for c in words)


def write(lines: Sequence[str]) -> None:
    """Print lines to standard output."""
    sys.stdout.write("".join(f"{line}\n" for line in lines))


def _cell(cell: str | None) -> str:
    return "-" if cell is None or cell == "" else clean(cell)


def _total(widths: Sequence[int], kept: Sequence[int]) -> int:
    return sum(widths[i] for i in kept) + len(GAP) * (len(kept) - 1)


def _least(columns: Sequence[Column], widths: Sequence[int]) -> list[int]:
    return [min(w, LEAST_FLEXIBLE) if c.flexible else w for c, w in zip(columns, widths, strict=True)]


def _without_spare(columns: Sequence[Column], widths: Sequence[int], width: int) -> list[int]:
    kept = list(range(len(columns)))
    least = _least(columns, widths)
    for i in reversed(range(len(columns))):
        if _total(least, kept) <= width:
            break
        if columns[i].spare:
            kept.remove(i)
    return kept


def _cut_flexible(
    columns: Sequence[Column], widths: Sequence[int], kept: Sequence[int], width: int
) -> list[int]:
    cut = list(widths)
    for i in reversed(kept):
        over = _total(cut, kept) - width
        if over > 0 and columns[i].flexible:
            cut[i] = max(min(cut[i], LEAST_FLEXIBLE), cut[i] - over)
    return cut


def _line(cells: Sequence[str], columns: Sequence[Column], widths: Sequence[int], kept: Sequence[int]) -> str:
    shown = []
    for cell, i in zip(cells, kept, strict=True):
        fitted = cell if len(cell) <= widths[i] else cell[: widths[i] - 3] + "..."
        shown.append(fitted.rjust(widths[i]) if columns[i].right else fitted.ljust(widths[i]))
    return GAP.join(shown).rstrip()
