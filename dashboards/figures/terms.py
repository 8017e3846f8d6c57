"""Closed words that the monitor answers with, as they are said."""

from __future__ import annotations

from collections.abc import Sequence
from functools import reduce

from cellmon.words import say, to_say

TERMS = frozenset(
    (
        to_say("lower"),
        to_say("upper"),
        to_say("conforms"),
        to_say("does not conform"),
        to_say("undecided"),
        to_say("none"),
        to_say("carry on"),
        to_say("look"),
        to_say("stop"),
        to_say("run"),
        to_say("correct"),
        to_say("cannot tell yet"),
        to_say("leave it alone"),
        to_say("released"),
        to_say("reworked"),
        to_say("scrapped"),
        to_say("concession"),
        to_say("answered"),
        to_say("open"),
        to_say("reopened"),
        to_say("withdrawn"),
        to_say("chip"),
        to_say("step"),
        to_say("grew"),
        to_say("fitted"),
        to_say("dressed"),
        to_say("points"),
        to_say("reported"),
        to_say("least"),
        to_say("greatest"),
        to_say("average"),
        to_say("value"),
        to_say("mean"),
        to_say("range"),
        to_say("ratio to last"),
        to_say("moving range"),
        to_say("moving average"),
        to_say("upper sum"),
        to_say("lower sum"),
        to_say("bore"),
        to_say("standard deviation"),
        to_say("with it"),
        to_say("supported"),
        to_say("not supported"),
        to_say("parts crossed with operators"),
        to_say("parts without operators"),
        to_say("one master repeated"),
        to_say("unknown"),
        to_say("not known"),
    )
)
"""What the catalogue knows of them."""


def term(word: str) -> str:
    """Return a closed word in the site's language; what is none, such as a name, as it is."""
    return say(word) if word in TERMS else word


def each(words: Sequence[str]) -> str:
    """Return words of a list, the last after an "and"."""
    return reduce(lambda first, last: say("{first} and {last}", first=first, last=last), words)
