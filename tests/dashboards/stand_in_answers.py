"""What the stand-in monitor says of signals, hold lists, what lies ahead, and first bores."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from cellmon.monitor import alarms, dressings, first_bores, forecast, hold, signals, splits, state, stream
from cellmon.monitor.answers import Estimate
from cellmon.records import Stream, Verdict
from cellmon.shifts import to_utc

ZONE = ZoneInfo("Europe/Berlin")
END = datetime(2026, 10, 25, 6, tzinfo=ZONE)
SLIP = (datetime(2026, 10, 20, 10, 20, tzinfo=ZONE), datetime(2026, 10, 20, 12, tzinfo=ZONE))
CHIP = (datetime(2026, 10, 21, 15, 42, tzinfo=ZONE), datetime(2026, 10, 21, 16, 25, tzinfo=ZONE))
ALL_SIZES = Stream(part_number="HM-214", spindle=None, bore=None, feature="diameter")
CHIPPED = Stream(part_number="HM-214", spindle="S2", bore="3", feature="taper")
APART = replace(CHIPPED, part_of="distance")
PLANNED = dressings.PlannedDressing(
    in_bores=70,
    every_bores=400,
    from_="sheet",
    reached_before=dressings.Chance(value=0.31),
    bores_to_limit=forecast.BoresLeft(p05=99.0, p50=240.0, p95=None, side="lower"),
    step_um=None,
)


def cause(name: str, title: str, weight: float) -> signals.LikelyCause:
    """Return a cause of which every line names it."""
    return signals.LikelyCause(
        cause=name,
        title=title,
        weight=weight,
        check_first=f"look at {name}",
        correction=f"mend {name}",
        caution=f"lock out before {name}",
        why="it moved",
    )


CAUSES = (cause("chipped", "Chipped or lost stone", 0.7), cause("offset", "Wrong offset entered", 0.2))


def signal(name: str, one: Stream, span: tuple[datetime, datetime], words: str, **more) -> signals.Signal:
    """Return a signal called a quarter of an hour after its change."""
    change = signals.Change(
        at=span[0],
        part="204000",
        earliest_at=span[0] - timedelta(minutes=10),
        earliest_part="203990",
        latest_at=span[0] + timedelta(minutes=15),
        latest_part="204015",
    )
    known = {
        "id": name,
        "stream": one,
        "streams": (one,),
        "raised_at": span[0] + timedelta(minutes=15),
        "part": "204015",
        "last_at": span[1],
        "last_part": "204090",
        "over": True,
        "kind": "level",
        "detector": "three cumulative sums of the level",
        "size_um": 4.5,
        "ratio": None,
        "state": "open",
        "words": f"{one}: {words}",
        "age_s": (END - span[0]).total_seconds(),
        "change": change,
        "causes": CAUSES,
    }
    return signals.Signal(**known | more)


def signals_found(said: dict[str, signals.Response]) -> tuple[signals.Signal, ...]:
    """Return three signals, newest first, the last withdrawn, with what was said of each."""
    gone = {"state": "withdrawn", "change": None, "causes": ()}
    gone["why_not"] = {"state": "Later rows leave nothing to be signalled there."}
    found = (
        signal(
            "S-chip",
            CHIPPED,
            CHIP,
            "moved up by 4.5 µm",
            streams=(CHIPPED, APART),
            reaction="Stop, and hold.",
        ),
        signal("S-slip", ALL_SIZES, SLIP, "moved up by 4.0 µm"),
        signal("S-gone", CHIPPED, SLIP, "what was signalled here was withdrawn", **gone),
    )
    return tuple(_answered(one, said.get(one.id)) for one in found)


def _answered(one: signals.Signal, response: signals.Response | None) -> signals.Signal:
    if response is None:
        return one
    return replace(
        one, response=response, owner=response.by, state=one.state if response.seen else "answered"
    )


def hold_answer(name: str, became: dict[str, str]) -> hold.Hold:
    """Return two bores each of eight parts: of bore 3 six conform, then one undecided, then one outside."""
    verdicts = [Verdict.CONFORMS] * 6 + [Verdict.UNDECIDED, Verdict.DOES_NOT_CONFORM]
    parts = tuple(
        hold.HeldPart(
            part=str(204000 + i),
            bore=bore,
            measured_at=CHIP[0] + timedelta(minutes=i),
            verdict=verdict if bore == "3" else Verdict.CONFORMS,
            disposition=became.get(str(204000 + i)),
        )
        for i, verdict in enumerate(verdicts)
        for bore in "34"
    )
    ends = {"from_part": "204000", "to_part": "204007"}
    return hold.Hold(as_of=END, sheet=1, signal=name, **ends, parts=parts, caution="Advice only.")


def state_answer(streams: tuple[Stream, ...], budget: alarms.AlarmBudget) -> state.State:
    """Return bore 4's size running low, a correction for bore 2, and the rest to be left alone."""
    found = tuple(_stream_state(one) for one in streams)
    return state.State(as_of=END, sheet=1, spindles=(), streams=found, alarms=budget, notes=())


def _stream_state(one: Stream) -> state.StreamState:
    low = (one.bore, one.feature) == ("4", "diameter")
    step = 2.5 if one.bore == "2" else None
    advice = forecast.StreamAdvice(
        what="correct" if step else "leave it alone",
        by_um=step,
        why="The level is below target.",
        too_much=1.41,
        caution="A qualified person enters a correction.",
    )
    return state.StreamState(
        stream=one,
        bores=100,
        subgroups=20,
        mean_um=11.0,
        sd_within_um=1.7,
        sd_total_um=1.9,
        baseline=None,
        status=state.Status.LOOK,
        open_signals=0,
        bores_to_limit=forecast.BoresLeft(p05=99.0, p50=152.0, p95=None, side="lower") if low else None,
        planned_dressing=PLANNED if low else None,
        advice=(advice,) if one.feature == "diameter" else (),
        why_not={} if low else {"bores_to_limit": "no drift is shown that would reach a limit"},
    )


def first_answer(signed: dict[str, str]) -> first_bores.FirstBores:
    """Return the first bore after a dressing of S2, released once somebody signed."""
    position = first_bores.FirstOfPosition(
        bore="3",
        verdict="run",
        by_um=None,
        more=0,
        probability=0.99,
        mean_um=12.0,
        parts=("204400",),
        new_um=(12.0,),
        verdicts=(Verdict.CONFORMS,),
        old_um=(11.0, 11.5),
        why="The mean is in order.",
    )
    by = signed.get("S2")
    said = f"released by {by}." if by else "run; a named person releases it."
    check = first_bores.SetupCheck(
        spindle="S2",
        change="stones-dressed",
        part_number="HM-214",
        part_before=None,
        changed_at=END - timedelta(hours=1),
        verdict="run",
        sentence=f"S2, first bores after stones dressed: {said}",
        positions=(position,),
        released_by=by,
        released_at=END if by else None,
        why=None,
        caution="A qualified person releases the set-up.",
    )
    return first_bores.FirstBores(as_of=END, sheet=1, checks=(check,))


def wear_of(
    groups: stream.StreamSubgroups, since: datetime, *, centre: float, sigma: float
) -> stream.WearLine:
    """Return a line that falls by half a sigma a day, and one offset of +1.5 µm in the middle."""
    days = (groups.at - to_utc(since)) / np.timedelta64(1, "D")
    level, half = centre - 0.5 * sigma * days, 3 * sigma / 5**0.5
    given = len(groups.at) // 2
    at = to_local(groups.at[given]) if len(groups.at) else since
    return stream.WearLine(
        at=groups.at,
        level_um=level,
        lower_um=level - half,
        upper_um=level + half,
        without_offsets_um=groups.mean_um - 1.5 * (np.arange(len(groups.at)) >= given),
        offsets=(stream.OffsetMark(at=at, um=1.5, by="machine"),),
    )


def to_local(moment: np.datetime64) -> datetime:
    """Return a moment in the invented cell's zone."""
    return moment.item().replace(tzinfo=ZoneInfo("UTC")).astimezone(ZONE)


def split_answer() -> splits.Splits:
    """Return one split that is proposed."""
    one = splits.Split(
        stream=Stream(part_number="HM-214", spindle="S1", bore="1", feature="taper"),
        by="fixture",
        high="P2",
        low="P1",
        high_part="204400",
        low_part="204401",
        effect_sigma=Estimate(value=1.2, low=0.8, high=1.6, confidence=0.95),
        sigma_um=1.4,
        n_high=200,
        n_low=200,
        lasts=True,
        proposed=True,
        write="write `by_fixture = true` under [features.taper]",
        words="S1 bore 1 taper: parts on fixture P2 lie 1.20 sigma (0.80 to 1.60) above those on P1.",
    )
    return splits.Splits(as_of=END, sheet=1, asked=(one,), unasked=())
