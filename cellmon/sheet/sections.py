"""The sections of a cell sheet beside parts and their features."""

from __future__ import annotations

import re
from datetime import date, time
from typing import Annotated, Literal, Self

from pydantic import Field, field_validator, model_validator

from cellmon.lengths import Shown
from cellmon.sheet.section import ALL_DAYS, Count, Day, Name, NotNegative, Positive, Section
from cellmon.units import LengthUnit
from cellmon.words import say


class Cell(Section):
    """Which cell this is and in which zone its clock runs."""

    name: Name
    timezone: Name = "UTC"
    length_unit: LengthUnit = LengthUnit.MM
    lengths_shown: Shown = Shown.MM
    language: Name = "en"

    @field_validator("language")
    @classmethod
    def _language_exists(cls, value: str) -> str:
        from cellmon.local import is_language

        if value != "en" and not is_language(value):
            raise ValueError(say('a language such as "de" or "pt-BR"'))
        return value

    @field_validator("timezone")
    @classmethod
    def _zone_exists(cls, value: str) -> str:
        from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

        try:
            ZoneInfo(value)
        except (ZoneInfoNotFoundError, ValueError, OSError) as unknown:
            raise ValueError(say("a zone name such as Europe/Berlin")) from unknown
        return value


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
            raise ValueError(say("planes at different depths"))
        return dict(sorted(value.items(), key=lambda item: item[1]))

    @field_validator("directions")
    @classmethod
    def _angles_differ(cls, value: dict[str, float]) -> dict[str, float]:
        if len(set(value.values())) != len(value):
            raise ValueError(say("directions at different angles"))
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


RuleName = Literal[
    "mean-range",
    "beyond-3-sigma",
    "two-of-three",
    "four-of-five",
    "run-of-eight",
    "trend-of-seven",
    "zones-1956",
    "eight-1984",
    "standard-three",
]


class Alarms(Section):
    """How many false alarms a week the whole cell may make, and what makes a spindle look or stop."""

    false_alarms_per_week: Positive = 2.0
    rules: tuple[RuleName, ...] = ()
    """Run rules switched on beside the detectors; `cellmon alarms` says what each costs."""
    look_bores: Positive = 200
    """Look: in 1 of 20 cases a limit is reached within so many bores."""
    stop_bores: Positive = 50
    """Stop: in half of the cases a limit is reached within so many bores."""


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
            raise ValueError(say("every at least as large as size"))
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
    dress_every_bores: Count | None = None
    """Bores of this spindle from one planned dressing to the next."""


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
    change_scrap_bores: NotNegative = 0.0
    """Bores lost at every change, to run the new stones in."""
    dress_scrap_bores: NotNegative = 0.0
    """Bores lost after a dressing."""
    dress_off_um: NotNegative = 0.0
    """Thickness that a dressing takes off the stones."""
    most_cycle_s: Positive | None = None
    """The longest honing time that freshly dressed stones may take."""
    failed_minutes: NotNegative | None = None
    """Of a change where the set chipped or ran to its end; default: twice `change_minutes`."""
    failed_scrap_bores: NotNegative | None = None
    """Bores lost where a set chipped or ran to its end before that was seen; default: 10."""
    chips_per_1000_bores: NotNegative | None = None
    """Sets that chip; default: as the log of removals says."""
    shelf_life_days: Positive | None = None
    order_multiple: Count = 1
    """The least that is ordered, and what orders are rounded up to."""

    @model_validator(mode="after")
    def _wears_down(self) -> Self:
        if self.least_thickness_mm >= self.new_thickness_mm:
            raise ValueError(say("least_thickness_mm smaller than new_thickness_mm"))
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
    free_cycle_s: Positive | None = None
    """Honing time of a bore up to which nothing waits for the hone; only longer ones cost machine time."""
    scrap_cost_per_bore: NotNegative | None = None


class Checks(Section):
    """How often the gauge is checked and what waits for release."""

    master_every_h: Positive | None = None
    as_found_limit_um: Positive | None = None
    first_bores: Count | None = None
    acknowledge_min: Positive | None = None


class Hand(Section):
    """Honing by hand: the dial, the stones in their order, and what stands in the way of short strokes."""

    division_um: Positive | None = None
    """What one division of the dial is worth, on diameter."""
    clockwise: Literal["larger", "smaller"] = "larger"
    """What clockwise on the dial means for the bore; a reading counted clockwise is positive."""
    set_at_mm: Positive | None = None
    """The size at which the dial stands on zero; default: nominal."""
    set_on: Literal["ring", "micrometer", "blocks"] = "ring"
    turn_um: Positive | None = None
    """What one whole turn of the dial is worth."""
    stones: tuple[Name, ...] = ()
    """Stones in the order in which they are used, the finest last."""
    finish_allowance_um: NotNegative = 0.0
    """What each leaves for the next, on diameter."""
    clean_up_um: NotNegative = 5.0
    """What must come off the widest place so that its surface is new, on diameter."""
    interruptions: dict[str, tuple[NotNegative, NotNegative]] = Field(default_factory=dict)
    """Ports, steps, webs and floors by name: from and to which depth, mm. No short strokes across them."""


class Uncertainty(Section):
    """What is known of master and temperatures, for the gauge's budget; standard uncertainties, k = 1."""

    master_um: NotNegative = 0.25
    part_temp_c: NotNegative = 0.3
    master_temp_c: NotNegative = 0.3
    expansion_share: Annotated[float, Field(ge=0, lt=1)] = 0.1


class Capability(Section):
    """What is asked of the process, and how surely."""

    required: Positive = 1.33
    confidence: Annotated[float, Field(gt=0.5, lt=1)] = 0.975


class People(Section):
    """What stands only once a second person has signed it."""

    second_person: tuple[Literal["limits", "claims"], ...] = ()
    """`limits`: a freeze of limits; `claims`: a statement of capability."""


class Fit(Section):
    """The part that goes into the bore."""

    clearance_lower_um: float | None = None
    clearance_upper_um: float | None = None
    mating_material: str | None = None
    mating_expansion_per_c: Positive | None = None
    borders_um: tuple[float, ...] | None = None
    grades: Count | None = None


class Live(Section):
    """Where rows arrive as messages."""

    mqtt: str
    topic: Name
    client: Name = "cellmon"

    @field_validator("mqtt")
    @classmethod
    def _address(cls, value: str) -> str:
        if not re.fullmatch(r"mqtts?://[^/@\s:]+(:\d{1,5})?", value):
            raise ValueError(
                say("an address such as mqtt://broker:1883 or mqtts://broker, without name or password")
            )
        return value


class Store(Section):
    """Where facts are kept."""

    url: str = "sqlite:///cell.db"
