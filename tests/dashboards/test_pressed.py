"""A press sent again because its answer was lost: told that it was kept, and done once."""

from __future__ import annotations

import pytest

from dashboards.app import create_app
from tests.dashboards.test_live import settled
from tests.dashboards.visitors import Visitor, body_of
from tests.monitor.test_decisions import jump
from tests.small_cell import HEADER, new_cell, rows, write

STILL_MS = 2500
"""So long what is pressed again is the same press (`unheard.js`), and some more."""
NAME = "0123456789abcdef" * 2


@pytest.fixture(scope="module")
def cell(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pressed")
    opened = new_cell(folder / "cell")
    opened.take([write(folder, "rows.csv", HEADER, rows(jump_at=95))])
    yield opened
    opened.close()


def pressed(app, press: str, by: str, about: str, name: str):
    """Press a button of the form that answers a signal, under a name."""
    body = body_of(app, "signals-said", asks="signals-seen")
    values = {press: 1, "signals-by": by, "signals-chosen": about}
    for one in (*body["inputs"], *body["state"]):
        one["value"] = values.get(one["id"])
    body["changedPropIds"] = [f"{press}.n_clicks"]
    visitor = Visitor(app, address="127.0.0.1", base="http://127.0.0.1:8050")
    return visitor.post("/_dash-update-component", json=body, headers={"Cellmon-Press": name})


def test_a_press_that_comes_again_under_its_name_is_answered_and_not_done(cell):
    app, about = create_app(cell), jump(cell).id
    first = pressed(app, "signals-seen", "A. Weber", about, NAME)
    again = pressed(app, "signals-seen", "A. Weber", about, NAME)
    for one, words in ((first, "Kept: Seen by A. Weber"), (again, "This was kept the first time")):
        assert one.get_json()["response"]["signals-said"]["children"].startswith(words)
        assert one.headers["Cellmon-Kept"] == "1"
    assert [one.by for one in cell.journal().entries] == ["A. Weber"]
    refused = pressed(app, "signals-answer", "A. Weber", about, NAME[::-1])
    assert "Cellmon-Kept" not in refused.headers, "what was refused is pressed again under its name"


@pytest.mark.browser
@pytest.mark.parametrize("lost", ["on its way back", "before it came"])
def test_who_presses_again_after_a_lost_answer_hears_that_it_was_kept_and_it_was_kept_once(
    look, serve, cell, lost
):
    before = len(cell.journal().entries)
    watched = look(serve(cell))
    page, names = watched.page, []

    def lose(route) -> None:
        if '"signals-seen.n_clicks"' not in route.request.post_data:
            route.continue_()
            return
        names.append(route.request.headers["cellmon-press"])
        if len(names) > 1:
            route.continue_()
            return
        if lost == "on its way back":
            route.fetch()  # the server does it
        route.abort()

    page.goto(f"{watched.address}/signals?signal={jump(cell).id}")
    page.wait_for_selector("#signals-seen", state="visible")
    settled(page)
    page.route("**/_dash-update-component*", lose)
    page.fill("#signals-by", "B. Ito")
    says = "words => document.querySelector('#signals-said').innerText.includes(words)"
    for heard in ("No answer came", "kept the first time" if lost == "on its way back" else "Seen by B. Ito"):
        page.click("#signals-seen")
        page.wait_for_function(says, arg=heard)
        settled(page)
    assert len(cell.journal().entries) == before + 1 and names[0] == names[1]
    page.wait_for_timeout(STILL_MS)
    with page.expect_response(lambda one: len(names) == 3):
        page.click("#signals-seen")
    page.unroute_all(behavior="ignoreErrors")
    assert names[2] != names[1], "what is pressed after it was heard of is another press"
    watched.complaints[:] = [c for c in watched.complaints if "net::" not in c]
