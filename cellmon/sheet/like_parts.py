"""What parts must share to be charted together, as deviation from each one's own nominal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from cellmon.errors import Mistake
from cellmon.records import LIKE_PARTS
from cellmon.sheet.features import Part

SAME = ("size", "over", "by_fixture", "unit")
"""Keys of a feature that say which figure is charted, or in which streams."""


def like_mistakes(parts: Sequence[Part]) -> Iterator[Mistake]:
    """Yield what keeps parts that name each other like from being charted together."""
    for part in parts:
        if part.number.startswith(LIKE_PARTS):
            yield Mistake(
                key="parts.number",
                found=repr(part.number),
                expected=f"a number that does not begin with {LIKE_PARTS!r}",
            )
    for name in dict.fromkeys(p.like for p in parts if p.like is not None):
        alike = [p for p in parts if p.like == name]
        if len(alike) == 1:
            yield Mistake(
                key=f"parts.{alike[0].number}.like",
                found=repr(name),
                expected="at least two parts that carry the same `like`",
            )
        for other in alike[1:]:
            yield from _unlike(alike[0], other)


def _unlike(first: Part, other: Part) -> Iterator[Mistake]:
    key = f"parts.{other.number}.like"
    if set(first.bores) != set(other.bores):
        yield Mistake(
            key=key,
            found=f"bores {', '.join(other.bores)}",
            expected=f"the bores of {first.number}: {', '.join(first.bores)}",
        )
    if set(first.charted) != set(other.charted):
        yield Mistake(
            key=key,
            found=f"features {', '.join(other.charted)}",
            expected=f"the charted features of {first.number}: {', '.join(first.charted)}",
        )
    for feature in first.charted:
        mine, others = first.features[feature], other.features.get(feature)
        for word in SAME if others is not None else ():
            wanted, found = getattr(mine, word, None), getattr(others, word, None)
            if wanted != found:
                yield Mistake(
                    key=f"{key}, features.{feature}.{word}",
                    found=repr(found),
                    expected=f"{wanted!r}, as {first.number} has it",
                )
