"""What a point opens: the bore behind it at its raw readings; and limits frozen by name."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from urllib.parse import parse_qs, urlsplit
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from cellmon.monitor.answers import BaselineSummary
from cellmon.monitor.baseline import StreamBaseline
from cellmon.monitor.state import Status
from cellmon.shifts import to_utc
from dashboards.figures import mean_range
from dashboards.figures.block import block_figure
from dashboards.figures.ribbon import ribbon_figure
from dashboards.figures.seismograph import seismograph_figure
from dashboards.pages import freeze, part, part_bore, saving
from tests.dashboards.hovered import hovered
from tests.dashboards.stand_in import CHIP, END, StandIn, now_answer
from tests.part_answers import story_answer


@pytest.fixture(scope="module")
def monitor():
    return StandIn()


def opened(figure, name):
    """Return the traces of a name that open something, and where their first point leads."""
    found = [t for t in figure["data"] if t.get("name") == name and "opens" in t.get("meta", {})]
    return [(t, t["meta"]["opens"] + t.get("ids", t["customdata"])[0]) for t in found]


def test_every_bore_and_subgroup_of_a_ribbon_opens_its_block_and_tells_its_stones(monitor):
    view = monitor.stream(spindle="S2", bore="3", feature="taper", since=CHIP[0], until=CHIP[1])
    for plain in (False, True):
        figure = ribbon_figure(view, plain=plain)
        for name in ("bores", "means", *(("mean beyond",) if plain else ())):
            ((trace, link),) = opened(figure, name)
            assert parse_qs(urlsplit(link).query) == {"bore": ["3"], "serial": [trace["customdata"][0]]}
            assert len(trace["customdata"]) == len(trace["x"]) == len(trace["text"])
            for told in ("bore 3", trace["customdata"][0], "stones FS-1042", "µm"):
                assert told in hovered(trace, 0), (name, told)


def test_a_point_of_the_pair_and_of_the_chosen_line_opens_its_block(monitor):
    pair = mean_range.pair_of_shift(monitor.shifts().shifts[0])
    ((_, link),) = opened(mean_range.mean_range_figure(pair), "mean")
    assert link.startswith("/part?bore=") and link.endswith(str(pair.part[0]))
    answer = monitor.seismograph()
    chosen = answer.traces[2].stream
    lines = [t for t in seismograph_figure(answer, chosen=chosen)["data"] if "meta" in t]
    assert [t["name"] for t in lines] == [str(chosen)], "other lines choose their stream"
    assert lines[0]["ids"][0] == answer.traces[2].last_part[0]


def test_every_wall_and_every_last_bore_on_now_opens_its_bore():
    now = now_answer(Status.STOP)
    figure = block_figure(now)
    links = {t["meta"]["opens"] for t in figure["data"] if "meta" in t}
    assert links == {f"/part?bore={b.bore}&serial=" for s in now.spindles for b in s.bores}
    wall = next(t for t in figure["data"] if "meta" in t)
    assert "bore 1, 204418" in wall["text"][0] and "stones FS-1042" in wall["text"][0]


def test_the_bore_a_link_names_is_opened_at_its_raw_readings_with_file_and_line(monitor):
    *_, shown, _ = part.show_part(monitor, "?serial=204400&bore=2")
    story = story_answer(END)
    mine = next(m for m in story.measurements if m.bore == "2")
    said = str(shown)
    assert "Bore 2 as it was read" in said
    for origin in mine.origins:
        assert origin.file in said
    assert mine.gauge in said
    *_, none, _ = part.show_part(monitor, "?serial=204400")
    assert none == []
    assert "No bore 77" in str(part_bore.opened(story, "77"))


def test_serials_in_the_table_of_a_figure_are_links_for_keys_and_fingers():
    table, _ = saving.data_table(lambda: {"part": ["A/1"], "bore": ["2"], "value_um": [1.5]})
    assert "/part?bore=2&serial=A%2F1" in str(table)


class Freezing(StandIn):
    """A cell that remembers what it was asked to freeze."""

    def __init__(self):
        super().__init__()
        self.asked = []

    def pooled(self):
        return (replace(self.streams()[0], spindle="S2", bore=None, feature="taper"),)

    def freeze(self, **named):
        self.asked.append(named)
        return SimpleNamespace(baselines=(), waiting=())


def test_limits_are_frozen_only_with_a_name_and_a_reason_and_only_those_meant():
    cell, query = Freezing(), "spindle=S2&bore=3&feature=taper"
    assert freeze.freeze(cell, query, "stream", "new stones", "") == "Say who freezes the limits, and why."
    assert freeze.freeze(cell, query, "stream", " ", "R. Hale") == "Say who freezes the limits, and why."
    assert "frozen with every stream" in freeze.freeze(cell, "spindle=S2&bore=all", "stream", "w", "R. Hale")
    assert cell.asked == []
    freeze.freeze(cell, query, "stream", "new stones", "R. Hale")
    freeze.freeze(cell, query, "all", "the whole cell", "R. Hale")
    assert cell.asked == [
        {
            "by": "R. Hale",
            "why": "new stones",
            "knew": None,
            "spindle": "S2",
            "bore": "3",
            "feature": "taper",
        },
        {"by": "R. Hale", "why": "the whole cell", "knew": None},
    ]


def test_what_a_freeze_would_change_is_said_before_it_is_done():
    stands = BaselineSummary(
        center_um=1.5, sigma_um=0.4, n=90, frozen_at=END, by="R. Hale", provisional=False
    )
    one = StreamBaseline(
        stream=StandIn().streams()[0],
        in_force=stands,
        proposed=replace(stands, center_um=2.0, frozen_at=None, by=None),
        window_from=END - timedelta(days=1),
        window_to=END,
        subgroups=82,
        left_out=3,
        version=1,
    )
    first, second = freeze.lines(one)
    assert "centre +1.50 µm, sigma 0.40 µm, frozen by R. Hale" in first
    assert "centre +2.00 µm" in second and "82 subgroups" in second and "3 left out" in second
    none = replace(one, proposed=None, window_from=None, in_force=None, why_not={"proposed": "too few"})
    assert freeze.lines(none) == [
        "Nothing is called a limit yet.",
        "A freeze would change nothing: too few.",
    ]


@pytest.mark.parametrize("known", [True, False])
@pytest.mark.parametrize("day", [10, 24])  # clocks go back on 25 October 2026: EU directive 2000/84/EC
def test_a_point_of_a_line_tells_size_block_time_on_the_wall_and_stones_where_they_are_known(day, known):
    since, zone = datetime(2026, 10, day, 12, tzinfo=UTC), ZoneInfo("Europe/Berlin")
    moments = [since + i * timedelta(hours=12, minutes=1) for i in range(3)]
    line = replace(
        StandIn().seismograph().traces[2],
        at=np.array([to_utc(moment) for moment in moments]),
        deviation=np.array([0.26, -1.0, 0.0]),
        last_part=np.array(["P1", "P2", "P3"], dtype=object),
        stone_set=np.array(["FS-1", "FS-1" if known else None, "FS-2"], dtype=object),
        signals=(),
    )
    span = {"since": since.astimezone(zone), "until": (since + timedelta(days=2)).astimezone(zone)}
    figure = seismograph_figure(replace(StandIn().seismograph(), traces=(line,), **span))
    drawn = next(t for t in figure["data"] if t["name"] == str(line.stream))
    at = [f"{moment.astimezone(zone):%Y-%m-%d %H:%M}" for moment in moments]
    assert [hovered(drawn, i).split("<br>")[1:] for i in (0, 2, 4)] == [
        ["+0.3 sigma", "to block P1", at[0], "stones FS-1"],
        ["−1.0 sigma", "to block P2", at[1], *["stones FS-1"] * known],
        ["0.0 sigma", "to block P3", at[2], "stones FS-2"],
    ]
