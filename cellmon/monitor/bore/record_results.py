"""What is answered of a record of honing by hand, in the order in which it is printed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

from cellmon.monitor.answers import Answer
from cellmon.monitor.bore.form import FormHeld
from cellmon.monitor.bore.results import BoreAnswer, ZeroCheck
from cellmon.records import Verdict


@dataclass(frozen=True, kw_only=True)
class RecordTold:
    """What a person adds to a record when it is made.

    `by` is the name below it; `mating_parts` names the part that goes into a bore, by bore.
    """

    by: str = ""
    mating_parts: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class RecordSizes:
    """One round's sizes, µm from nominal by PLANE_DIRECTION, and its form; `at_20`: referred to 20 °C."""

    um: Mapping[str, float | None]
    at_20: bool
    part_temp_c: float | None
    form: tuple[FormHeld, ...]


@dataclass(frozen=True, kw_only=True)
class RecordStones:
    """Stones used on a bore: how many rounds and strokes, and whether they were fit to hone with."""

    stones: str
    rounds: int
    strokes_full: int
    strokes_top: int
    strokes_bottom: int
    checked: str | None
    """What their last measured thicknesses say, None where they were not measured."""


@dataclass(frozen=True, kw_only=True)
class RecordBore:
    """One bore of a record; as received is its first round, as finished its last."""

    bore: str
    sentence: str
    finished: bool
    verdict: Verdict | None
    received: RecordSizes | None
    after: RecordSizes | None
    stones: tuple[RecordStones, ...]
    answer: BoreAnswer


@dataclass(frozen=True, kw_only=True)
class RecordGauge:
    """The gauge that was used, µm; uncertainties are standard (k = 1), None where the sheet is silent."""

    gauge: str
    set_on: str | None
    resolution_um: float | None
    common_um: float | None
    reading_um: float | None
    checks: tuple[ZeroCheck, ...]
    sign_checked: bool


@dataclass(frozen=True, kw_only=True)
class HandRecord(Answer):
    """The record of one bore or block in the order in which it is printed."""

    shop: str
    reference: str
    job: str
    part: str
    part_number: str
    done_on: date | None
    """Of the last round."""
    sentence: str
    planes: Mapping[str, float]
    """Depth of each below the top face, mm."""
    directions: tuple[str, ...]
    nominal_mm: float
    lower_um: float
    target_um: float
    upper_um: float
    sizes_at: str
    bores: tuple[RecordBore, ...]
    gauge: RecordGauge
    decision: str
    guard_um: float
    cleaned: bool
    cleaned_words: str
    cleaned_at: datetime | None
    cleaned_by: str | None
    by: str
    cautions: tuple[str, ...]
    not_measured: tuple[str, ...]
    blank: bool = False
