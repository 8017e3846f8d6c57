"""A hand-built story of one block: bore 2 outside, bore 3 traced, held for two signals, one decided."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np

from cellmon.monitor.answers import Tolerance
from cellmon.monitor.flags import FlagRow
from cellmon.monitor.part import PartNote, PartStory
from cellmon.monitor.part_bores import Origin, PartMeasurement, ProcessThen
from cellmon.monitor.part_events import PartEvent
from cellmon.monitor.part_judged import JudgedAgainst
from cellmon.monitor.part_place import ItsSubgroup, PlaceInStream
from cellmon.monitor.part_signals import Disposition, PartSignal
from cellmon.monitor.part_stones import Stones
from cellmon.monitor.traced_bore import BoreTraces, TraceFigure
from cellmon.monitor.traced_plane import Curve, PlaneTrace
from cellmon.records import Flag, Stream, Verdict

TOLERANCE = Tolerance(lower_um=0.0, upper_um=24.0, target_um=12.0, guard_um=1.0)
PLANES, DIRECTIONS = ("top", "middle", "bottom"), ("x", "y")
DEPTHS = {"top": 15.0, "middle": 70.0, "bottom": 125.0}
LOBES = 3


def story_answer(at: datetime, *, serial: str = "204418", sheet: int = 1) -> PartStory:
    """Return the story of a block last measured at a moment."""
    measurements = (
        measurement("1", at, um=11.0, verdict=Verdict.CONFORMS),
        measurement("2", at, um=25.5, verdict=Verdict.DOES_NOT_CONFORM),
        measurement("3", at, um=12.0, verdict=Verdict.UNDECIDED),
        measurement(
            "3", at + timedelta(hours=2), um=12.1, verdict=Verdict.CONFORMS, gauge="G2", charted=False
        ),
    )
    held = (signal("S-1", at, decided=False), signal("S-2", at, decided=True))
    events = (
        PartEvent(
            at=at - timedelta(minutes=3), what="honed", words="bores 1, 2, 3: honed by S1 with FS-1043"
        ),
        PartEvent(at=at, what="measured", words="bore 2: measured by G1: does not conform", look=True),
        PartEvent(
            at=at + timedelta(hours=1), what="decided", words="scrapped by R. Hale, for S-2: <too large>"
        ),
    )
    return PartStory(
        as_of=at + timedelta(hours=3),
        sheet=sheet,
        part=serial,
        part_number="HM-214",
        sentence=f"{serial}: bore 2 does not conform, last seen {at:%Y-%m-%d %H:%M}.",
        measurements=measurements,
        signals=("S-1", "S-2"),
        dispositions=(
            Disposition(signal="S-2", as_="scrapped", by="R. Hale", at=at, why="<too large>"),
            Disposition(signal="S-9", as_="released", by="A. Weber", at=at, why="measured again"),
        ),
        notes=(
            PartNote(bore="1", at=at, what="Rk", value=0.8, unit="um", plane="top", by="AR", gauge="R1"),
            PartNote(bore="2", at=at, what="pore", value=2, unit=None, plane=None, by="AR", kind="finding"),
        ),
        held_for=held,
        traces=(traces("3", at),),
        happened=events,
        revision="C",
        nominal_mm=87.3,
        length_mm=140.0,
        depths_mm=DEPTHS,
    )


def measurement(
    bore: str, at: datetime, *, um: float, verdict: Verdict, gauge: str = "G1", charted: bool = True
) -> PartMeasurement:
    """Return one measurement of one bore, a little tapered."""
    read = um + np.array([[0.6, 0.2], [0.1, -0.1], [-0.4, -0.6]])
    doubt = FlagRow(
        id=f"f{bore}",
        flag=Flag.LATE,
        part="204418",
        bore=bore,
        spindle="S1",
        at=at,
        words="came late",
        proposal=None,
        state="kept",
        by="A. Weber",
        why="known",
    )
    stream = Stream(part_number="HM-214", spindle="S1", bore=bore, feature="diameter")
    group = ItsSubgroup(
        first_part="204415", last_part="204419", at=at, n=5, place=4, mean_um=11.2, range_um=3.1
    )
    return PartMeasurement(
        bore=bore,
        spindle="S1",
        gauge=gauge,
        at=at,
        stage="finish",
        fixture="P1",
        stone_set="FS-1043",
        um=read,
        features={"average": float(read.mean()), "taper": 0.9},
        verdict=verdict,
        charted=charted,
        flags=(),
        tolerance=TOLERANCE,
        planes=PLANES,
        directions=DIRECTIONS,
        charted_why="the first whole one" if charted else "not charted: G2 is a gauge of audits",
        sheet_version=1,
        rule="guarded",
        conformance=0.95,
        judged=(
            against("least", float(read.min()), 0.0, None, Verdict.CONFORMS),
            against("greatest", float(read.max()), None, 24.0, verdict),
        ),
        doubts=(doubt,) if bore == "1" else (),
        honed_at=at - timedelta(minutes=3),
        operator="AW",
        stones=Stones(stone_set="FS-1043", since=at - timedelta(hours=2), what="dressed", bores_since=214),
        process=ProcessThen(
            cycle_s=47.2,
            feed_um=None,
            load_pct=55.4,
            load_ripple_pct=2.3,
            part_temp_c=24.0,
            master_temp_c=23.0,
            read_off_um=1.2,
        ),
        places=(
            PlaceInStream(
                stream=stream,
                value_um=um,
                unit="µm",
                center_um=11.6,
                sigma_um=1.7,
                away=(um - 11.6) / 1.7,
                provisional=False,
                subgroup=group,
            ),
        )
        if charted
        else (),
        origins=(Origin(file="late-station.csv", line=1634, taken_at=at + timedelta(minutes=1)),),
    )


def against(
    figure: str, value: float, lower: float | None, upper: float | None, verdict: Verdict
) -> JudgedAgainst:
    """Return a figure of the size against its limit."""
    return JudgedAgainst(
        feature="diameter",
        figure=figure,
        value_um=value,
        lower_um=lower,
        upper_um=upper,
        u_um=0.61,
        guard_um=1.0,
        verdict=verdict,
    )


def signal(name: str, at: datetime, *, decided: bool) -> PartSignal:
    """Return a signal that reaches bore 2."""
    given = Disposition(signal=name, as_="scrapped", by="R. Hale", at=at, why="<too large>")
    return PartSignal(
        id=name,
        words="S1 bore 2 diameter: moved up by 6.0 µm",
        kind="level",
        state="open",
        raised_at=at,
        began_at=at - timedelta(minutes=20),
        last_at=at,
        bores=("2",),
        response=None,
        disposition=given if decided else None,
    )


def traces(bore: str, at: datetime) -> BoreTraces:
    """Return a bore with three lobes, traced in one plane."""
    angle = np.arange(0.0, 360.0, 3.0)
    curve = Curve(angle_deg=angle, um=4.0 * np.cos(np.radians(LOBES * angle)))
    plane = PlaneTrace(
        plane="bottom",
        depth_mm=125.0,
        points=120,
        roundness_um=8.0,
        by_reference_um={},
        centre_x_um=0.0,
        centre_y_um=0.0,
        lobes=(),
        waves=(),
        two_point_roundness_um=0.1,
        missed_um=7.9,
        least_two_point_um=0.0,
        largest_inscribed_um=-8.0,
        notes=(),
        curve=curve,
    )
    return BoreTraces(
        part="204418",
        part_number="HM-214",
        bore=bore,
        spindle="S1",
        gauge="R1",
        at=at,
        sentence=f"Bore {bore}: roundness 8.00 um in the bottom plane; two points see 0.10 um of it.",
        roundness_trace=trace_figure("roundness_trace", 8.0, Verdict.DOES_NOT_CONFORM),
        cylindricity=trace_figure("cylindricity", None, None),
        missed_um=7.9,
        seen=None,
        planes=(plane,),
    )


def trace_figure(name: str, value: float | None, verdict: Verdict | None) -> TraceFigure:
    """Return a figure of a trace, at most 5 µm."""
    return TraceFigure(
        feature=name,
        value_um=value,
        reported_um=None,
        used=None if value is None else "points",
        upper_um=5.0,
        guard_um=0.2,
        reference="least-squares",
        filter_upr=50,
        verdict=verdict,
    )
