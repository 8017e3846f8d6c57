"""Answers about features together and about limits, written by hand, for stand-in monitors."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np

from cellmon.monitor.answers import BaselineSummary, Limits
from cellmon.monitor.departures import Departure
from cellmon.monitor.joint import Joint, JointFeature
from cellmon.monitor.joint_beyond import Contribution, JointBeyond, JointPoints
from cellmon.monitor.trust import StreamTrust, Trust
from cellmon.records import Stream
from cellmon.shifts import to_utc

BASELINE = BaselineSummary(
    center_um=11.64, sigma_um=1.732, n=495, frozen_at=None, by="Ada", provisional=False
)


SKEW = Departure(
    name="skew",
    words="skewness 1.10 (0.40 to 1.80), taken as shifted gamma: one in 180, of ranges one in 60",
    one_in=180.2,
    range_one_in=60.4,
    lower_um=-1.2,
    upper_um=0.9,
    range_upper_um=5.1,
    matters=True,
)


def joint_answer(start: datetime, end: datetime, *, sheet: int = 1, points: int = 40) -> Joint:
    """Return size and taper of bore 3 of S2, with three points on end beyond at two thirds of the time."""
    rng = np.random.default_rng(4)
    away = 0.8 * rng.standard_normal((points, 2))
    at = to_utc(start) + np.arange(points) * ((to_utc(end) - to_utc(start)) // max(points, 1))
    parts = np.array([f"B{i:05d}" for i in range(points)], dtype=object)
    beyond: tuple[JointBeyond, ...] = ()
    if points:
        first = 2 * points // 3
        away[first : first + 3, 1] = (6.0, 9.0, 7.0)
        when = start + (end - start) * (first / points)
        beyond = (_run(parts, first, when, (end - start) / points),)
    return Joint(
        as_of=end,
        sheet=sheet,
        sentence="S2 bore 3, size and taper together: beyond a limit once.",
        part_number="HM-214",
        spindle="S2",
        bore="3",
        since=start,
        until=end,
        zone="Europe/Berlin",
        shifts=(),
        features=(
            JointFeature(feature="diameter", sigma_um=1.73, correlation=(1.0, -0.11)),
            JointFeature(feature="taper", sigma_um=0.92, correlation=(-0.11, 1.0)),
        ),
        baseline=BASELINE,
        baseline_subgroups=99,
        t_squared_limit=22.1,
        mewma_limit=23.9,
        weight=0.2,
        run_length=46804.1,
        false_alarms_per_week=0.0486,
        promise="Either chart calls falsely once in about 47,000 subgroups.",
        points=JointPoints(
            first_part=parts,
            last_part=parts,
            at=at,
            n=np.full(points, 5),
            t_squared=(away**2).sum(axis=1),
            mewma=0.1 * (away**2).sum(axis=1),
            deviation=away,
        ),
        left_out=2,
        beyond=beyond,
        caution="Drawn on demand: this chart raises no signal.",
    )


def _run(parts: np.ndarray, first: int, when: datetime, step: timedelta) -> JointBeyond:
    taper = Contribution(
        feature="taper",
        alone=9.0,
        given_others=9.1,
        words="taper 9.0 standard errors above its centre",
    )
    return JointBeyond(
        chart="T-squared",
        first_at=when,
        first_part=parts[first],
        last_at=when + 2 * step,
        last_part=parts[first + 2],
        points=3,
        at=when + step,
        part=parts[first + 1],
        value=81.4,
        contributions=(taper,),
        words="taper up",
    )


def trust_answer(stream: Stream, at: datetime, *, sheet: int = 1, skewed: bool = False) -> Trust:
    """Return one stream with correlated neighbours; its skewness is not known unless it is skewed."""
    few = Departure(
        name="few subgroups",
        words="25 subgroups: one in 247 over all such baselines, 100 to 1,145 in nine of ten",
        one_in=246.9,
        low=100.4,
        high=1145.2,
        range_one_in=150.3,
        lower_um=9.21,
        upper_um=14.07,
        range_upper_um=9.9,
        matters=True,
    )
    near = Departure(
        name="neighbours",
        words="neighbours correlate by 0.31 (0.12 to 0.48): one in 33",
        one_in=32.8,
        low=12.0,
        high=120.0,
        lower_um=8.4,
        upper_um=14.9,
        matters=True,
    )
    one = StreamTrust(
        stream=stream,
        sentence=f"{stream}: one in 370 is promised; {few.words}; {near.words}.",
        subgroups=25,
        n=5,
        mean_limits=Limits(lower=9.32, center=11.64, upper=13.96),
        range_limits=Limits(lower=0.0, center=4.03, upper=8.52),
        promised=370.4,
        range_promised=217.2,
        step_um=0.1,
        departures=(few, near, SKEW) if skewed else (few, near),
        why_not={} if skewed else {"skew": "values above nought: need at least 50, got 12"},
    )
    return Trust(
        as_of=at,
        sheet=sheet,
        sentence="1 of 1 streams have limits of means and ranges that call falsely too often.",
        streams=(one,),
        caution="Each correction is for its own departure alone.",
    )
