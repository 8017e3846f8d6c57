"""A comparison as a monitor would give it, for tests of the command and of exports."""

from __future__ import annotations

from datetime import datetime, timedelta

from cellmon.monitor.answers import Estimate
from cellmon.monitor.compare import ComparedSide, ComparedStream, Comparison, Lives
from cellmon.monitor.compare.lives import StoneLife
from cellmon.monitor.compare.streams import SideFigures
from cellmon.records import Stream


def compare_answer(at: datetime, size: Stream, *, sheet: int) -> Comparison:
    """Return two stone sets, one still running, that differ in the level of one stream."""
    one, two = (
        ComparedSide(
            name=f"set {name}",
            first_at=at - timedelta(days=2),
            last_at=at,
            bores=bores,
            doubted=doubted,
            stone_sets=(name,),
        )
        for name, bores, doubted in (("FS-1", 5000, 12), ("FS-2", 4100, 0))
    )
    known = ComparedStream(
        stream=size,
        first=SideFigures(bores=2500, stretches=12, cut=False, mean_um=11.72, sd_within_um=1.75),
        second=SideFigures(bores=2050, stretches=9, cut=False, mean_um=10.41, sd_within_um=1.81),
        level_um=Estimate(value=-1.31, low=-1.9, high=-0.72, confidence=0.9875),
        spread_ratio=Estimate(value=1.034, low=0.96, high=1.12, confidence=0.9875),
        differs=("level",),
        at_bores_since_dressing=180.4,
        slope_um_per_100_bores=-1.2,
        words="1.31 µm lower (0.72 to 1.90)",
    )
    unknown = ComparedStream(
        stream=Stream(part_number=size.part_number, spindle=size.spindle, bore=size.bore, feature="taper"),
        first=SideFigures(bores=12, stretches=2, cut=True, mean_um=0.7, sd_within_um=None),
        second=SideFigures(bores=9, stretches=0, cut=False, mean_um=0.9, sd_within_um=None),
        level_um=None,
        spread_ratio=None,
        differs=(),
        at_bores_since_dressing=None,
        slope_um_per_100_bores=None,
        words="cannot be told",
        why_not=dict.fromkeys(
            ("level_um", "spread_ratio"), "undoubted bores of each side: need at least 20, got 9"
        ),
    )
    life = {"spindle": "S1", "fitted_at": at - timedelta(days=2)}
    ended = StoneLife(
        stone_set="FS-1", ended_at=at, bores=5012, whole=True, words="FS-1 honed 5,012 bores", **life
    )
    running = StoneLife(
        stone_set="FS-2",
        ended_at=None,
        bores=4100,
        whole=False,
        words="FS-2 honed at least 4,100 bores, it is still on the spindle",
        **life,
    )
    return Comparison(
        as_of=at,
        sheet=sheet,
        sentence=f"set FS-2 against set FS-1: 1 of 1 streams differ: {size} 1.31 µm lower (0.72 to 1.90).",
        first=one,
        second=two,
        confidence=0.95,
        each=0.9875,
        comparisons=4,
        streams=(known, unknown),
        lives=Lives(
            first=(ended,),
            second=(running,),
            ratio=None,
            sentence="Stone life: FS-1 honed 5,012 bores; FS-2 honed at least 4,100 bores. No interval: why.",
        ),
        notes=("4 comparisons: each interval is at 98.75 %",),
    )
