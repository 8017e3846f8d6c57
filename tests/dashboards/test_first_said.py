"""Now can be read before a script has run: its sentences stand in the document."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import pytest

from cellmon.monitor.status import Status
from dashboards.app import create_app
from dashboards.first_said import NAME, first_said
from tests.dashboards.stand_in import StandIn


@pytest.fixture(scope="module")
def client():
    return create_app(StandIn()).server.test_client()


def test_the_document_of_now_holds_every_sentence_ahead_of_the_scripts(client):
    document = client.get("/").get_data(as_text=True)
    said, scripts = document.index(f'id="{NAME}"'), document.index("plotly") if "plotly" in document else None
    footer = document.index("<footer>")
    assert said < footer and (scripts is None or said < scripts)
    for one in StandIn().now().spindles:
        assert f"{one.spindle} · {one.status.value}" in document[said:footer]
    assert document.count('class="sentence"') == len(StandIn().now().spindles)


def test_no_other_page_begins_with_them(client):
    assert NAME not in client.get("/signals").get_data(as_text=True)


def test_a_cell_that_refuses_says_nothing_there():
    assert first_said(StandIn(fails=True)) == ""


def test_what_people_typed_cannot_become_markup():
    one = StandIn().now().spindles[0]
    hostile = replace(one, spindle="<script>", sentence="<script>alert(1)</script>", status=Status.LOOK)
    said = first_said(SimpleNamespace(now=lambda: SimpleNamespace(spindles=(hostile,))))
    assert "<script" not in said and "&lt;script&gt;" in said
