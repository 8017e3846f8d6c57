"""How evenly a stone set is worn at its last round, what that prints into a bore, and whether to true it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from cellmon import lengths
from cellmon.monitor.stones.kinds import KindKnown
from cellmon.monitor.stones.measured import Rounds
from cellmon.stones.evenness import Evenness, evenness, prints
from cellmon.words import say, to_say

BEYOND = {
    "flat": to_say("a stone is hollow or crowned by {um}, over the {limit} of the sheet"),
    "parallel": to_say("the ends of a stone differ by {um}, over the {limit} of the sheet"),
    "matched": to_say("its stones differ in height by {um}, over the {limit} of the sheet"),
}


@dataclass(frozen=True, kw_only=True)
class Shape:
    """How evenly a set is worn at its last round; µm, None where the places measured do not say.

    `taper_um` and `barrel_um` are what the shape prints into a bore's diameter at most.
    """

    flat_um: float | None
    matched_um: float | None
    taper_um: float | None
    barrel_um: float | None


@dataclass(frozen=True, kw_only=True)
class ShapeTold:
    """The shape, how far the ends of a stone differ, whether to true the set, and why what is not known."""

    parallel_um: float | None = None
    shape: Shape | None = None
    truing: str | None = None
    why_not: Mapping[str, str] = field(default_factory=dict)


def shape_told(kind_known: KindKnown | None, rounds: Rounds | None) -> ShapeTold:
    """Return the shape of a set at its last round; only what readings repeat well enough to say."""
    if rounds is None or kind_known is None:
        why = say("it was never measured") if rounds is None else say("its kind is not in the sheet")
        return ShapeTold(why_not={"parallelism_um": why})
    why_not: dict[str, str] = {}
    even = evenness(rounds.thickness.um[-1], reading_um=kind_known.reading_um)
    if even.parallel_um is None:
        why_not["parallelism_um"] = say("the stones were not measured at both ends")
    elif not even.said("parallel"):
        why_not["parallelism_um"] = say(
            "under {um}, less than readings repeat to", um=lengths.said(even.unsure_um["parallel"], 0)
        )
    printed = prints(even)
    return ShapeTold(
        parallel_um=even.parallel_um if even.said("parallel") else None,
        shape=Shape(
            flat_um=even.flat_um if even.said("flat") else None,
            matched_um=even.matched_um if even.said("matched") else None,
            taper_um=printed.taper_um if printed is not None and even.said("taper") else None,
            barrel_um=printed.barrel_um if printed is not None and even.said("hollow") else None,
        ),
        truing=_truing(even, kind_known),
        why_not=why_not,
    )


def _truing(even: Evenness, known: KindKnown) -> str | None:
    """Say which limit of the sheet a set's shape is beyond, by more than readings repeat to."""
    beyond = []
    for name, words in BEYOND.items():
        limit, value = getattr(known.kind, f"{name}_um"), getattr(even, f"{name}_um")
        if limit is not None and value is not None and even.said(name) and value > limit:
            beyond.append(say(words, um=lengths.said(value, 0), limit=lengths.said(limit, None)))
    return say("true the set: {beyond}", beyond="; ".join(beyond)) if beyond else None
