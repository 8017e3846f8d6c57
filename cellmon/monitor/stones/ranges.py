"""Bores and dates with their ranges."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, kw_only=True)
class BoresRange:
    """Bores: quantiles of what is expected."""

    p05: int
    p50: int
    p95: int


@dataclass(frozen=True, kw_only=True)
class GoodBores:
    """Bores of the spindle until one of its bores' form is expected beyond a limit; p95 None: too far."""

    p05: int
    p50: int
    p95: int | None
    feature: str
    bore: str | None


@dataclass(frozen=True, kw_only=True)
class DueAt:
    """When a set will have honed what it has left, at the planned bores a shift; None beyond the plan."""

    p05: datetime | None
    p50: datetime | None
    p95: datetime | None
