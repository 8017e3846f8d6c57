"""The demonstration: a week of an invented cell, Harrowmere line 3, and a year of the same."""

from __future__ import annotations

from datetime import datetime

from cellmon.simulate import incidents as plant
from cellmon.simulate.scenario import PlannedChange, Scenario, Stones

SEED = 2037
"""The seed of the demonstration: one whose faults come out near the middle of what other seeds give."""
MONDAY = datetime(2026, 10, 19, 6, 0)
SUNDAY = datetime(2026, 10, 25, 6, 0)
"""The clocks go back at 03:00 of this day: the week has 145 hours."""


def _on(day: int, hour: int, minute: int = 0) -> datetime:
    return datetime(2026, 10, day, hour, minute)


def harrowmere_week() -> Scenario:
    """Return the week from Monday 19 to Sunday 25 October 2026 with all its incidents."""
    change = PlannedChange(spindle="S1", starts=_on(22, 6, 10), back_at=_on(22, 6, 35), new_set="FS-1043")
    return Scenario(
        starts=MONDAY, stones=Stones(changes=(change,)), faults=_faults(), decoys=_decoys(), plants=_plants()
    )


def _faults() -> tuple[plant.Incident, ...]:
    return (
        plant.GaugeSlip(name="F1", starts=_on(20, 10, 20), ends=_on(20, 12)),
        plant.ChippedStone(
            name="F2",
            starts=_on(21, 15, 42),
            ends=_on(21, 16, 25),
            back_at=_on(21, 16, 50),
            spindle="S2",
            new_set="FS-1044",
        ),
        plant.ClampStrain(name="F3", starts=_on(22, 8, 10), ends=_on(22, 11, 30), fixture="P2", bore="1"),
        plant.WrongOffset(
            name="F4",
            starts=_on(22, 18, 5),
            ends=_on(22, 18, 52),
            automatic_again=_on(22, 19, 10),
            spindle="S1",
        ),
        plant.ExchangedSpindles(name="F5", starts=_on(23, 22), ends=_on(23, 23, 30), bores=("2", "3")),
        plant.MissedDressing(name="F6", starts=_on(23, 2), ends=_on(23, 14), spindle="S1"),
        plant.ThreeLobes(name="F7", starts=_on(24, 9), ends=_on(24, 12), bores=("3", "4")),
    )


def _decoys() -> tuple[plant.Incident, ...]:
    return (
        plant.ColdStart(name="cold-start", starts=MONDAY, ends=_on(19, 9)),
        plant.OpenDoor(name="open-door", starts=_on(19, 6, 9), ends=SUNDAY),
        plant.BreakIn(name="break-in", starts=MONDAY, ends=SUNDAY),
        plant.Reroute(
            name="reroute",
            starts=_on(24, 20),
            ends=_on(24, 20, 40),
            spindle="S1",
            bores=("1", "2", "3", "4"),
        ),
    )


def _plants() -> tuple[plant.Incident, ...]:
    return (
        plant.RepeatedExport(name="repeated-export", starts=_on(21, 14), ends=_on(21, 22)),
        plant.InchSheet(name="inch-sheet", starts=_on(23, 6), ends=_on(24, 6)),
        plant.ExchangedPlanes(name="exchanged-planes", starts=_on(24, 14), ends=_on(24, 15)),
        plant.DialTurn(name="dial-turn", starts=_on(20, 13), ends=_on(20, 13, 10)),
        plant.ClockAhead(name="clock-ahead", starts=_on(22, 0), ends=_on(22, 6)),
        plant.EmptyCells(name="empty-cells", starts=MONDAY, ends=SUNDAY),
        plant.Dirt(name="dirt", starts=MONDAY, ends=SUNDAY),
        plant.OddWords(name="odd-words", starts=MONDAY, ends=SUNDAY),
    )
