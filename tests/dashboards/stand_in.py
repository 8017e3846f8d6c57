"""A stand-in monitor: hand-built answers with planted movements, no store, no judging."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import cache
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import numpy as np

from cellmon.errors import NotFound
from cellmon.lengths import Shown
from cellmon.monitor import (
    alarms,
    answers,
    loudest,
    now,
    part,
    seismograph,
    shifts,
    signals,
    signals_listed,
    state,
    stream,
    stream_events,
)
from cellmon.monitor.answers import Estimate
from cellmon.monitor.hold_extended import Extension
from cellmon.records import Stream, Verdict
from cellmon.shifts import ShiftOf, to_utc
from tests.dashboards.stand_in_answers import (
    ALL_SIZES,
    APART,
    CHIP,
    END,
    SLIP,
    ZONE,
    first_answer,
    hold_answer,
    signals_found,
    split_answer,
    state_answer,
    wear_of,
)
from tests.gauge_answers import gauge_answer
from tests.joint_answers import joint_answer, trust_answer
from tests.part_answers import story_answer

START = datetime(2026, 10, 19, 6, tzinfo=ZONE)
TOLERANCE = answers.Tolerance(lower_um=0.0, upper_um=24.0, target_um=12.0, guard_um=1.0)
FORM = answers.Tolerance(lower_um=-8.0, upper_um=8.0, target_um=None, guard_um=0.8)
ALARMS = alarms.AlarmBudget(
    wanted_per_week=2.0,
    expected_per_week=2.0,
    rules_per_week=0.0,
    streams=32,
    subgroups_per_week=36400.0,
    planned=True,
    rules=(
        alarms.RulePrice(
            name="mean-range",
            words="means and ranges at three sigma",
            run_length=137.0,
            false_alarms_per_week=133.0,
            switched_on=False,
        ),
    ),
    sentence="2.0 false alarms a week are expected; means and ranges at three sigma would make 133.",
)
SIGMA = {"diameter": 1.7, "taper": 0.9, "barrel": 0.6, "ovality": 0.9}
CENTRE = {"diameter": 11.6, "taper": 0.9, "barrel": -0.5, "ovality": 0.4}


def streams() -> tuple[Stream, ...]:
    """Return every stream of an invented cell with two spindles and four bores."""
    found = []
    for bore in "1234":
        spindle = "S1" if bore in "12" else "S2"
        for feature, fixture in (
            ("diameter", None),
            ("taper", None),
            ("barrel", None),
            ("ovality", "P1"),
            ("ovality", "P2"),
        ):
            found.append(
                Stream(part_number="HM-214", spindle=spindle, bore=bore, feature=feature, fixture=fixture)
            )
    return tuple(found)


def shifts_between(since: datetime, until: datetime) -> tuple[ShiftOf, ...]:
    """Return the shifts early, late and night that touch a window."""
    found, at = [], START
    names = ("early", "late", "night")
    i = 0
    while at < until:
        date = at.date()
        following = datetime(date.year, date.month, date.day, (14, 22, 6)[i % 3], tzinfo=ZONE)
        ends = following if i % 3 != 2 else following + timedelta(days=1)
        if ends > since:
            found.append(ShiftOf(name=names[i % 3], date=date, starts=at, ends=ends, worked=True))
        at, i = ends, i + 1
    return tuple(found)


@cache
def bores_of(one: Stream) -> tuple[np.ndarray, np.ndarray]:
    """Return times (UTC) and values of a week of bores of one stream, planted moves included."""
    rng = np.random.default_rng(sum(map(ord, str(one))))
    step = 170 if one.fixture else 85
    seconds = np.arange(0, (END - START).total_seconds(), step)
    at = to_utc(START) + seconds.astype("timedelta64[s]")
    value = CENTRE[one.feature] + SIGMA[one.feature] * rng.standard_normal(len(at))
    slipped = (at >= to_utc(SLIP[0])) & (at < to_utc(SLIP[1]))
    if one.feature == "diameter":
        value = value + 4.0 * slipped
    chipped = (at >= to_utc(CHIP[0])) & (at < to_utc(CHIP[1]))
    if one.spindle == "S2" and one.feature == "taper":
        value = value + chipped * (4.5 + 0.8 * rng.standard_normal(len(at)))
    return at, value


def newest(found, most):
    return signals_listed.Newest(count=len(found), signals=tuple(found[:most]))


@dataclass(frozen=True)
class StandIn:
    """Answers what pages ask; `fails` refuses everything, `now_status` sets spindle S2's status.

    What people say is kept: answers in `said`, what became of parts in `became`, releases in `signed`.
    """

    fails: bool = False
    now_status: state.Status = state.Status.STOP
    empty: bool = False
    said: list[tuple[str, signals.Response]] = field(default_factory=list)
    became: dict[str, str] = field(default_factory=dict)
    signed: dict[str, str] = field(default_factory=dict)

    @property
    def sheet(self):
        cell = SimpleNamespace(name="Line 3", timezone="Europe/Berlin", lengths_shown=Shown.MM)
        return SimpleNamespace(cell=cell)

    def last_change(self) -> int:
        return 7 + len(self.said) + len(self.became) + len(self.signed)

    def streams(self):
        if self.fails:
            raise NotFound("No stream has been measured yet.")
        return () if self.empty else streams()

    def now(self):
        if self.fails:
            raise NotFound("No bore has been measured yet.")
        found = now_answer(self.now_status, empty=self.empty)
        every = self.state().streams
        spindles = (replace(one, ahead=ahead_of(every, one.spindle)) for one in found.spindles)
        return replace(found, spindles=tuple(spindles))

    def stream(self, *, spindle, bore, feature, fixture=None, part_of="itself", **more):
        asked = (spindle, bore, feature, fixture, part_of)
        wanted = [
            s
            for s in (*streams(), *self.pooled())
            if (s.spindle, s.bore, s.feature, s.fixture, s.part_of) == asked
        ]
        if self.fails or not wanted:
            raise NotFound(f"There is no stream {spindle} bore {bore} {feature}.")
        since, until = more.get("since") or START, more.get("until") or END
        found = tuple(s for s in self.signals().signals if wanted[0] in (s.stream, *s.streams))
        return replace(stream_view(wanted[0], since, until), signals=found)

    def seismograph(self, feature=None, since=None, until=None):
        if self.fails:
            raise NotFound("No subgroup has been made yet.")
        return seismograph_answer(since or START, until or END)

    def shifts(self, feature=None, shift=None):
        if self.fails:
            raise NotFound("No shift has any bore yet.")
        return shifts_answer(shift)

    def shifts_made(self):
        found = self.shifts()
        return shifts.ShiftsMade(
            as_of=found.as_of, sheet=found.sheet, known=found.known, told=str(found.shift)
        )

    def hand_streams(self, since=None, until=None):
        return SimpleNamespace(streams=(), made=())

    def stream_state(self, **named):
        wanted = Stream(**{"part_number": "", "fixture": None, **named})
        found = next((s for s in self.state().streams if s.stream == wanted), None)
        return state.OneStream(as_of=END, sheet=1, state=found)

    def waiting_signals(self, *, most=0):
        found = self.signals()
        open_ = [s for s in found.signals if s.state in signals.WAITING]
        return signals_listed.Waiting(
            as_of=found.as_of,
            sheet=found.sheet,
            count=len(open_),
            spindles={
                spindle: newest([s for s in open_ if s.stream.spindle in (None, spindle)], most)
                for spindle in ("S1", "S2")
            },
        )

    def signals_listed(self, *, most=50, why=0, named=None):
        found = self.signals()
        return signals_listed.Listed(
            as_of=found.as_of,
            sheet=found.sheet,
            waiting=newest([s for s in found.signals if s.state in signals.WAITING], most),
            answered=newest([s for s in found.signals if s.state == "answered"], most),
            withdrawn=newest([s for s in found.signals if s.state == "withdrawn"], most),
            named=next((s for s in found.signals if s.id == named), None),
            caution=found.caution,
        )

    def signal_named(self, name):
        found = self.signals()
        one = next((s for s in found.signals if s.id == name), None)
        return signals_listed.Named(as_of=found.as_of, sheet=found.sheet, signal=one)

    def signals(self, *, why=None, named=None):
        if self.fails:
            raise NotFound("No row has been taken yet.")
        found = () if self.empty else signals_found(dict(self.said))
        return signals.Signals(as_of=END, sheet=1, signals=found, caution="Advice only. Stop if unsure.")

    def respond(self, signal, *, by, cause=None, action=None, seen=False, knew=None):
        response = signals.Response(cause=cause, action=action, by=by, at=END, seen=seen)
        self.said.append((signal, response))
        return next(s for s in self.signals().signals if s.id == signal)

    def hold(self, signal):
        if signal not in {s.id for s in self.signals().signals}:
            raise NotFound(f"no signal {signal}")
        return hold_answer(signal, self.became)

    def release(self, signal, *, parts, as_, by, why, knew=None):
        self.became.update(dict.fromkeys(parts, as_))
        return self.hold(signal)

    def extend_hold(self, signal, *, from_part, to_part=None, by, why):
        if from_part == "nowhere":
            raise NotFound(f"{signal} tells of no bore of {from_part}")
        before = self.hold(signal)
        earlier = replace(before.parts[0], part=from_part)
        one = Extension(
            from_part=from_part,
            to_part=to_part,
            from_at=START,
            to_at=None,
            by=by,
            at=END,
            why=why,
        )
        return replace(before, from_part=from_part, parts=(earlier, *before.parts), extended=(one,))

    def joint(self, *, spindle, bore, part_number=None, since=None, until=None):
        if self.fails or bore == "1":
            raise NotFound(f"{spindle} bore {bore} diameter has no limits yet: fewer than 20 subgroups")
        return joint_answer(since or START, until or END, points=0 if self.empty else 40)

    def trust(self, *, spindle=None, bore=None, feature=None):
        wanted = (spindle, bore, feature)
        found = [s for s in streams() if (s.spindle, s.bore, s.feature) == wanted]
        if self.fails or not found:
            raise NotFound(f"no stream of spindle {spindle}")
        return trust_answer(found[0], END, skewed=feature == "barrel")

    def pooled(self):
        return () if self.empty else (ALL_SIZES, APART)

    def splits(self):
        return split_answer()

    def gauge(self, study=None):
        if self.fails:
            raise NotFound("No gauge is known.")
        return gauge_answer(END, sheet=1)

    def newest_parts(self):
        found = () if self.empty else tuple(str(204418 - i) for i in range(12))
        return part.NewestParts(as_of=END, sheet=1, parts=found)

    def part(self, serial):
        if self.fails or not serial.isdecimal():
            raise NotFound(f"no part {serial}")
        return story_answer(END - timedelta(hours=3), serial=serial)

    def alarms(self):
        return alarms.Alarms(as_of=END, sheet=1, budget=ALARMS, families=())

    def first_bores(self):
        return first_answer(self.signed)

    def release_setup(self, spindle, *, by, why, changed_at=None, knew=None):
        self.signed[spindle] = by
        return self.first_bores()

    def state(self):
        return state_answer(streams(), ALARMS)


def subgroups_of(one: Stream, since: datetime, until: datetime):
    """Return subgroups of five with limits from known spread; d2 = 2.326, D4 = 2.114."""
    at, value = bores_of(one)
    keep = (at >= to_utc(since)) & (at < to_utc(until))
    at, value = at[keep], value[keep]
    k = len(at) // 5
    groups, times = value[: 5 * k].reshape(k, 5), at[: 5 * k].reshape(k, 5)
    mean, spread = groups.mean(axis=1), np.ptp(groups, axis=1)
    sigma, centre = SIGMA[one.feature], CENTRE[one.feature]
    half, rbar = 3 * sigma / 5**0.5, 2.326 * sigma
    full = np.full(k, 1.0)
    names = np.array([str(204000 + i) for i in range(k)], dtype=object)
    return (
        at,
        value,
        stream.StreamSubgroups(
            first_part=names,
            last_part=names,
            first_at=times[:, 0] if k else at[:0],
            at=times[:, -1] if k else at[:0],
            n=np.full(k, 5),
            mean_um=mean,
            range_um=spread,
            lower_um=full * (centre - half),
            center_um=full * centre,
            upper_um=full * (centre + half),
            range_lower_um=full * 0,
            range_center_um=full * rbar,
            range_upper_um=full * 2.114 * rbar,
            beyond_mean=np.where(mean > centre + half, 1, np.where(mean < centre - half, -1, 0)),
            beyond_range=np.where(spread > 2.114 * rbar, 1, 0),
            flagged=np.zeros(k, dtype=bool),
            stone_set=np.full(k, "FS-1042", dtype=object),
        ),
    )


def stream_view(one: Stream, since: datetime, until: datetime) -> stream.StreamView:
    at, value, groups = subgroups_of(one, since, until)
    events = [
        stream_events.EventMark(
            at=START + timedelta(hours=9 * i), kind="stones-dressed", words="stones dressed"
        )
        for i in range(16)
    ]
    events += [
        stream_events.EventMark(
            at=START + timedelta(hours=0.7 * i), kind="feed-offset", words="+1.5 µm by machine"
        )
        for i in range(200)
    ]
    events += [
        stream_events.EventMark(
            at=START + timedelta(hours=3 * i), kind="gauge-check", words="G1 reads +0.2 µm on 87.312"
        )
        for i in range(48)
    ]
    events += [
        stream_events.EventMark(
            at=datetime(2026, 10, 21, 16, 50, tzinfo=ZONE), kind="stones-fitted", words="FS-1044 fitted"
        ),
        stream_events.EventMark(at=SLIP[1], kind="gauge-zeroed", words="G1 zeroed, −4.0 µm"),
    ]
    return stream.StreamView(
        as_of=END,
        sheet=1,
        sentence=f"{one}: the taper rose by 4.5 µm on Wednesday at 15:42, and fell with the change.",
        stream=one,
        unit="µm",
        since=since,
        until=until,
        zone="Europe/Berlin",
        tolerance=TOLERANCE if one.feature == "diameter" else FORM,
        baseline=answers.BaselineSummary(
            center_um=CENTRE[one.feature],
            sigma_um=SIGMA[one.feature],
            n=5,
            frozen_at=None,
            by=None,
            provisional=True,
        ),
        bores=stream.StreamBores(
            part=np.array([str(200000 + i) for i in range(len(at))], dtype=object),
            at=at,
            value_um=value,
            flagged=np.arange(len(at)) % 700 == 300,
            verdict=np.full(len(at), Verdict.CONFORMS, dtype=object),
            stone_set=np.full(len(at), "FS-1042", dtype=object),
        ),
        subgroups=groups,
        events=tuple(sorted((e for e in events if since <= e.at < until), key=lambda e: e.at)),
        shifts=shifts_between(since, until),
        signals=(),
        wear=wear_of(groups, since, centre=CENTRE[one.feature], sigma=SIGMA[one.feature]),
        alarms=ALARMS,
    )


def ahead_of(streams, spindle: str) -> tuple[now.Ahead, ...]:
    """Return what Now says is ahead of a spindle's streams, as `state` does."""
    return tuple(
        now.Ahead(stream=s.stream, bores_to_limit=s.bores_to_limit, advice=s.advice)
        for s in streams
        if s.stream.spindle == spindle
    )


def now_answer(status: state.Status, *, empty: bool = False) -> now.Now:
    rng = np.random.default_rng(4)

    def bore(name: str, *, taper: float) -> now.BoreNow:
        average = 11.5 + 1.6 * rng.standard_normal(20)
        half = 1.5 + abs(rng.standard_normal(20))
        um = average[-1] + np.array(
            [[taper / 2 + 0.7, taper / 2 - 0.5], [0.4, -0.9], [-taper / 2 + 0.6, -taper / 2 - 0.6]]
        )
        verdicts = [Verdict.CONFORMS] * 20
        if taper > 4:
            um[0, 0], verdicts[-1], verdicts[-4] = 25.3, Verdict.DOES_NOT_CONFORM, Verdict.UNDECIDED
        return now.BoreNow(
            bore=name,
            part="204418",
            at=END - timedelta(minutes=2),
            stone_set="FS-1042",
            um=um,
            features={"diameter": float(average[-1]), "taper": taper, "barrel": -0.5, "ovality": 1.2},
            verdict=verdicts[-1],
            flags=(),
            parts=tuple(str(204399 + i) for i in range(20)),
            ats=tuple(END - timedelta(minutes=2 * (20 - i)) for i in range(20)),
            stone_sets=("FS-1042",) * 20,
            least_um=average - half,
            greatest_um=average + half,
            average_um=average,
            verdicts=tuple(verdicts),
        )

    s1 = now.SpindleNow(
        spindle="S1",
        status=state.Status.CARRY_ON,
        sentence="S1: carry on. Its bores conform and no signal is open.",
        due=(answers.Due(what="master check of G1", at=END + timedelta(hours=2), overdue=False),),
        part_number="HM-214",
        nominal_mm=87.3,
        tolerance=TOLERANCE,
        stone_set="FS-1043",
        bores_since_dress=214,
        bores=() if empty else (bore("1", taper=1.0), bore("2", taper=0.5)),
        ahead=(),
    )
    s2 = replace(
        s1,
        spindle="S2",
        status=status,
        sentence="S2: stop. Bore 3 does not conform; its taper rose by 4.6 µm at 15:42.",
        due=(
            answers.Due(
                what="answer to the signal on bore 3 taper", at=END - timedelta(hours=1), overdue=True
            ),
        ),
        stone_set="FS-1042",
        bores=() if empty else (bore("3", taper=5.6), bore("4", taper=3.1)),
    )
    return now.Now(
        as_of=END,
        sheet=1,
        cell="Line 3",
        part_number="HM-214",
        nominal_mm=87.3,
        length_mm=140.0,
        tolerance=TOLERANCE,
        planes=("top", "middle", "bottom"),
        depths_mm=(15.0, 70.0, 125.0),
        directions=("x", "y"),
        angles_deg=(0.0, 90.0),
        spindles=(s1, s2),
        alarms=ALARMS,
        notes=("Two-point gauging does not see odd lobes.",),
    )


def seismograph_answer(since: datetime, until: datetime) -> seismograph.Seismograph:
    traces = []
    for one in streams():
        _, _, groups = subgroups_of(one, since, until)
        deviation = (groups.mean_um - CENTRE[one.feature]) / (SIGMA[one.feature] / 5**0.5)
        marks = tuple(
            answers.SignalMark(
                id=f"{one}-{i}",
                stream=one,
                at=groups.at[i].item().replace(tzinfo=ZoneInfo("UTC")).astimezone(ZONE),
                kind="level",
                short=f"{deviation[i] * SIGMA[one.feature] / 5**0.5:+.1f} µm",
                words=f"mean {'above' if deviation[i] > 0 else 'below'} by "
                f"{abs(deviation[i]) * SIGMA[one.feature] / 5**0.5:.1f} µm",
                open=bool(i % 2),
            )
            for i in np.nonzero(np.abs(deviation) > 3)[0]
        )
        rank = float(np.abs(deviation).max(initial=0))
        traces.append(
            seismograph.Trace(
                stream=one,
                at=groups.at,
                last_part=groups.last_part,
                stone_set=groups.stone_set,
                deviation=deviation,
                signals=marks,
                rank=rank,
            )
        )
    return seismograph.Seismograph(
        as_of=END,
        sheet=1,
        sentence="Six streams moved this week: all four sizes on Tuesday from 10:20, "
        "the taper of bores 3 and 4 on Wednesday from 15:42.",
        since=since,
        until=until,
        shifts=shifts_between(since, until),
        traces=tuple(traces),
    )


def moved(now: np.ndarray, before: np.ndarray) -> Estimate:
    """Return how far the mean of bores moved, each taken as a witness of its own."""
    value = float(now.mean() - before.mean())
    half = 3.0 * float(np.sqrt(now.var() / len(now) + before.var() / len(before)))
    return Estimate(value=value, low=value - half, high=value + half, confidence=0.9975)


def shifts_answer(wanted: str | None) -> shifts.Shifts:
    known = shifts_between(START, END)
    index = next((i for i, s in enumerate(known) if str(s) == wanted), len(known) - 1)
    chosen, before = known[index], known[index - 1] if index else None
    found = []
    for one in streams():
        _, value, groups = subgroups_of(one, chosen.starts, chosen.ends)
        earlier = subgroups_of(one, before.starts, before.ends)[1] if before else np.array([])
        points = tuple(
            shifts.SubgroupPoint(
                first_part=groups.first_part[i],
                last_part=groups.last_part[i],
                at=groups.at[i].item().replace(tzinfo=ZoneInfo("UTC")).astimezone(ZONE),
                n=5,
                mean_um=float(groups.mean_um[i]),
                range_um=float(groups.range_um[i]),
                sd_um=float(groups.range_um[i]) / 2.326,
                mean_limits=answers.Limits(
                    lower=float(groups.lower_um[i]),
                    center=float(groups.center_um[i]),
                    upper=float(groups.upper_um[i]),
                ),
                sd_limits=None,
                range_limits=answers.Limits(
                    lower=0.0, center=float(groups.range_center_um[i]), upper=float(groups.range_upper_um[i])
                ),
                beyond=("mean above",) * bool(groups.beyond_mean[i] > 0)
                + ("mean below",) * bool(groups.beyond_mean[i] < 0)
                + ("range above",) * bool(groups.beyond_range[i]),
                flagged=False,
                stone_set=groups.stone_set[i],
            )
            for i in range(len(groups.at))
        )
        found.append(
            shifts.StreamShift(
                stream=one,
                shift=chosen,
                bores=len(value),
                mean_um=float(value.mean()),
                previous_mean_um=float(earlier.mean()) if len(earlier) else None,
                moved_um=moved(value, earlier) if len(earlier) else None,
                subgroups=points,
                signals=tuple(str(p.at) for p in points if p.beyond),
            )
        )
    return shifts.Shifts(
        as_of=END,
        sheet=1,
        sentence=f"{chosen.name} of {chosen.date}: two streams moved, the taper of bores 3 and 4.",
        shift=chosen,
        previous=before,
        shifts=tuple(found),
        known=known,
        called=tuple(s for s in signals_found({}) if chosen.starts <= s.raised_at < chosen.ends),
        loudest=(loudest.ShiftCalls(shift=known[3], signals=4, streams=2),),
    )
