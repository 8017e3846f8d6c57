"""What every answer carries, and the small results that several answers share.

An answer says None where something is not known, and `why_not` says why, by the name of the field.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Protocol

from cellmon.records import Stream


@dataclass(frozen=True, kw_only=True)
class Answer:
    """When the answer holds, and under which version of the sheet."""

    as_of: datetime
    sheet: int
    why_not: Mapping[str, str] = field(default_factory=dict)


class Ranged(Protocol):
    """A figure of a topic with the ends of its interval."""

    @property
    def value(self) -> float:
        """The figure."""

    @property
    def low(self) -> float:
        """Its lower end."""

    @property
    def high(self) -> float:
        """Its upper end."""


@dataclass(frozen=True, kw_only=True)
class Estimate:
    """A figure with its interval; the confidence is two-sided."""

    value: float | None
    low: float | None
    high: float | None
    confidence: float | None = None

    @classmethod
    def of(cls, found: Ranged, *, confidence: float) -> Estimate:
        """Return what a topic found, as every answer states it."""
        return cls(value=found.value, low=found.low, high=found.high, confidence=confidence)


@dataclass(frozen=True, kw_only=True)
class Limits:
    """Limits of a chart, in the unit of the feature."""

    lower: float
    center: float
    upper: float


@dataclass(frozen=True, kw_only=True)
class Tolerance:
    """What the drawing allows, in micrometres from nominal, and the guard band at each limit."""

    lower_um: float | None
    upper_um: float | None
    target_um: float | None
    guard_um: float | None


@dataclass(frozen=True, kw_only=True)
class BaselineSummary:
    """The limits' footing: centre and spread inside subgroups, and who froze them."""

    center_um: float
    sigma_um: float
    n: int
    frozen_at: datetime | None
    by: str | None
    provisional: bool
    signed_by: str | None = None
    """The second person, where the sheet wanted one."""


@dataclass(frozen=True, kw_only=True)
class Signature:
    """Who signed figures, and whether a second person did where the sheet wants one."""

    state: str
    """`signed`, `waits`, `refused`, `changed` since they were signed, or `nobody`."""
    proposal: str | None
    by: str | None
    signed_by: str | None
    sentence: str


@dataclass(frozen=True, kw_only=True)
class Due:
    """Something that waits for a person."""

    what: str
    at: datetime | None
    overdue: bool


@dataclass(frozen=True, kw_only=True)
class SignalMark:
    """Where a signal shows on a chart, with the words beside it: a sentence, and the same in a few."""

    id: str
    stream: Stream
    at: datetime
    kind: str
    words: str
    short: str
    open: bool
