"""What the sheet says of one part for honing by hand."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cellmon.bores.temperature import correction_um
from cellmon.errors import WrongUsage
from cellmon.monitor.bore.rounds import Round
from cellmon.sheet import Part, Sheet
from cellmon.sizing.left import GaugeDoubt, Left, Limits, left_of
from cellmon.sizing.strokes import Reach, expected_reach
from cellmon.sizing.warmth import warmth_um
from cellmon.words import say

Floats = NDArray[np.float64]

USUAL_DOUBT = GaugeDoubt(common_um=1.0, reading_um=1.0)
"""Where the sheet states none: a bore gauge by hand (trade: 0.5 to 1.5 µm)."""


@dataclass(frozen=True, kw_only=True)
class Terms:
    """What the sheet says of one part for honing by hand."""

    sheet: Sheet
    part: Part
    limits: Limits
    doubt: GaugeDoubt
    reach: Reach

    @classmethod
    def of(cls, sheet: Sheet, part: Part) -> Terms | None:
        """Return the terms, or None where the size has no two limits."""
        size, measuring = part.diameter, sheet.measuring
        if size.lower_um is None or size.upper_um is None or size.target_um is None:
            return None
        common, reading = measuring.common_um, measuring.reading_um
        doubt = USUAL_DOUBT
        if common is not None and reading is not None:
            doubt = GaugeDoubt(common_um=common, reading_um=max(reading, 0.05))
        return cls(
            sheet=sheet,
            part=part,
            limits=Limits(lower=size.lower_um, target=size.target_um, upper=size.upper_um),
            doubt=doubt,
            reach=expected_reach(list(measuring.planes.values())),
        )

    @classmethod
    def needed(cls, sheet: Sheet, part: Part) -> Terms:
        """Return the terms, or refuse a size without two limits."""
        found = cls.of(sheet, part)
        if found is None:
            raise WrongUsage(say("the sheet needs a lower and an upper limit of the diameter to size a bore"))
        return found

    def referred(self, one: Round) -> Floats:
        """Return a round's readings at 20 degrees where the sheet corrects, else as read; µm from nominal."""
        if not self.corrects or one.part_temp_c is None or self.part.expansion is None:
            return one.um
        zero = self.sheet.measuring.zeroed_at
        return one.um + correction_um(
            self.part.diameter.nominal,
            one.part_temp_c,
            np.nan if one.master_temp_c is None else one.master_temp_c,
            part_expansion=self.part.expansion,
            master_expansion=self.sheet.measuring.master_expansion_per_c,
            zeroed_part_c=20.0 if zero is None else zero.part_c,
            zeroed_master_c=20.0 if zero is None else zero.master_c,
        )

    @property
    def corrects(self) -> bool:
        """Whether readings are referred to 20 degrees here."""
        return self.sheet.measuring.temperature == "correct"

    def warmth_um(self, one: Round) -> float:
        """Return what warmth could hide of a round's sizes."""
        zero = self.sheet.measuring.zeroed_at
        return warmth_um(
            self.part.diameter.nominal,
            part_c=one.part_temp_c,
            zero_c=20.0 if zero is None else zero.part_c,
            expansion_per_c=self.part.expansion or 11.5e-6,
            master_c=one.master_temp_c,
            master_zero_c=20.0 if zero is None else zero.master_c,
            master_expansion_per_c=self.sheet.measuring.master_expansion_per_c,
            corrected=self.corrects or self.sheet.measuring.temperature == "by-gauge",
        )

    def left(self, one: Round) -> Left:
        """Return what a round's readings say."""
        return left_of(
            self.referred(one), self.limits, self.doubt, conformance=self.sheet.decision.conformance
        )

    def leaves_um(self, stones: str) -> float:
        """Return what these stones leave for finer ones."""
        hand = self.sheet.hand
        if hand is None or not hand.stones or stones == hand.stones[-1] or stones not in hand.stones:
            return 0.0
        return hand.finish_allowance_um

    def first_stones(self, stones: str) -> str:
        """Return the stones that a bore begins with, where the round does not say."""
        hand = self.sheet.hand
        return stones or (hand.stones[0] if hand is not None and hand.stones else "")

    def finer(self, stones: str) -> str | None:
        """Return the stones that come after these."""
        hand = self.sheet.hand
        if hand is None or stones not in hand.stones[:-1]:
            return None
        return hand.stones[hand.stones.index(stones) + 1]

    def in_the_way(self, end: str) -> tuple[str, ...]:
        """Return what short strokes at an end, top or bottom, would meet: ports, steps, webs, floors."""
        hand, length = self.sheet.hand, self.part.length_mm
        if hand is None:
            return ()
        depths = list(self.sheet.measuring.planes.values())
        half = (length or max(depths) + min(depths)) / 2
        low, high = (0.0, half) if end == "top" else (half, np.inf)
        return tuple(name for name, (a, b) in hand.interruptions.items() if a <= high and b >= low)
