"""What is answered of one bore in the hand."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from cellmon.monitor.answers import Answer
from cellmon.monitor.bore.block import BlockTold
from cellmon.monitor.bore.clearances import BoreClearance
from cellmon.monitor.bore.crosshatch import Crosshatch
from cellmon.monitor.bore.form import FormHeld
from cellmon.records import Verdict


@dataclass(frozen=True, kw_only=True)
class PlaceLeft:
    """One place of the last round; µm, `um` from nominal and the rest on diameter."""

    plane: str
    direction: str
    um: float | None
    to_lower_um: float | None
    to_target_um: float | None
    to_upper_um: float | None


@dataclass(frozen=True, kw_only=True)
class BoreSeen:
    """What the last readings say; uncertainty_um is expanded (k = 2) of each figure of a place."""

    sentence: str
    places: tuple[PlaceLeft, ...]
    uncertainty_um: float
    tight: str
    wide: str
    taper_um: float | None
    taper_told: bool
    out_of_round: dict[str, str | None]
    """The wide direction of each plane, None where the gauge cannot tell."""
    left_um: float
    guard_um: float
    """The guard band at each limit."""
    settles: bool
    aim_um: float
    cleans_up: bool | None
    least_size_um: float
    form: tuple[FormHeld, ...]
    """Every feature of form that the sheet limits; a bore is finished only when all are inside."""


@dataclass(frozen=True, kw_only=True)
class BoreNext:
    """What is advised, µm from nominal; ranges are 90 %."""

    step: str
    sentence: str
    reasons: tuple[str, ...]
    """Why nothing more can be done within these limits, or why it does not come clean."""
    strokes_full: int
    strokes_top: int
    strokes_bottom: int
    in_the_way: dict[str, tuple[str, ...]]
    """By end, top and bottom: ports, steps, webs and floors that forbid short strokes there."""
    begin_at: str | None
    stones: str
    change_to: str | None
    expected_um: dict[str, float]
    low_um: dict[str, float]
    high_um: dict[str, float]
    expected_taper_um: float | None
    ceiling_um: float
    past_target: float
    past_upper: float
    oversize_um: float | None
    removal_um: float
    removal_low_um: float
    removal_high_um: float
    feed_um: float | None
    """The feed reading to return to: that of the last round."""
    other_bore: str | None
    """A bore that waits, while this one cools."""


@dataclass(frozen=True, kw_only=True)
class BoreRound:
    """One round as it stands."""

    number: int
    at: datetime
    um: dict[str, float | None]
    """By PLANE_DIRECTION."""
    stones: str
    strokes_full: int
    strokes_top: int
    strokes_bottom: int
    rpm: float | None
    feed_um: float | None
    part_temp_c: float | None
    by: str
    note: str
    corrected: int
    strokes_per_min: float | None
    master_temp_c: float | None
    kept: str | None
    kept_sentence: str | None


@dataclass(frozen=True, kw_only=True)
class ZeroCheck:
    """The gauge on its master: reading less master."""

    at: datetime
    state: str
    set_on: str
    zero_um: float


@dataclass(frozen=True, kw_only=True)
class BoreAnswer(Answer):
    """One bore in the hand."""

    part: str
    bore: str
    part_number: str
    nominal_mm: float
    length_mm: float | None
    depths_mm: dict[str, float]
    """Of each plane, below the top face."""
    lower_um: float
    target_um: float
    upper_um: float
    sentence: str
    see: BoreSeen | None
    next: BoreNext | None
    verdict: Verdict | None
    """Of the last round, by the sheet's decision rule: every reading and every feature of form."""
    clearance: BoreClearance | None
    """Of the part that goes in, where one was named."""
    crosshatch: Crosshatch | None
    rounds: tuple[BoreRound, ...]
    block: BlockTold
    zero_checks: tuple[ZeroCheck, ...]
    sign_checked: bool
    """The gauge was read on something larger than its master, or rounds were kept already."""
    sizes_at: str
    cautions: tuple[str, ...]
    notes: tuple[str, ...]
    not_measured: tuple[str, ...]
