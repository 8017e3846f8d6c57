"""The closed lists that rows draw on, and the small things that are named in many places."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property

from cellmon.words import say, to_say


class Kind(StrEnum):
    """What a file holds; the word is also the value of `--kind`."""

    READINGS = "readings"
    EVENTS = "events"
    STONE_SETS = "stone-sets"
    STONE_MEASUREMENTS = "stone-measurements"
    STOCK = "stock"
    GAUGE_CHECKS = "gauge-checks"
    GAUGE_STUDY = "gauge-study"
    CHARACTERISTICS = "characteristics"
    FINDINGS = "findings"
    TRACES = "traces"
    MATING_PARTS = "mating-parts"
    SIZING = "sizing"


class EventKind(StrEnum):
    """What can happen to a spindle or a gauge."""

    STONES_FITTED = "stones-fitted"
    STONES_DRESSED = "stones-dressed"
    STONES_REMOVED = "stones-removed"
    FEED_OFFSET = "feed-offset"
    GAUGE_ZEROED = "gauge-zeroed"
    REROUTED = "rerouted"
    SETUP_CHANGED = "setup-changed"


class Reason(StrEnum):
    """Why a row was set aside."""

    FIELD_COUNT = "field-count"
    MISSING_FIELD = "missing-field"
    NOT_MEASURED = "not-measured"
    NOT_A_NUMBER = "not-a-number"
    NOT_A_TIME = "not-a-time"
    NO_SUCH_HOUR = "no-such-hour"
    UNKNOWN_WORD = "unknown-word"
    UNKNOWN_PART = "unknown-part"
    UNKNOWN_BORE = "unknown-bore"
    UNKNOWN_PLANE = "unknown-plane"
    UNKNOWN_DIRECTION = "unknown-direction"
    UNKNOWN_SPINDLE = "unknown-spindle"
    UNKNOWN_GAUGE = "unknown-gauge"
    UNIT_DOUBT = "unit-doubt"
    NOT_THIS_BORE = "not-this-bore"
    CONTRADICTS = "contradicts"
    UNREADABLE = "unreadable"


class Flag(StrEnum):
    """Why a row that was taken is doubted until a person clears or corrects it."""

    ROUTING = "routing"
    SET_DIFFERS = "set-differs"
    DIAL_TURN = "dial-turn"
    SWAPPED_PLANES = "swapped-planes"
    SWAPPED_DIRECTIONS = "swapped-directions"
    SINGLE_READING = "single-reading"
    CLOCK = "clock"
    REPEATED_HOUR = "repeated-hour"
    ZERO_SUSPECT = "zero-suspect"
    LATE = "late"

    @property
    def bit(self) -> int:
        """This flag's bit in an integer that holds several."""
        return 1 << list(Flag).index(self)


class Verdict(StrEnum):
    """Whether a bore is proven inside its limits, proven outside, or neither (ISO 14253-1)."""

    CONFORMS = to_say("conforms")
    DOES_NOT_CONFORM = to_say("does not conform")
    UNDECIDED = to_say("undecided")


@dataclass(frozen=True, kw_only=True)
class Refused:
    """One line of a file that became no row."""

    line: int
    reason: Reason
    text: str
    as_read: str | None = None
    """The line as it stood, where `text` is words about it."""


HAND = "hand"
"""Stands for a spindle where a bore was finished by hand."""
LIKE_PARTS = "like parts: "
"""Begins the `part_number` of streams that chart several parts together; the family's name follows."""
FEATURE_WORDS = {
    "diameter": to_say("diameter"),
    "taper": to_say("taper"),
    "barrel": to_say("barrel"),
    "twist": to_say("twist"),
    "ovality": to_say("ovality"),
    "roundness": to_say("roundness"),
    "size_range": to_say("size range"),
    "roundness_trace": to_say("roundness trace"),
    "cylindricity": to_say("cylindricity"),
    "diameter_trace": to_say("diameter trace"),
    "average": to_say("average"),
    "least": to_say("least"),
    "greatest": to_say("greatest"),
    "mid_range": to_say("mid range"),
    "ovality_worst": to_say("ovality worst"),
    "cycle_s": to_say("honing time"),
    "load_pct": to_say("load"),
    "load_ripple_pct": to_say("load ripple"),
    "feed_um": to_say("expander position"),
    "part_temp_c": to_say("part temperature"),
    "master_temp_c": to_say("master temperature"),
    "offsets_given": to_say("offsets given"),
}
"""How features and process figures are called; another is called as the sheet names it."""


def feature_words(name: str) -> str:
    """Return what a feature is called in a sentence.

    >>> feature_words("cycle_s"), feature_words("core_roughness")
    ('honing time', 'core roughness')
    """
    return say(FEATURE_WORDS.get(name, name.replace("_", " ")))


@dataclass(frozen=True, kw_only=True)
class Stream:
    """What is watched as one: a feature of one bore position as one spindle hones it.

    Without a bore it is the mean of that spindle's bores of a block, without a spindle too the mean of
    all; `part_of` is "itself", or "distance" for a bore less the mean of all of the same block.
    """

    part_number: str
    spindle: str | None
    bore: str | None
    feature: str
    fixture: str | None = None
    part_of: str = "itself"

    def __lt__(self, other: Stream) -> bool:
        return self.order < other.order

    @cached_property
    def order(self) -> tuple[str, ...]:
        """By what streams are put in order; what is not said comes first.

        >>> from dataclasses import replace
        >>> one = Stream(part_number="P", spindle="S1", bore="1", feature="ovality")
        >>> one < replace(one, fixture="P1"), replace(one, spindle=None) < one
        (True, True)
        """
        named = (self.part_number, self.spindle, self.bore, self.feature, self.fixture, self.part_of)
        return tuple(name or "" for name in named)

    @property
    def like(self) -> str | None:
        """The name of the like parts that are charted together here; None where it is one part."""
        named = self.part_number.startswith(LIKE_PARTS)
        return self.part_number.removeprefix(LIKE_PARTS) if named else None

    @property
    def key(self) -> str:
        """What it is sorted and told from others by, the same in every language; part numbers left out."""
        where = f"{self.spindle} bore {self.bore}" if self.bore else (self.spindle or "all bores")
        apart = ", distance from the others" if self.part_of == "distance" else ""
        apart += "" if self.like is None else f" ({self.part_number})"
        feature = FEATURE_WORDS.get(self.feature, self.feature.replace("_", " "))
        return f"{where} {feature}" + (f" on {self.fixture}" if self.fixture else "") + apart

    def __str__(self) -> str:
        feature = feature_words(self.feature)
        if self.bore:
            text = say(
                "{spindle} bore {bore} {feature}", spindle=self.spindle, bore=self.bore, feature=feature
            )
        elif self.spindle:
            text = say("{spindle} {feature}", spindle=self.spindle, feature=feature)
        else:
            text = say("all bores {feature}", feature=feature)
        if self.fixture:
            text = say("{stream} on {fixture}", stream=text, fixture=self.fixture)
        if self.part_of == "distance":
            text = say("{stream}, distance from the others", stream=text)
        return (
            text if self.like is None else say("{stream} (like parts: {name})", stream=text, name=self.like)
        )

    @property
    def full(self) -> str:
        """The name with its part number, for a cell of several parts."""
        return str(self) if self.like is not None else f"{self.part_number} {self}"


def stream_names(streams: Sequence[Stream]) -> list[str]:
    """Return what some streams are called; with their part number where they are of several."""
    several = len({stream.part_number for stream in streams}) > 1
    return [stream.full if several else str(stream) for stream in streams]
