"""What moved, what stayed, what was logged just before; and the cause that may explain it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from cellmon.errors import WrongUsage
from cellmon.words import say, to_say

MoveKind = Literal["level", "drift", "spread", "single", "limit", "routing", "gauge"]
Scope = Literal["all", "spindle", "bore", "fixture"]
FeedMode = Literal["force", "feed"]
LoggedEvent = Literal[
    "feed-offset",
    "stones-fitted",
    "stones-dressed",
    "stones-removed",
    "gauge-zeroed",
    "rerouted",
    "setup-changed",
    "master-bad",
    "master-good",
    "shift-start",
    "dressing-overdue",
]
CAUTION = to_say(
    "Advice only. The machine maker's manual, site procedures, local law and codes, and qualified people "
    "come first. Stop if unsure. This software does not make a machine safe."
)
"""Stands above every list of causes."""
_SAME_FEATURE = {"diameter": "size", "offsets_given": "offsets"}


def feature_name(name: str) -> str:
    """Return the name the table uses: small letters, and the diameter of a sheet is the size of a bore.

    >>> feature_name("diameter"), feature_name("Rpk")
    ('size', 'rpk')
    """
    return _SAME_FEATURE.get(name.lower(), name.lower())


@dataclass(frozen=True, kw_only=True)
class Movement:
    """One thing that moved."""

    feature: str
    """A feature of the sheet, a process stream (`cycle_s`, `load_pct`, `load_ripple_pct`, `feed_um`),
    `offsets` (given for 100 bores), a temperature, or a characteristic of the site's own."""
    kind: MoveKind
    scope: Scope
    """`fixture` is one bore on one fixture."""
    size: float
    """Signed, in sigmas of one bore; of kind `spread` the ratio of the deviation now to that before."""
    bores: tuple[str, ...] = ()
    size_um: float | None = None
    """The same in micrometres where known; lets an offset be held against the move it should explain."""

    def __post_init__(self) -> None:
        for what, value, known in (("kind", self.kind, MoveKind), ("scope", self.scope, Scope)):
            if value not in get_args(known):
                names = ", ".join(get_args(known))
                text = to_say("a movement has no {what} {value}; known: {names}")
                raise WrongUsage(say(text, what=what, value=repr(value), names=names))
        object.__setattr__(self, "feature", feature_name(self.feature))

    @property
    def goes_up(self) -> bool:
        """Whether the value, or the spread, became larger."""
        return self.size > (1.0 if self.kind == "spread" else 0.0)


@dataclass(frozen=True, kw_only=True)
class Logged:
    """An event near the change."""

    event: LoggedEvent
    minutes_before: float
    """How long before the change; negative after it."""
    value: float | None = None
    by: str | None = None
    """`machine` for automatic ones; anything else is a person."""
    spindle: str | None = None

    def __post_init__(self) -> None:
        if self.event not in get_args(LoggedEvent):
            names = ", ".join(get_args(LoggedEvent))
            raise WrongUsage(say("no event {event}; known: {names}", event=repr(self.event), names=names))


@dataclass(frozen=True, kw_only=True)
class Evidence:
    """All that is known about one change."""

    movements: tuple[Movement, ...]
    logged: tuple[Logged, ...] = ()
    quiet: frozenset[str] = frozenset()
    """Features that are watched and did not move; one that is neither here nor moved is not asked for."""
    feed: FeedMode | None = None
    spindles: int = 2
    bores_on_spindle: int = 2
    spindle: str | None = None
    """The spindle that moved, where one did: events of others are then left aside."""

    def __post_init__(self) -> None:
        object.__setattr__(self, "quiet", frozenset(map(feature_name, self.quiet)))


@dataclass(frozen=True, kw_only=True)
class Cause:
    """A cause that may explain the evidence, and what to do about it."""

    id: str
    title: str
    weight: float
    """0 to 1; the weights of all causes shown sum to at most 1, and the rest is 'none of these'."""
    check_first: str
    correction: str
    caution: str
    why: str
    """One sentence that names the evidence for it and against it."""
