"""A page can be read before a script has run: what it begins with stands in the document."""

from __future__ import annotations

import time
from dataclasses import replace
from html import escape
from threading import Event
from types import SimpleNamespace

import pytest

from cellmon import lengths
from cellmon.errors import CellmonError
from cellmon.lengths import Shown
from cellmon.monitor.status import Status
from dashboards.app import create_app
from dashboards.first_said import NAME, first_said, in_time
from dashboards.kept import kept
from dashboards.pages import (
    claims,
    files,
    gauge,
    now,
    part,
    parts,
    shifts,
    signal_list,
    signals,
    stones,
    stream,
)
from tests.dashboards.stand_in import StandIn


@pytest.fixture(scope="module")
def client():
    return create_app(StandIn()).server.test_client()


def test_the_document_of_now_holds_every_sentence_ahead_of_the_scripts(client):
    document = client.get("/").get_data(as_text=True)
    said, scripts = document.index(f'id="{NAME}"'), document.index('<script src="/_dash')
    footer = document.index("<footer>")
    assert said < footer < scripts
    for one in StandIn().now().spindles:
        assert f"{one.spindle} · {one.status.value}" in document[said:footer]
    assert document.count('class="sentence"') == len(StandIn().now().spindles)


@pytest.fixture(scope="module")
def week(read_week):
    return kept(read_week)


@pytest.mark.parametrize(
    ("page", "shown"),
    [
        (signals, lambda m: signal_list.show_list(m, None)[0]),
        (shifts, lambda m: shifts.show_shift(m, None, None)[0]),
        (stream, lambda m: stream.show_stream(m, None, "two", None, "none")[0]),
        (part, lambda m: part.show_part(m, None)[0]),
        (claims, lambda m: claims.show_claims(m, "diameter", None)[0]),
        (stones, lambda m: stones.show_answer(m)[0]),
        (gauge, lambda m: gauge.show_study(m, None, None)[0]),
        (files, lambda m: files.show(m, None)[0]),
    ],
)
def test_every_other_page_begins_with_the_sentence_it_shows_later(week, page, shown):
    assert first_said(week, page.PATH) == f'<div id="{NAME}"><p class="lead">{escape(shown(week))}</p></div>'


def test_the_sentence_is_that_of_what_the_link_names(week):
    first, second = (parts.stream_query(one) for one in week.streams()[:2])
    assert first_said(week, stream.PATH, second) != first_said(week, stream.PATH, first)
    shift = str(week.shifts().known[0])
    told = shifts.show_shift(week, shift, None)[0]
    assert escape(told) in first_said(week, shifts.PATH, f"shift={shift}")


def test_only_pages_begin_with_words(client):
    assert NAME not in client.get("/nowhere").get_data(as_text=True)


def test_a_document_does_not_wait_for_words_that_take_long():
    may_go_on = Event()
    began = time.monotonic()
    assert in_time(lambda: "late" if may_go_on.wait(20) else "", within=0.05) == ""
    assert time.monotonic() - began < 10
    may_go_on.set()
    assert in_time(lambda: "soon", within=20) == "soon"


def test_words_are_asked_in_the_name_and_the_lengths_of_the_request():
    with lengths.shown_in(Shown.INCH):
        assert in_time(lambda: str(lengths.shown()), within=20) == str(Shown.INCH)


@pytest.mark.parametrize(("page", "ask"), [(now, StandIn.now), (signals, StandIn.signals)])
def test_a_cell_that_refuses_says_why_there(page, ask):
    with pytest.raises(CellmonError) as refused:
        ask(StandIn(fails=True))
    told = escape(parts.capital(str(refused.value)))
    assert (
        first_said(StandIn(fails=True), page.PATH) == f'<div id="{NAME}"><p class="notice">{told}</p></div>'
    )


def test_what_people_typed_cannot_become_markup():
    one = StandIn().now().spindles[0]
    hostile = replace(one, spindle="<script>", sentence="<script>alert(1)</script>", status=Status.LOOK)
    said = first_said(SimpleNamespace(now=lambda: SimpleNamespace(spindles=(hostile,))))
    assert "<script" not in said and "&lt;script&gt;" in said
