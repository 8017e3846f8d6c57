"""Hand-written answers for papers and results, for tests without a cell."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np

from cellmon.monitor.answers import Due, Tolerance
from cellmon.monitor.capability import CapabilityAnswer
from cellmon.monitor.capability_picture import CapabilityPicture, EdgePicture
from cellmon.monitor.handover import BoresMade, Handover, Happened, OnHold, StonesNow
from cellmon.monitor.results import Quantity, ResultCharacteristic, Results, ResultValue
from cellmon.monitor.signals import Signal
from cellmon.monitor.state import SpindleState
from cellmon.monitor.status import Status
from cellmon.monitor.stream_events import EventMark
from cellmon.monitor.submission import Drawing, GaugeBehind, LeftOut, Sampling, Statement, Submission
from cellmon.records import EventKind, Stream, Verdict
from cellmon.shifts import ShiftOf


def edge_picture(side: str = "upper") -> EdgePicture:
    """Return an edge as a model and five bores give it."""
    size = np.linspace(18.0, 26.0, 17) if side == "upper" else np.linspace(-2.0, 6.0, 17)
    share = 10.0 ** -np.linspace(1.0, 6.0, 17)
    share = share if side == "upper" else share[::-1]
    return EdgePicture(
        side=side,
        limit_um=24.0 if side == "upper" else 0.0,
        column="greatest" if side == "upper" else "least",
        span_um=6.0,
        seen_size_um=np.array([8.0, 12.0, 19.0, 25.0]),
        seen_share=np.array([1.0, 0.8, 0.4, 0.2]) if side == "upper" else np.array([0.2, 0.4, 0.8, 1.0]),
        size_um=size,
        share=share,
        share_low=share / 10,
        share_high=share * 10,
        seen_beyond=1 if side == "upper" else 0,
    )


def picture_answer(stream: Stream, at: datetime, *, sheet: int = 3) -> CapabilityPicture:
    """Return five bores, one left out and one beyond."""
    value = np.array([8.0, 12.0, 13.0, 19.0, 25.0])
    start = np.datetime64(at.replace(tzinfo=None), "us")
    return CapabilityPicture(
        as_of=at,
        sheet=sheet,
        stream=stream,
        name=str(stream),
        unit="µm",
        tolerance=Tolerance(lower_um=0.0, upper_um=24.0, target_um=12.0, guard_um=1.0),
        model="A1: location and spread constant, normal",
        confidence=0.95,
        part=np.array([f"B{i}" for i in range(5)], dtype=object),
        at=start + np.arange(5) * np.timedelta64(1, "m"),
        value_um=value,
        least_um=value - 1,
        greatest_um=value + 1,
        left_out=np.array([False, False, True, False, False]),
        stone_set=np.full(5, "A1", dtype=object),
        events=(EventMark(at=at, kind=EventKind.STONES_FITTED, words="stones A1 fitted"),),
        edges=(edge_picture("lower"), edge_picture("upper")),
    )


def submission_answer(capability: CapabilityAnswer) -> Submission:
    """Return statements of the streams of a capability answer."""
    at = capability.as_of
    statements = tuple(
        Statement(
            name=str(row.stream),
            unit="µm",
            capability=row,
            drawing=Drawing(
                part_number="HM-214",
                revision=None,
                feature=row.stream.feature,
                number="12",
                class_=None,
                control_plan=None,
                nominal_mm=87.3,
                judged="every reading of a bore",
            ),
            sampling=Sampling(
                first_at=at - timedelta(days=1),
                last_at=at,
                first_part="B0",
                last_part="B4",
                bores=row.n,
                shifts=1,
                stone_sets=("A1",),
                dressings=0,
                size=5,
                every=5,
                within=("shift",),
            ),
            left_out=(LeftOut(what="doubted", bores=1, reason="clock: a station clock may be off"),),
            gauge=GaugeBehind(
                gauge="G1",
                resolution_um=None,
                common_um=None,
                reading_um=None,
                on_masters="G1 was never seen on a master.",
                study=None,
                of_tolerance=None,
                rule="Simple.",
            ),
            picture=picture_answer(row.stream, at, sheet=capability.sheet),
        )
        for row in capability.capability
    )
    return Submission(
        as_of=at,
        sheet=capability.sheet,
        cell="Line 3",
        sentence=capability.sentence,
        required=capability.required,
        confidence=capability.confidence,
        capability=capability,
        statements=statements,
    )


def handover_answer(shift: ShiftOf, at: datetime, signal: Signal, *, sheet: int = 3) -> Handover:
    """Return a shift in which one signal was raised and waits, with a hold, a check due and a dressing."""
    due = Due(what="master check of G1", at=at, overdue=True)
    spindle = SpindleState(
        spindle="S1", status=Status.LOOK, sentence="S1: look.", due=(due,), part_number="HM-214"
    )
    made = BoresMade(
        spindle="S1",
        bore="2",
        part_number="HM-214",
        made=300,
        conform=298,
        undecided=1,
        do_not_conform=1,
        doubted=0,
    )
    held = OnHold(signal=signal.id, words=signal.words, from_part="B1", to_part="B9", waiting=9, decided=0)
    stones = StonesNow(spindle="S1", stone_set="A1", bores_since_dress=95, dress_in_bores=-5, why_not=None)
    return Handover(
        as_of=at,
        sheet=sheet,
        cell="Line 3",
        sentence="One stream moved.",
        shift=shift,
        spindles=(spindle,),
        made=(made,),
        moved=(signal,),
        answered=(),
        decided=(),
        open=(signal,),
        holds=(held,),
        stones=(stones,),
        happened=(Happened(at=at, where="S1", words="stones dressed", by="setter"),),
        offsets=1,
        doubts_open=2,
        caution="Advice only.",
    )


def results_answer(at: datetime, *, sheet: int = 3) -> Results:
    """Return one value of one characteristic of one block."""
    one = ResultCharacteristic(
        key=0,
        part_number="HM-214",
        revision="C",
        bore="2",
        feature="diameter",
        column="greatest",
        number="12",
        quantity=Quantity.DIAMETER,
        what="greatest of the two-point sizes of the bore",
        nominal_mm=87.3,
        lower_mm=None,
        upper_mm=87.324,
    )
    value = ResultValue(
        characteristic=0, serial="B00412", at=at, gauge="G1", value_mm=87.32, verdict=Verdict.UNDECIDED
    )
    return Results(
        as_of=at,
        sheet=sheet,
        cell="Line 3",
        rule="guarded at 95 %",
        characteristics=(one,),
        gauges=("G1",),
        serials=("B00412",),
        values=(value,),
        left_out=(),
    )
