"""One server after another at one address: what is of the first must not reach the tests of the second."""

from __future__ import annotations

import pytest

from tests.dashboards.serving import dashboard

KEEP = "() => { localStorage.setItem('cellmon-dress', 'dark'); }"
KEPT = "() => localStorage.getItem('cellmon-dress')"


@pytest.mark.browser
def test_what_pages_kept_is_forgotten_where_another_server_has_their_place(look, cell):
    addresses = []
    for _ in range(2):
        with dashboard(cell) as address:
            page = look(address).page
            page.goto(f"{address}/files")
            assert page.evaluate(KEPT) is None
            page.evaluate(KEEP)
            page.reload()
            assert page.evaluate(KEPT) == "dark", "until then it stays"
            page.goto("about:blank")
        addresses.append(address)
    assert addresses[0] == addresses[1]


@pytest.mark.browser
def test_the_browser_has_a_mouse_that_hovers(look):
    page = look("about:").page
    assert page.evaluate("() => matchMedia('(hover: hover) and (pointer: fine)').matches")
