"""A stand-in monitor whose answers are written by hand, and a way to run a command on it."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from types import SimpleNamespace
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest

import cellmon
from cellmon.cli.main import main
from cellmon.errors import NotFound
from cellmon.monitor.answers import BaselineSummary, Due, Estimate, Limits
from cellmon.monitor.aside import Aside, AsideRow
from cellmon.monitor.baseline import Baselines, StreamBaseline
from cellmon.monitor.capability import CapabilityAnswer, StreamCapability
from cellmon.monitor.check import Check
from cellmon.monitor.flags import FlagList, FlagRow
from cellmon.monitor.hold import HeldPart, Hold
from cellmon.monitor.part import PartMeasurement, PartStory
from cellmon.monitor.shifts import Shifts, StreamShift, SubgroupPoint
from cellmon.monitor.signals import Signal, Signals
from cellmon.monitor.state import AlarmCost, SpindleState, State, Status, StreamState
from cellmon.monitor.take import FileTaken, SetAside, Taken
from cellmon.records import Flag, Stream, Verdict
from cellmon.shifts import ShiftOf

ZONE = ZoneInfo("Europe/Berlin")
AT = datetime(2026, 10, 22, 16, 5, tzinfo=UTC)
HEAD = {"as_of": AT, "sheet": 3}
SIZE = Stream(part_number="HM-214", spindle="S1", bore="2", feature="diameter")
LATE = ShiftOf(
    name="late",
    date=date(2026, 10, 22),
    starts=datetime(2026, 10, 22, 14, tzinfo=ZONE),
    ends=datetime(2026, 10, 22, 22, tzinfo=ZONE),
    worked=True,
)
FROZEN = BaselineSummary(center_um=11.64, sigma_um=1.732, n=25, frozen_at=AT, by="Ada", provisional=False)


def signal(state: str = "open", id_: str = "7f3a") -> Signal:
    return Signal(
        id=id_,
        stream=SIZE,
        raised_at=AT,
        part="B00412",
        last_at=AT,
        last_part="B00432",
        points=3,
        kind="level",
        detector="x-bar",
        size_um=8.71,
        state=state,
        words="mean above its upper limit",
        age_s=3600.0 * 5,
        why_not={"change": "no change point method yet"},
    )


def stream_state() -> StreamState:
    return StreamState(
        stream=SIZE,
        bores=5685,
        subgroups=1137,
        mean_um=11.6789,
        sd_within_um=1.7321,
        sd_total_um=None,
        baseline=FROZEN,
        status=Status.LOOK,
        open_signals=1,
        why_not={"bores_to_limit": "forecasts are not made yet"},
    )


def state_answer() -> State:
    due = Due(what="master check of G1", at=AT - timedelta(hours=1), overdue=True)
    spindle = SpindleState(spindle="S1", status=Status.LOOK, sentence="Bore 2 moved up.", due=(due,))
    alarms = AlarmCost(
        rule="a point beyond its 3-sigma limit",
        charts=32,
        points_per_week=36400,
        per_week=118.3,
        mean_per_week=49.1,
        range_per_week=69.2,
    )
    return State(**HEAD, spindles=(spindle,), streams=(stream_state(),), alarms=alarms, notes=("a note",))


def shifts_answer() -> Shifts:
    point = SubgroupPoint(
        first_part="B00412",
        last_part="B00416",
        at=AT,
        n=5,
        mean_um=20.44,
        range_um=3.1,
        sd_um=1.3,
        mean_limits=Limits(lower=9.3, center=11.6, upper=13.9),
        range_limits=None,
        sd_limits=None,
        beyond=("mean above",),
        flagged=False,
    )
    one = StreamShift(
        stream=SIZE,
        shift=LATE,
        bores=320,
        mean_um=12.5,
        previous_mean_um=11.5,
        subgroups=(point,),
        signals=("7f3a",),
        why_not={},
    )
    return Shifts(
        **HEAD, sentence="One stream moved.", shift=LATE, previous=None, shifts=(one,), known=(LATE,)
    )


def capability_answer() -> CapabilityAnswer:
    one = StreamCapability(
        stream=SIZE,
        n=5685,
        model="normal",
        mean_um=11.7,
        sd_within_um=1.73,
        sd_total_um=1.91,
        cp=Estimate(value=2.312, low=2.27, high=2.354, confidence=0.95),
        cpk=Estimate(value=2.25, low=2.21, high=2.29, confidence=0.95),
        pp=None,
        ppk=Estimate(value=float("nan"), low=1.98, high=2.05, confidence=0.95),
        ppm_expected=Estimate(value=0.00035, low=0.0, high=0.01, confidence=0.95),
        ppm_observed=176.0,
        stable=False,
        movement=None,
        claim="not supported",
        lower_bound=1.98,
        reasons=("an open signal",),
        why_not={"movement": "not judged yet"},
    )
    return CapabilityAnswer(**HEAD, sentence="No claim.", required=1.33, confidence=0.975, capability=(one,))


def part_answer() -> PartStory:
    um = np.array([[11.25, 9.0], [np.nan, 10.0], [12.0, 8.0]])
    one = PartMeasurement(
        bore="2",
        spindle="S1",
        gauge="G1",
        at=AT,
        stage="finish",
        fixture="P1",
        stone_set="FS-1043",
        um=um,
        features={"diameter": None, "taper": -0.75},
        verdict=Verdict.UNDECIDED,
        charted=True,
        flags=(Flag.SINGLE_READING,),
    )
    return PartStory(
        **HEAD,
        part="B00412",
        part_number="HM-214",
        sentence="One bore was measured once.",
        measurements=(one,),
        signals=("7f3a",),
        dispositions=({"as": "released", "by": "Ada"},),
    )


def hold_answer() -> Hold:
    parts = [
        HeldPart(part="B00412", bore="2", measured_at=AT, verdict=Verdict.DOES_NOT_CONFORM, disposition=None),
        HeldPart(part="B00413", bore="2", measured_at=AT, verdict=Verdict.CONFORMS, disposition="released"),
    ]
    return Hold(
        **HEAD,
        signal="7f3a",
        from_part="B00412",
        to_part="B00413",
        parts=tuple(parts),
        caution="Measure again.",
    )


def file_taken(*, taken: int = 9, known: int = 1, aside: int = 0, kind: str | None = "readings") -> FileTaken:
    rows = tuple(SetAside(line=i + 2, reason="not-a-number", text=f"=row {i}\x1b[31m") for i in range(aside))
    return FileTaken(
        file="early.csv",
        kind=kind,
        rows=taken + known + aside,
        taken=taken,
        known=known,
        set_aside=rows,
        flagged=0,
        bores=2,
        signals=0,
        seconds=0.04,
        why_not=None if kind else "no header that fits",
    )


def baselines_answer() -> Baselines:
    one = StreamBaseline(
        stream=SIZE,
        in_force=None,
        proposed=FROZEN,
        window_from=AT,
        window_to=AT,
        subgroups=25,
        left_out=2,
        version=0,
    )
    return Baselines(**HEAD, baselines=(one,))


def flag_row(state: str = "open") -> FlagRow:
    return FlagRow(
        id="f1",
        flag=Flag.ROUTING,
        part="B9",
        bore="2",
        spindle="S2",
        at=AT,
        words="bore 2 belongs to S1",
        proposal="S1",
        state=state,
    )


@dataclass
class StandIn:
    """Answers as a monitor would, and keeps what it was called with."""

    calls: list[tuple[str, tuple[Any, ...], dict[str, Any]]] = field(default_factory=list)
    files: tuple[FileTaken, ...] = (file_taken(),)
    logged: FileTaken = field(default_factory=file_taken)
    sound: bool = True

    sheet = SimpleNamespace(
        cell=SimpleNamespace(timezone="Europe/Berlin"),
        measuring=SimpleNamespace(
            resolution_um=0.1, planes={"top": 15, "middle": 70, "bottom": 125}, directions={"x": 0, "y": 90}
        ),
    )

    def __getattr__(self, name: str) -> Callable[..., Any]:
        if name not in self._answers():
            raise AttributeError(name)

        def answer(*args: Any, **options: Any) -> Any:
            self.calls.append((name, args, options))
            if name == "part" and args[0] != "B00412":
                raise NotFound(f"no part {args[0]}")
            return self._answers()[name]

        return answer

    def _answers(self) -> dict[str, Any]:
        differing = Check(
            **HEAD,
            sound=self.sound,
            switched_off=("planning",),
            remarks=(),
            differs=("features.taper.upper",),
            rebuilt=None,
        )
        row = AsideRow(id=1, file="a.csv", line=7, reason="contradicts", text="B1;2;=1+1", state="waiting")
        return {
            "state": state_answer(),
            "shifts": shifts_answer(),
            "signals": Signals(**HEAD, signals=(signal(), signal("answered", "aaaa"))),
            "capability": capability_answer(),
            "part": part_answer(),
            "hold": hold_answer(),
            "release": hold_answer(),
            "take": Taken(**HEAD, files=self.files),
            "retry_aside": Taken(**HEAD, files=self.files),
            "aside": Aside(**HEAD, rows=(row,)),
            "flags": FlagList(**HEAD, flags=(flag_row(),)),
            "correct": flag_row("accepted"),
            "respond": signal("answered"),
            "check": differing,
            "adopt": differing,
            "baselines": baselines_answer(),
            "freeze": baselines_answer(),
            "log": self.logged,
        }


@dataclass(frozen=True)
class Ran:
    """How a command ended and what it printed."""

    status: int
    out: str
    err: str

    @property
    def document(self) -> dict[str, Any]:
        return json.loads(self.out)


@pytest.fixture
def monitor(monkeypatch: pytest.MonkeyPatch) -> StandIn:
    stand_in = StandIn()

    def open_cell(folder: object = ".", *, as_of: datetime | None = None) -> StandIn:
        stand_in.calls.append(("open", (str(folder),), {"as_of": as_of}))
        return stand_in

    monkeypatch.setattr(cellmon, "open_cell", open_cell)
    return stand_in


@pytest.fixture
def run(monitor: StandIn, capsys: pytest.CaptureFixture[str]) -> Callable[..., Ran]:
    def run_(*argv: str) -> Ran:
        capsys.readouterr()
        status = main(argv)
        said = capsys.readouterr()
        return Ran(status=status, out=said.out, err=said.err)

    return run_
