"""Figures are valid, quiet, and say what their answers say; pages answer refusals in a sentence."""

from __future__ import annotations

from datetime import timedelta
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import plotly.graph_objects as go
import pytest
from dash import dcc, html

from cellmon.errors import NotFound
from cellmon.monitor.stream_events import EventMark
from dashboards import theme
from dashboards.app import PAGES, create_app, page_at
from dashboards.figures import flags
from dashboards.figures.block import block_figure
from dashboards.figures.clock import Clock
from dashboards.figures.mean_range import mean_range_figure, pair_of_shift
from dashboards.figures.ribbon import SMALL, ribbon_figure
from dashboards.figures.seismograph import bends_of, seismograph_figure
from dashboards.pages import now, saving, shifts, stream
from tests.dashboards.stand_in import CHIP, END, START, StandIn


@pytest.fixture(scope="module")
def monitor():
    return StandIn()


def graphs(component):
    """Yield every graph of a layout."""
    if isinstance(component, dcc.Graph):
        yield component
    children = getattr(component, "children", None)
    for child in children if isinstance(children, (list, tuple)) else [children]:
        if child is not None and not isinstance(child, str):
            yield from graphs(child)


@pytest.mark.parametrize("page", PAGES, ids=[p.NAME for p in PAGES])
def test_every_graph_keeps_its_data_on_this_machine(page):
    found = list(graphs(page.layout(None)))
    assert bool(found) == (page.NAME != "Files"), "Files alone draws nothing"
    for graph in found:
        assert graph.config == theme.CONFIG, graph.id
        assert graph.style["height"]


def test_a_file_is_named_by_what_was_asked_and_by_no_moment_or_number():
    query = "?spindle=S1&bore=2&feature=ovality&fixture=P%2F2"
    moment = "2026-10-25T06:02:00+01:00"
    assert theme.file_words(query, "two days", moment, 3, None) == "S1-bore-2-ovality-P-2-two-days"
    drawn = theme.asked(theme.notice(""), "2026-10-24/night", "../S 1")
    assert drawn["layout"]["meta"]["named"] == "2026-10-24-night-S-1"


def test_every_figure_is_valid(monitor):
    view = monitor.stream(
        spindle="S2", bore="3", feature="taper", since=CHIP[0] - timedelta(hours=4), until=CHIP[1]
    )
    for figure in (
        ribbon_figure(view),
        ribbon_figure(view, plain=True),
        ribbon_figure(view, unaided=True, room=SMALL),
        mean_range_figure(pair_of_shift(monitor.shifts().shifts[0])),
        seismograph_figure(monitor.seismograph()),
        block_figure(monitor.now()),
        theme.notice("nothing yet"),
    ):
        go.Figure(figure)


def test_the_ribbon_marks_every_point_beyond_and_no_other(monitor):
    view = monitor.stream(spindle="S2", bore="3", feature="taper", since=CHIP[0], until=CHIP[1])
    traces = {t.get("name"): t for t in ribbon_figure(view, plain=True)["data"]}
    beyond = [str(p) for p, b in zip(view.subgroups.last_part, view.subgroups.beyond_mean, strict=True) if b]
    assert beyond
    assert traces["mean beyond"]["customdata"] == beyond


def test_signals_close_together_share_one_bend(monitor):
    for bend in bends_of(monitor.seismograph().traces):
        assert bend.count >= 1
    assert sum(b.count for b in bends_of(monitor.seismograph().traces)) == sum(
        len(t.signals) for t in monitor.seismograph().traces
    )


def test_a_refusal_is_a_sentence_on_every_page():
    class Refusing(StandIn):
        def now(self):
            raise NotFound("nothing was taken yet")

        def shifts(self, feature=None, shift=None):
            raise NotFound("nothing was taken yet")

        def streams(self):
            raise NotFound("nothing was taken yet")

    refusing = Refusing()
    assert "nothing was taken yet" in str(now.show_now(refusing))
    assert "nothing was taken yet" in str(shifts.show_shift(refusing, None, None))
    assert "nothing was taken yet" in str(stream.show_stream(refusing, None, "two", None, "none"))


def test_the_stream_page_says_what_the_rule_costs(monitor):
    words = str(stream.show_stream(monitor, "spindle=S1&bore=1&feature=diameter", "two", None, "none")[-1])
    assert "2.0 false alarms a week" in words
    assert "would make 133" in words


def test_an_unknown_path_gets_a_sentence_and_the_pages():
    links, main, _ = page_at("/nowhere", None)
    assert [link.children for link in links] == [p.NAME for p in PAGES]
    assert isinstance(main, html.Main)
    assert "no page here" in str(main)


def test_two_apps_in_one_process_do_not_share_their_callbacks():
    one, two = create_app(StandIn()), create_app(StandIn())
    assert one is not two
    assert len(one.callback_map) == len(two.callback_map) > 0


def test_what_has_no_data_is_no_file_and_says_so():
    _, said = saving.saved(saving.csv_of, "now-block", dict, "2026-10-25T06:02")
    assert said == "There are no data behind this, so there is no file."
    columns = {"bore": ["1"]}
    content, name = saving.csv_of("now-block", lambda query: columns, "2026-10-25T06:02", "?bore=1")
    assert (content, name) == (b"bore\n1\n", "cellmon-now-block-bore-1-2026-10-25T0602.csv")


def test_saved_tables_carry_no_formula():
    text = saving.csv_text({"words": ["=1+1", "plain", "-x"], "value": [1.0, float("nan"), -2.5]})
    assert text == "words,value\n'=1+1,1.0\nplain,\n'-x,-2.5\n"


def test_the_span_of_the_stand_in_holds_its_faults():
    assert START < CHIP[0] < END


def test_the_words_of_flags_begin_beyond_the_last_flag_they_name():
    since = START
    marks = [
        EventMark(at=since + timedelta(minutes=m), kind="rerouted", words=words)
        for m, words in ((600, "hones 1 2 3 4"), (630, "back to its own bores"))
    ]
    clock = Clock(since=since, until=since + timedelta(minutes=1000), zone=ZoneInfo("Europe/Berlin"))
    view = SimpleNamespace(events=marks)
    (named,) = flags.names(view, clock, width=1000, beside=0)
    assert named["text"] == "hones 1 2 3 4, back to its own bores"
    assert named["x"] == clock.x(marks[-1].at), "however wide the drawing is"
    half = 11 * 2**0.5 / 2 + 1.2  # of a diamond drawn at 11 pixels, corner to corner, with its line
    assert named["xshift"] == flags.BESIDE_PX
    assert half < flags.BESIDE_PX
