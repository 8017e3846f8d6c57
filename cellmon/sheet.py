"""The cell sheet: what is honed, measured and watched, checked as a whole.

This module checks a mapping, wherever it came from; reading the file is intake's work. Lengths are
written in millimetres and kept so; limits of a feature are offered in micrometres from nominal.
"""

from __future__ import annotations

import hashlib
import json
from datetime import date, time
from functools import cached_property
from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from cellmon.errors import NotFound
from cellmon.units import UM_PER, LengthUnit

TWO_POINT_FEATURES = ("diameter", "taper", "barrel", "twist", "ovality", "roundness", "size_range")
"""Features that two-point readings of one bore give."""
SIGNED_FEATURES = ("taper", "barrel", "twist", "ovality")
CHARTED_FEATURES = ("diameter", "taper", "barrel", "twist", "ovality", "size_range")
"""Two-point features with a chart of their own; roundness restates ovality and has none."""
TRACE_FEATURES = ("roundness_trace", "cylindricity")

EXPANSION_PER_C = {
    "grey cast iron": 11.0e-6,
    "cast iron": 11.0e-6,
    "steel": 11.5e-6,
    "aluminium": 23.1e-6,
    "cast aluminium": 21.0e-6,
    "piston alloy": 20.5e-6,
}
"""Linear expansion of materials we know by name, 1/K (steel and aluminium: Swyt, J. Res. NIST 99,
31, 1994; the rest: public material tables and memory, see docs/sources.md)."""

Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
Count = Annotated[int, Field(ge=1)]
Name = Annotated[str, Field(min_length=1)]
Day = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
ALL_DAYS: tuple[Day, ...] = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


class Section(BaseModel):
    """Part of a sheet; unknown keys are mistakes."""

    model_config = ConfigDict(extra="forbid", frozen=True, ser_json_inf_nan="null")


class Cell(Section):
    """Which cell this is and in which zone its clock runs."""

    name: Name
    timezone: Name = "UTC"
    length_unit: LengthUnit = LengthUnit.MM

    @field_validator("timezone")
    @classmethod
    def _zone_exists(cls, value: str) -> str:
        from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

        try:
            ZoneInfo(value)
        except (ZoneInfoNotFoundError, ValueError) as unknown:
            raise ValueError("a zone name such as Europe/Berlin") from unknown
        return value


class Feature(Section):
    """What every feature may carry: the drawing's number and what to do on a signal."""

    number: str | None = None
    class_: str | None = Field(default=None, alias="class")
    control_plan: str | None = None
    reaction: str | None = None
    by_fixture: bool = False


class DiameterFeature(Feature):
    """Size; nominal and limits in millimetres."""

    nominal: Positive
    lower: Positive | None = None
    upper: Positive | None = None
    target: Positive | None = None
    size: Literal[
        "average",
        "least",
        "greatest",
        "mid-range",
        "least-squares",
        "largest-inscribed",
        "smallest-circumscribed",
    ] = "average"
    judge: Literal["every-reading", "size"] = "every-reading"

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        if self.lower is not None and self.upper is not None:
            if self.lower >= self.upper:
                raise ValueError("lower smaller than upper")
            if self.target is not None and not self.lower <= self.target <= self.upper:
                raise ValueError("a target between lower and upper")
        for limit in (self.lower, self.upper, self.target):
            if limit is not None and abs(limit - self.nominal) > 0.05 * self.nominal:
                raise ValueError("limits and target within 5 % of nominal, all in mm")
        return self

    def _deviation_um(self, mm: float | None) -> float | None:
        return None if mm is None else round((mm - self.nominal) * UM_PER[LengthUnit.MM], 6)

    @cached_property
    def lower_um(self) -> float | None:
        """Lower limit, micrometres from nominal."""
        return self._deviation_um(self.lower)

    @cached_property
    def upper_um(self) -> float | None:
        """Upper limit, micrometres from nominal."""
        return self._deviation_um(self.upper)

    @cached_property
    def target_um(self) -> float | None:
        """Target, micrometres from nominal; the middle of the limits unless the sheet says else."""
        if self.target is not None:
            return self._deviation_um(self.target)
        if self.lower_um is None or self.upper_um is None:
            return None
        return (self.lower_um + self.upper_um) / 2


class FormFeature(Feature):
    """A form or any other feature; limits in micrometres, or in `unit`."""

    lower: float | None = None
    upper: float | None = None
    target: float | None = None
    unit: str | None = None
    over: Literal["measured", "whole", "per_100mm"] = "measured"
    reference: Literal["minimum-zone", "least-squares", "inscribed", "circumscribed"] = "least-squares"
    filter_upr: Positive = 50
    subgroup: Count = 1

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        if self.lower is not None and self.upper is not None and self.lower >= self.upper:
            raise ValueError("lower smaller than upper")
        return self

    @property
    def lower_um(self) -> float | None:
        """Lower limit as written."""
        return self.lower

    @property
    def upper_um(self) -> float | None:
        """Upper limit as written."""
        return self.upper

    @property
    def target_um(self) -> float | None:
        """Target as written."""
        return self.target


AnyFeature = DiameterFeature | FormFeature


class Part(Section):
    """One drawing: its bores and the features that are watched."""

    number: Name
    revision: str | None = None
    bores: tuple[Name, ...] = Field(min_length=1)
    length_mm: Positive | None = None
    material: str | None = None
    expansion_per_c: Positive | None = None
    surface: Literal["plain", "coated", "plated", "unknown"] = "plain"
    oversizes_mm: tuple[Positive, ...] = ()
    features: dict[str, AnyFeature]
    """Features by name; `cellmon.sheet_checks` has checked each with its own model."""

    @model_validator(mode="after")
    def _size_is_there(self) -> Self:
        if not isinstance(self.features.get("diameter"), DiameterFeature):
            raise ValueError("a [features.diameter] with its nominal")
        for name, feature in self.features.items():
            known = TWO_POINT_FEATURES + TRACE_FEATURES
            if name not in known and getattr(feature, "unit", None) is None:
                raise ValueError(f"one of {', '.join(known)}, or a unit for features.{name}")
        if len(set(self.bores)) != len(self.bores):
            raise ValueError("each bore once")
        return self

    @property
    def diameter(self) -> DiameterFeature:
        """The size of this part's bores."""
        feature = self.features["diameter"]
        assert isinstance(feature, DiameterFeature)
        return feature

    @property
    def expansion(self) -> float | None:
        """Linear expansion of the part, 1/K, or None where neither figure nor known name is given."""
        return self.expansion_per_c or EXPANSION_PER_C.get((self.material or "").lower())

    @property
    def charted(self) -> tuple[str, ...]:
        """The two-point features of this part that have a chart of their own."""
        return tuple(name for name in CHARTED_FEATURES if name in self.features)


def feature_model(name: str) -> type[DiameterFeature] | type[FormFeature]:
    """Return the model that checks a feature of that name."""
    return DiameterFeature if name == "diameter" else FormFeature


class Zeroing(Section):
    """Temperatures at which the gauge was zeroed, Celsius."""

    part_c: float = 20.0
    master_c: float = 20.0


class Measuring(Section):
    """Where and with what the bores are read."""

    planes: dict[str, NotNegative] = Field(min_length=1)
    directions: dict[str, Annotated[float, Field(ge=0, lt=180)]] = Field(min_length=1)
    reads: Literal["diameter", "deviation"] = "diameter"
    gauge: Name = "G1"
    resolution_um: Positive | None = None
    uncertainty_common_um: NotNegative | None = None
    uncertainty_reading_um: NotNegative | None = None
    uncertainty_um: NotNegative | None = None
    temperature: Literal["as-read", "correct", "by-gauge"] | None = None
    zeroed_at: Zeroing | None = None
    master_expansion_per_c: Positive = 11.5e-6

    @field_validator("planes")
    @classmethod
    def _depths_differ(cls, value: dict[str, float]) -> dict[str, float]:
        if len(set(value.values())) != len(value):
            raise ValueError("planes at different depths")
        return dict(sorted(value.items(), key=lambda item: item[1]))

    @field_validator("directions")
    @classmethod
    def _angles_differ(cls, value: dict[str, float]) -> dict[str, float]:
        if len(set(value.values())) != len(value):
            raise ValueError("directions at different angles")
        return dict(sorted(value.items(), key=lambda item: item[1]))

    @property
    def common_um(self) -> float | None:
        """Standard uncertainty that all readings of a bore share, micrometres."""
        if self.uncertainty_common_um is None and self.uncertainty_um is not None:
            return self.uncertainty_um / 2
        return self.uncertainty_common_um

    @property
    def reading_um(self) -> float | None:
        """Standard uncertainty of one reading alone, micrometres."""
        if self.uncertainty_reading_um is None and self.uncertainty_um is not None:
            return self.uncertainty_um / 2
        return self.uncertainty_reading_um


class Gauge(Section):
    """One gauge and what its readings are used for."""

    id: Name
    unit: LengthUnit = LengthUnit.MM
    resolution_um: Positive | None = None
    uncertainty_reading_um: NotNegative | None = None
    use: Literal["streams", "audit"] = "audit"


class Decision(Section):
    """How a bore near a limit is judged."""

    rule: Literal["guarded", "simple"] = "guarded"
    conformance: Annotated[float, Field(gt=0.5, lt=1)] = 0.95


class Alarms(Section):
    """How many false alarms a week the whole cell may make."""

    false_alarms_per_week: Positive = 2.0


class Subgroups(Section):
    """How subgroups are cut from a stream."""

    size: Annotated[int, Field(ge=2, le=25)] = 5
    every: Count | None = None
    within: tuple[Literal["shift", "stone_set", "dressing", "fixture"], ...] = (
        "shift",
        "stone_set",
        "dressing",
    )

    @model_validator(mode="after")
    def _every_holds_size(self) -> Self:
        if self.every is not None and self.every < self.size:
            raise ValueError("every at least as large as size")
        return self

    @property
    def step(self) -> int:
        """Bores from the first of one subgroup to the first of the next."""
        return self.every or self.size


class Shift(Section):
    """A shift: when it starts and on which days it is worked."""

    name: Name
    starts: time
    days: tuple[Day, ...] = ALL_DAYS


class Spindle(Section):
    """A spindle, the bores it hones and how its stones are expanded."""

    id: Name
    bores: tuple[Name, ...] = Field(min_length=1)
    feed: Literal["force", "feed"] = "force"
    stages: tuple[Literal["rough", "finish", "plateau"], ...] = ("finish",)


class StoneKind(Section):
    """A kind of stone set: sizes, life expected, cost and times."""

    id: Name
    stage: Literal["rough", "finish", "plateau"] = "finish"
    new_thickness_mm: Positive
    least_thickness_mm: NotNegative
    stones_per_set: Count = 4
    stone_length_mm: Positive | None = None
    flat_um: Positive | None = None
    parallel_um: Positive | None = None
    matched_um: Positive | None = None
    expected_life_bores: tuple[Positive, Positive] | None = None
    set_cost: NotNegative | None = None
    change_minutes: NotNegative | None = None
    dress_minutes: NotNegative | None = None

    @model_validator(mode="after")
    def _wears_down(self) -> Self:
        if self.least_thickness_mm >= self.new_thickness_mm:
            raise ValueError("least_thickness_mm smaller than new_thickness_mm")
        return self


class Planning(Section):
    """What is to be honed, what lead times and costs apply."""

    bores_per_shift: dict[str, Positive] = Field(default_factory=dict)
    closed: tuple[date, ...] = ()
    lead_time_days: NotNegative | None = None
    lead_time_sd_days: NotNegative | None = None
    service_level: Annotated[float, Field(gt=0, lt=1)] | None = None
    opening_stock: dict[str, NotNegative] = Field(default_factory=dict)
    machine_cost_per_hour: NotNegative | None = None
    scrap_cost_per_bore: NotNegative | None = None


class Checks(Section):
    """How often the gauge is checked and what waits for release."""

    master_every_h: Positive | None = None
    as_found_limit_um: Positive | None = None
    first_bores: Count | None = None
    acknowledge_min: Positive | None = None


class Capability(Section):
    """What is asked of the process, and how surely."""

    required: Positive = 1.33
    confidence: Annotated[float, Field(gt=0.5, lt=1)] = 0.975


class Fit(Section):
    """The part that goes into the bore."""

    clearance_lower_um: float | None = None
    clearance_upper_um: float | None = None
    mating_material: str | None = None
    mating_expansion_per_c: Positive | None = None
    borders_um: tuple[float, ...] | None = None
    grades: Count | None = None


class Store(Section):
    """Where facts are kept."""

    url: str = "sqlite:///cell.db"


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
    capability: Capability = Capability()
    fit: Fit | None = None
    columns: dict[str, str] = Field(default_factory=dict)
    store: Store = Store()

    def part(self, number: str | None = None) -> Part:
        """Return the part with that drawing number, or the first where none is named."""
        if number is None:
            return self.parts[0]
        for part in self.parts:
            if part.number == number:
                return part
        raise NotFound(f"no part {number} in the sheet; it names {', '.join(p.number for p in self.parts)}")

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
        raise NotFound(f"no gauge {gauge_id} in the sheet")

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
        raise NotFound(f"no spindle {spindle_id} in the sheet")

    def judging(self) -> str:
        """Return the text, stable to the last letter, of all that can alter a verdict, limit or signal."""
        kept = self.model_dump(mode="json", exclude={"store", "fit", "columns"}, by_alias=True)
        kept["cell"].pop("name")
        return json.dumps(kept, sort_keys=True)

    def fingerprint(self) -> str:
        """Return the SHA-256 of `judging()`, hexadecimal."""
        return hashlib.sha256(self.judging().encode()).hexdigest()
