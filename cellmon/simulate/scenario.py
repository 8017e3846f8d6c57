"""The scenario of a simulated cell: what is honed, how it varies, and what is planted in it.

The figures are an invention for demonstrations; none was measured in a real cell.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Self, TypeVar
from zoneinfo import ZoneInfo

from cellmon.simulate import incidents as plant

Any_ = TypeVar("Any_", bound=plant.Incident)
_Keep = Callable[[plant.Incident], plant.Incident | None]


@dataclass(frozen=True, kw_only=True)
class Bores:
    """The bores of a block, as the spindles leave them; micrometres, one figure per bore where a tuple."""

    nominal_mm: float = 87.300
    target_um: float = 12.0
    upper_um: float = 24.0
    names: tuple[str, ...] = ("1", "2", "3", "4")
    planes: tuple[str, ...] = ("top", "middle", "bottom")
    directions: tuple[str, ...] = ("x", "y")
    common_sd: float = 0.7
    bore_sd: float = 1.4
    form_sd: float = 0.30
    offset: tuple[float, ...] = (0.6, -0.4, 0.3, -1.1)
    taper: tuple[float, ...] = (1.0, 0.6, 0.8, 1.2)
    taper_sd: float = 0.9
    barrel: tuple[float, ...] = (-0.6, -0.4, -0.4, -0.7)
    barrel_sd: float = 0.6
    ovality: tuple[float, ...] = (1.2, -1.5, -1.4, 1.1)
    ovality_sd: float = 0.9


@dataclass(frozen=True, kw_only=True)
class SetInUse:
    """The stone set a spindle starts with."""

    spindle: str
    stone_set: str
    used_blocks: int
    since_dress: int


@dataclass(frozen=True, kw_only=True)
class PlannedChange:
    """A stone change in the plan, local time."""

    spindle: str
    starts: datetime
    back_at: datetime
    new_set: str


@dataclass(frozen=True, kw_only=True)
class Stones:
    """Stones, their wear and their dressing."""

    kind: str = "D64"
    new_mm: float = 3.0
    least_mm: float = 0.6
    per_set: int = 4
    wear_um_per_bore: float = 0.275
    wear_sd_between_sets: float = 0.20
    dress_every_blocks: int = 400
    dress_s: int = 120
    dress_step_um: float = 1.5
    dress_step_blocks: float = 4.0
    dull_spread: float = 0.25  # of the bore's own sigma, per `dress_every_blocks` since the last dressing
    drift_um_per_block: float = -0.03
    fresh_s: float = 38.0
    dull_s: float = 47.0
    change_s: int = 25 * 60
    in_use: tuple[SetInUse, ...] = (
        SetInUse(spindle="S1", stone_set="FS-1041", used_blocks=1520, since_dress=120),
        SetInUse(spindle="S2", stone_set="FS-1042", used_blocks=600, since_dress=310),
    )
    changes: tuple[PlannedChange, ...] = ()
    next_number: int = 1043
    set_price: float = 420.0

    @property
    def life_blocks(self) -> float:
        """Blocks of two bores until a set of ordinary wear is used up."""
        return (self.new_mm - self.least_mm) * 1000 / self.wear_um_per_bore / 2


@dataclass(frozen=True, kw_only=True)
class Feedback:
    """How the gauge corrects a spindle."""

    window_blocks: int = 5
    transit_blocks: int = 3
    dead_band_um: float = 2.0
    gain: float = 0.6
    step_um: float = 0.5
    wait_blocks: int = 8
    start_um: float = -0.7
    """Level of each spindle when the run begins: the middle of what drift and dead band leave."""


@dataclass(frozen=True, kw_only=True)
class Gauges:
    """The gauging station (G1), the hand gauge (G2) and the roundness instrument (R1)."""

    station_sd: float = 0.35
    station_step_um: float = 0.1
    hand_sd: float = 0.9
    hand_step_um: float = 1.0
    hand_minute: int = 5
    part_um_per_c: float = 0.96
    master_um_per_c: float = 1.00
    part_zero_c: float = 26.0
    master_zero_c: float = 23.0
    check_h: int = 3
    check_sd: float = 0.2


@dataclass(frozen=True, kw_only=True)
class Scenario:
    """All that a run follows from, but for the seed."""

    starts: datetime
    weeks: int = 1
    zone: ZoneInfo = field(default_factory=lambda: ZoneInfo("Europe/Berlin"))
    part_number: str = "HM-214"
    serial: str = "HM214-{:06d}"
    first_serial: int = 4711
    cycle_s: int = 85
    shift_names: tuple[str, ...] = ("early", "late", "night")
    shifts_a_week: int = 18
    start_stop_s: int = 600
    middle_stop_s: int = 1200
    spindles: tuple[str, ...] = ("S1", "S2")
    fixtures: tuple[str, ...] = ("P1", "P2")
    spindle_of: tuple[int, ...] = (0, 0, 1, 1)
    """Which spindle hones each bore, as an index into `spindles`."""
    bores: Bores = Bores()
    stones: Stones = Stones()
    feedback: Feedback = Feedback()
    gauges: Gauges = Gauges()
    faults: tuple[plant.Incident, ...] = ()
    decoys: tuple[plant.Incident, ...] = ()
    plants: tuple[plant.Incident, ...] = ()

    @property
    def incidents(self) -> tuple[plant.Incident, ...]:
        """Everything planted."""
        return (*self.faults, *self.decoys, *self.plants)

    @property
    def ends(self) -> datetime:
        """The end of the last shift, local time."""
        return self.starts + timedelta(weeks=self.weeks) - timedelta(days=1)

    def every(self, kind: type[Any_]) -> tuple[Any_, ...]:
        """Return the planted incidents of one kind."""
        return tuple(i for i in self.incidents if isinstance(i, kind))

    def incident(self, name: str) -> plant.Incident:
        """Return a planted incident by its name."""
        for found in self.incidents:
            if found.name == name:
                return found
        raise KeyError(name)

    def without(self, *names: str) -> Self:
        """Return the scenario less the incidents of these names; each must be there."""
        for name in names:
            self.incident(name)
        return self._mapped(lambda i: None if i.name in names else i)

    def changed(self, incident: plant.Incident) -> Self:
        """Return the scenario with the incident of that name put in place of the one it has."""
        self.incident(incident.name)
        return self._mapped(lambda i: incident if i.name == incident.name else i)

    def moved(self, name: str, by: timedelta) -> Self:
        """Return the scenario with one incident moved in time."""
        return self.changed(self.incident(name).moved(by))

    def scaled(self, name: str, factor: float) -> Self:
        """Return the scenario with one incident made larger or smaller."""
        return self.changed(self.incident(name).scaled(factor))

    def _mapped(self, keep: _Keep) -> Self:
        def kept(group: tuple[plant.Incident, ...]) -> tuple[plant.Incident, ...]:
            return tuple(k for i in group if (k := keep(i)) is not None)

        return replace(self, faults=kept(self.faults), decoys=kept(self.decoys), plants=kept(self.plants))
