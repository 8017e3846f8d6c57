"""What became of a file that was handed over, in words."""

from __future__ import annotations

from typing import Any

from dash import html

from cellmon import local
from cellmon.monitor.row_words import reason_words
from cellmon.monitor.take import FileTaken
from cellmon.words import say, say_many

ROWS_SHOWN = 5


def told(taken: FileTaken) -> list[Any]:
    """Return what became of a file in one sentence that accounts for every row, and the first rows aside."""
    found: list[Any] = [html.P(sentence(taken), className="said")]
    rows = taken.set_aside[:ROWS_SHOWN] if not taken.units else ()
    if rows:
        items = [
            html.Li(
                [say("line {line}: ", line=row.line), reason_words(row.reason).means, " ", _text(row.text)]
            )
            for row in rows
        ]
        found.append(html.Ul(items, className="lines"))
    left = len(taken.set_aside) - len(rows)
    if rows and left:
        found.append(
            html.P(say("And {left} more; they stand below.", left=local.number(left)), className="aside")
        )
    return found


def _text(text: str) -> html.Code:
    return html.Code(text, className="row-text")


def sentence(taken: FileTaken) -> str:
    """Return what became of a file; taken, known and set aside add up to its rows."""
    if taken.kinds:
        return say("{file}: its header fits several kinds. Nothing was taken yet.", file=taken.file)
    if taken.why_not is not None:
        return say("{why}. Nothing was taken.", why=taken.why_not.rstrip("."))
    rows = say_many("{n} row", "{n} rows", taken.rows, n=local.number(taken.rows))
    if taken.units:
        return say(
            "{file}: {rows}, all set aside, because the sizes fit another unit: {units}. Nothing is "
            "converted by guess.",
            file=taken.file,
            rows=rows,
            units=say(" or ").join(taken.units),
        )
    flagged = (
        "" if not taken.flagged else say(" {n} measurements are doubted.", n=local.number(taken.flagged))
    )
    return (
        say(
            "{file}, {kind}: {rows}, of which {taken} taken, {known} already known, {aside} set aside.",
            file=taken.file,
            kind=taken.kind,
            rows=rows,
            taken=local.number(taken.taken),
            known=local.number(taken.known),
            aside=local.number(len(taken.set_aside)),
        )
        + flagged
    )
