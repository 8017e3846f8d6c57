"""What parts must share to be charted together, as deviation from each one's own nominal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from cellmon.errors import Mistake
from cellmon.records import LIKE_PARTS
from cellmon.sheet.features import Part
from cellmon.words import say

SAME = ("size", "over", "by_fixture", "unit")
"""Keys of a feature that say which figure is charted, or in which streams."""


def like_mistakes(parts: Sequence[Part]) -> Iterator[Mistake]:
    """Yield what keeps parts that name each other like from being charted together."""
    for part in parts:
        if part.number.startswith(LIKE_PARTS):
            yield Mistake(
                key="parts.number",
                found=repr(part.number),
                expected=say("a number that does not begin with {beginning}", beginning=repr(LIKE_PARTS)),
            )
    for name in dict.fromkeys(p.like for p in parts if p.like is not None):
        alike = [p for p in parts if p.like == name]
        if len(alike) == 1:
            yield Mistake(
                key=f"parts.{alike[0].number}.like",
                found=repr(name),
                expected=say("at least two parts that carry the same `like`"),
            )
        for other in alike[1:]:
            yield from _unlike(alike[0], other)


def _unlike(first: Part, other: Part) -> Iterator[Mistake]:
    key = f"parts.{other.number}.like"
    if set(first.bores) != set(other.bores):
        yield Mistake(
            key=key,
            found=say("bores {names}", names=", ".join(other.bores)),
            expected=say("the bores of {part}: {names}", part=first.number, names=", ".join(first.bores)),
        )
    if set(first.charted) != set(other.charted):
        yield Mistake(
            key=key,
            found=say("features {names}", names=", ".join(other.charted)),
            expected=say(
                "the charted features of {part}: {names}", part=first.number, names=", ".join(first.charted)
            ),
        )
    for feature in first.charted:
        mine, others = first.features[feature], other.features.get(feature)
        for word in SAME if others is not None else ():
            wanted, found = getattr(mine, word, None), getattr(others, word, None)
            if wanted != found:
                yield Mistake(
                    key=f"{key}, features.{feature}.{word}",
                    found=repr(found),
                    expected=say("{wanted}, as {part} has it", wanted=repr(wanted), part=first.number),
                )
