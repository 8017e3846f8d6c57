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
from cellmon.monitor.alarms import AlarmBudget, Alarms, DetectorBudget, FamilyBudget, RulePrice
from cellmon.monitor.answers import BaselineSummary, Due, Estimate, Limits
from cellmon.monitor.aside import Aside, AsideRow
from cellmon.monitor.baseline import Baselines, StreamBaseline
from cellmon.monitor.capability import CapabilityAnswer
from cellmon.monitor.capability_stream import StreamCapability
from cellmon.monitor.check import Check
from cellmon.monitor.dressings import Chance, PlannedDressing
from cellmon.monitor.first_bores import FirstBores, FirstOfPosition, SetupCheck
from cellmon.monitor.flags import FlagList, FlagRow
from cellmon.monitor.forecast import BoresLeft, StreamAdvice
from cellmon.monitor.hold import HeldPart, Hold
from cellmon.monitor.part import PartStory
from cellmon.monitor.part_bores import PartMeasurement
from cellmon.monitor.part_signals import Disposition
from cellmon.monitor.shifts import Shifts, StreamShift, SubgroupPoint
from cellmon.monitor.signals import Change, LikelyCause, Response, Signal, Signals
from cellmon.monitor.splits import Split, SplitSummary
from cellmon.monitor.state import SpindleState, State, Status, StreamState
from cellmon.monitor.take import FileTaken, SetAside, Taken
from cellmon.records import Flag, Stream, Verdict
from cellmon.shifts import ShiftOf
from tests.compare_answers import compare_answer
from tests.gauge_answers import gauge_answer
from tests.handed_over_answers import handover_answer, results_answer, submission_answer
from tests.joint_answers import joint_answer, trust_answer

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


SPINDLE = Stream(part_number="HM-214", spindle="S1", bore=None, feature="diameter")
CHANGE = Change(
    at=AT - timedelta(minutes=20),
    part="B00409",
    earliest_at=AT - timedelta(minutes=31),
    earliest_part="B00407",
    latest_at=AT - timedelta(minutes=8),
    latest_part="B00411",
)
OFFSET = LikelyCause(
    cause="wrong-offset",
    title="Wrong offset entered",
    weight=0.634,
    check_first="The entry in the log.",
    correction="Take the entry back.",
    caution="Hold all parts since the entry.",
    why="Size up 5.2 sigma and an offset of +9.0 um 23 min before.",
)
SLIPPED = LikelyCause(
    cause="expander-slip",
    title="Expander slipped",
    weight=0.072,
    check_first="Expander position at size.",
    correction="Set its zero anew.",
    caution="Hold the parts since the step.",
    why="Size up 5.2 sigma.",
)
SIGNALS_CAUTION = "Advice only; qualified people come first."


def signal(state: str = "open", id_: str = "7f3a") -> Signal:
    gone = state == "withdrawn"
    return Signal(
        id=id_,
        stream=SPINDLE,
        streams=(SPINDLE, SIZE),
        raised_at=AT,
        part="B00412",
        last_at=AT + timedelta(minutes=5),
        last_part="B00432",
        over=False,
        kind="level",
        detector="three cumulative sums of the level",
        size_um=8.71,
        ratio=None,
        state=state,
        words="S1 diameter: moved up by 8.7 µm",
        age_s=3600.0 * 5,
        change=None if gone else CHANGE,
        causes=() if gone else (OFFSET, SLIPPED),
        reaction="Stop, measure again.",
        owner="Ada" if state == "answered" else None,
        response=Response(cause="chip", action="new stones", by="Ada", at=AT, seen=False)
        if state == "answered"
        else None,
        why_not={"change": "withdrawn"} if gone else {},
    )


def wide_signal() -> Signal:
    return Signal(
        id="bbbb",
        stream=SIZE,
        streams=(SIZE,),
        raised_at=AT - timedelta(hours=2),
        part="B00399",
        last_at=AT - timedelta(hours=1),
        last_part="B00405",
        over=True,
        kind="spread",
        detector="three cumulative sums of the variance",
        size_um=None,
        ratio=1.63,
        state="reopened",
        words="S1 bore 2 diameter: spread 1.6 times the usual",
        age_s=3600.0 * 7,
        why_not={"causes": "no row of the table of causes fits what moved"},
    )


def signals_answer() -> Signals:
    every = (signal(), wide_signal(), signal("answered", "aaaa"), signal("withdrawn", "cccc"))
    return Signals(**HEAD, signals=every, caution=SIGNALS_CAUTION)


def alarm_budget() -> AlarmBudget:
    rules = (
        RulePrice(
            name="eight-1984",
            words="the eight tests of 1984",
            run_length=73.48,
            false_alarms_per_week=247.7,
            switched_on=True,
        ),
    )
    return AlarmBudget(
        wanted_per_week=2.0,
        expected_per_week=1.98,
        rules_per_week=247.7,
        streams=50,
        subgroups_per_week=56880.0,
        planned=True,
        rules=rules,
        sentence="2.0 false alarms a week are expected of all detectors together.",
    )


def alarms_answer() -> Alarms:
    level = DetectorBudget(detector="level", run_length=38678.4, limits=(22.264, 10.047, 3.937))
    single = DetectorBudget(detector="single", run_length=154713.6, limits=(4.841,))
    shared = {
        "part_number": "HM-214",
        "feature": "diameter",
        "scope": "bore",
        "streams": 2,
        "subgroups_per_week": 1137.6,
        "false_alarms_per_week": 0.103,
        "detectors": (level, single),
    }
    families = tuple(FamilyBudget(spindle=spindle, **shared) for spindle in ("S1", "S2"))
    return Alarms(**HEAD, budget=alarm_budget(), families=families, why_not={"planned": "nothing is planned"})


def position(bore: str, verdict: str, by_um: float | None, more: int | None) -> FirstOfPosition:
    return FirstOfPosition(
        bore=bore,
        verdict=verdict,
        by_um=by_um,
        more=more,
        probability=None if verdict == "cannot tell yet" else 0.9499,
        mean_um=15.04,
        parts=("B00500", "B00501"),
        new_um=(14.95, 15.13),
        verdicts=(Verdict.CONFORMS, Verdict.UNDECIDED),
        old_um=(11.9, 12.1, 12.0),
        why="The mean is likely too large.",
    )


def first_bores_answer() -> FirstBores:
    positions = (
        position("1", "correct", -2.5, 3),
        position("2", "cannot tell yet", None, 2),
        position("3", "cannot tell yet", None, None),
        position("4", "run", None, 0),
    )
    one = SetupCheck(
        spindle="S1",
        change="stones-fitted",
        part_number="HM-214",
        part_before=None,
        changed_at=AT - timedelta(minutes=12),
        verdict="correct",
        sentence="S1, first bores after stones fitted: correct by -2.5 µm, then measure 3 more.",
        positions=positions,
        released_by=None,
        released_at=None,
        why=None,
        caution="A qualified person releases the set-up.",
    )
    two = SetupCheck(
        spindle="S2",
        change="stones-dressed",
        part_number="HM-214",
        part_before=None,
        changed_at=AT - timedelta(hours=3),
        verdict="run",
        sentence="S2, first bores after stones dressed: released by Ada.",
        positions=(),
        released_by="Ada",
        released_at=AT - timedelta(hours=2),
        why="three bores inside",
        caution="A qualified person releases the set-up.",
    )
    return FirstBores(**HEAD, checks=(one, two))


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
        drift_um_per_100_bores=Estimate(value=-3.3148, low=-3.8732, high=-2.7564, confidence=0.9),
        bores_to_limit=BoresLeft(p05=100.4, p50=153.0, p95=None, side="lower"),
        planned_dressing=PlannedDressing(
            in_bores=70,
            every_bores=100,
            from_="log",
            reached_before=Chance(value=0.0312),
            bores_to_limit=BoresLeft(p05=110, p50=640, p95=None, side="lower"),
            step_um=Estimate(value=3.1, low=2.2, high=4.0, confidence=0.9),
        ),
        advice=(
            StreamAdvice(
                what="correct",
                by_um=2.5,
                why="The level is 1.5 µm below target.",
                too_much=1.41,
                caution="A qualified person enters it.",
            ),
        ),
        why_not={"sd_total_um": "one bore only"},
    )


def split_summary() -> SplitSummary:
    """Return one split that is proposed, and one question that could not be asked."""
    one = Split(
        stream=SIZE,
        by="fixture",
        high="P2",
        low="P1",
        high_part="B00412",
        low_part="B00411",
        effect_sigma=Estimate(value=1.2, low=0.8, high=1.6, confidence=0.95),
        sigma_um=1.4,
        n_high=200,
        n_low=200,
        lasts=True,
        proposed=True,
        write="write `by_fixture = true` under [features.diameter]",
        words="S1 bore 2 diameter: parts on fixture P2 lie 1.20 sigma (0.80 to 1.60) above those on P1.",
    )
    return SplitSummary(proposed=(one,), asked=12, unasked=1, why_not={"order": "one order only"})


def state_answer() -> State:
    due = Due(what="master check of G1", at=AT - timedelta(hours=1), overdue=True)
    spindle = SpindleState(
        spindle="S1", status=Status.LOOK, sentence="Bore 2 moved up.", due=(due,), part_number="HM-214"
    )
    return State(
        **HEAD, spindles=(spindle,), streams=(stream_state(),), alarms=alarm_budget(), notes=("a note",)
    )


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
        moved_um=Estimate(value=1.0, low=0.4, high=1.6, confidence=0.9975),
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
        dispositions=(Disposition(signal="7f3a", as_="released", by="Ada", at=AT, why="measured again"),),
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
        cell=SimpleNamespace(timezone="Europe/Berlin", name="Line 3"),
        parts=(SimpleNamespace(number="HM-214"),),
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
            splits=split_summary(),
        )
        row = AsideRow(id=1, file="a.csv", line=7, reason="contradicts", text="B1;2;=1+1", state="waiting")
        return {
            "state": state_answer(),
            "shifts": shifts_answer(),
            "signals": signals_answer(),
            "alarms": alarms_answer(),
            "first_bores": first_bores_answer(),
            "release_setup": first_bores_answer(),
            "capability": capability_answer(),
            "submission": submission_answer(capability_answer()),
            "handover": handover_answer(LATE, AT, signal(), sheet=3),
            "results": results_answer(AT, sheet=3),
            "compare": compare_answer(AT, SIZE, sheet=3),
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
            "gauge": gauge_answer(AT, sheet=3),
            "joint": joint_answer(AT - timedelta(hours=8), AT, sheet=3),
            "trust": trust_answer(SIZE, AT, sheet=3),
            "log": self.logged,
            "may_serve": False,
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
