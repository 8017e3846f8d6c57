"""The sheet as a whole, and what is asked of it."""

from __future__ import annotations

import hashlib
import json

from pydantic import Field

from cellmon.errors import NotFound
from cellmon.records import LIKE_PARTS
from cellmon.sheet.features import Part
from cellmon.sheet.section import Section
from cellmon.sheet.sections import (
    Alarms,
    Capability,
    Cell,
    Checks,
    Decision,
    Fit,
    Gauge,
    Hand,
    Live,
    Measuring,
    People,
    Planning,
    Shift,
    Spindle,
    StoneKind,
    Store,
    Subgroups,
    Uncertainty,
)
from cellmon.units import LengthUnit
from cellmon.words import say


class Sheet(Section):
    """A cell sheet that has passed every check; made by `cellmon.sheet_checks.checked_sheet`."""

    cell: Cell
    parts: tuple[Part, ...] = Field(min_length=1)
    measuring: Measuring
    decision: Decision = Decision()
    gauges: tuple[Gauge, ...] = ()
    alarms: Alarms | None = None
    subgroups: Subgroups = Subgroups()
    shifts: tuple[Shift, ...] = ()
    spindles: tuple[Spindle, ...] = ()
    stone_kinds: tuple[StoneKind, ...] = ()
    planning: Planning | None = None
    checks: Checks | None = None
    uncertainty: Uncertainty | None = None
    hand: Hand | None = None
    capability: Capability = Capability()
    people: People = People()
    fit: Fit | None = None
    columns: dict[str, str] = Field(default_factory=dict)
    live: Live | None = None
    store: Store = Store()

    def part(self, number: str | None = None) -> Part:
        """Return the part with that drawing number, or the first where none is named."""
        if number is None:
            return self.parts[0]
        for part in self.parts:
            if part.number == number:
                return part
        names = ", ".join(p.number for p in self.parts)
        raise NotFound(say("no part {part} in the sheet; it names {names}", part=number, names=names))

    def charted_as(self, number: str) -> str:
        """Return the part number its streams carry: a part's own, or the name of the parts it is like."""
        like = next((p.like for p in self.parts if p.number == number), None)
        return number if like is None else LIKE_PARTS + like

    def charted_parts(self, charted_as: str) -> tuple[Part, ...]:
        """Return the parts whose bores stand in the streams of a part number; none where it is not known."""
        return tuple(p for p in self.parts if charted_as in (p.number, self.charted_as(p.number)))

    def charted_numbers(self, charted_as: str) -> tuple[str, ...]:
        """Return the part numbers of the bores that stand in the streams of a part number."""
        return tuple(p.number for p in self.charted_parts(charted_as)) or (charted_as,)

    def charted_part(self, charted_as: str) -> Part:
        """Return the part, or the first of the like parts, of a stream's part number."""
        return next(iter(self.charted_parts(charted_as)), self.parts[0])

    def gauge(self, gauge_id: str) -> Gauge:
        """Return a gauge by its id; the one of [measuring] serves the streams."""
        if gauge_id == self.measuring.gauge:
            measuring = self.measuring
            unit = LengthUnit.UM if measuring.reads == "deviation" else self.cell.length_unit
            return Gauge(
                id=gauge_id,
                unit=unit,
                resolution_um=measuring.resolution_um,
                uncertainty_reading_um=measuring.reading_um,
                use="streams",
            )
        for gauge in self.gauges:
            if gauge.id == gauge_id:
                return gauge
        raise NotFound(say("no gauge {gauge} in the sheet", gauge=gauge_id))

    @property
    def gauge_ids(self) -> tuple[str, ...]:
        """Every gauge the sheet names, the one of [measuring] first."""
        return (self.measuring.gauge, *(g.id for g in self.gauges if g.id != self.measuring.gauge))

    @property
    def stream_gauges(self) -> tuple[str, ...]:
        """The gauges whose readings are charted."""
        return tuple(g for g in self.gauge_ids if self.gauge(g).use == "streams")

    @property
    def spindle_ids(self) -> tuple[str, ...]:
        """Every spindle the sheet names."""
        return tuple(s.id for s in self.spindles)

    def spindle(self, spindle_id: str) -> Spindle:
        """Return a spindle by its id."""
        for spindle in self.spindles:
            if spindle.id == spindle_id:
                return spindle
        raise NotFound(say("no spindle {spindle} in the sheet", spindle=spindle_id))

    def honed_by(self, bore: str) -> tuple[str, ...]:
        """Return the spindles that a bore is routed to: several where they work side by side, or none."""
        return tuple(s.id for s in self.spindles if bore in s.bores)

    def usual_spindle(self, bore: str) -> str | None:
        """Return the one spindle that a bore is routed to; None where none is, or several are."""
        routed = self.honed_by(bore)
        return routed[0] if len(routed) == 1 else None

    def judging(self) -> str:
        """Return the text, stable to the last letter, of all that can alter a verdict, limit or signal."""
        kept = self.model_dump(
            mode="json", exclude={"store", "live", "fit", "columns", "uncertainty", "hand"}, by_alias=True
        )
        for name in ("name", "language", "lengths_shown"):
            kept["cell"].pop(name)
        for spindle in kept["spindles"]:
            spindle.pop("dress_every_bores")  # a plan: it foretells, and judges nothing
        kept.pop("stone_kinds")  # life, prices and orders of stones; so is the rest of the planning
        if kept["planning"] is not None:
            kept["planning"] = {"bores_per_shift": kept["planning"]["bores_per_shift"]}
        for part in kept["parts"]:
            part.pop("stock_um")  # weighs bores of a stone set's life, and judges nothing
        return json.dumps(kept, sort_keys=True)

    def fingerprint(self) -> str:
        """Return the SHA-256 of `judging()`, hexadecimal."""
        return hashlib.sha256(self.judging().encode()).hexdigest()
