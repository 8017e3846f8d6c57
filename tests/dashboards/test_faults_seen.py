"""What a person sees of the planted faults: the page and its marked points, in a real Chromium.

Each fault is also taken out of the simulation, all random numbers unchanged; the marks must go with it.
"""

from __future__ import annotations

import pytest

from cellmon.simulate.harrowmere import harrowmere_week

# fault, stream of the page, end of the eight hours shown, mark, and how many marked points tell it
SEEN = [
    ("F1", "spindle=S2&bore=3&feature=diameter", "2026-10-20T14:00:00+02:00", "mean beyond", 2),
    ("F2", "spindle=S2&bore=4&feature=taper", "2026-10-21T22:00:00+02:00", "mean beyond", 5),
    ("F3", "spindle=S1&bore=1&feature=ovality&fixture=P2", "2026-10-22T14:00:00+02:00", "mean beyond", 5),
    ("F4", "spindle=S1&bore=1&feature=diameter", "2026-10-22T22:00:00+02:00", "mean beyond", 3),
]


def parts_of(fault: str) -> tuple[str, str]:
    """Return the first and last serial made while a fault was on."""
    from cellmon.simulate.harrowmere import SEED
    from cellmon.simulate.line import run

    found = run(harrowmere_week(), seed=SEED).truth.of(fault).parts
    return min(found), max(found)


def marked(look, address, query, until, name, *, plain: bool) -> list[str]:
    """Return the parts that the page marks, with plain limits or with those that follow the wear."""
    page = look(address)
    page.open(f"/stream?{query}&until={until.replace('+', '%2B')}", "stream-ribbon")
    page.page.click("text=a shift")
    if plain:
        page.page.click('text="plain"')
        page.page.wait_for_function(
            "() => !document.querySelector('#stream-ribbon .js-plotly-plot').data"
            ".some(t => t.name === 'wear line')"
        )
    page.page.wait_for_function(
        "() => document.querySelector('#stream-ribbon .js-plotly-plot').layout.xaxis.range !== undefined"
    )
    page.page.wait_for_timeout(700)
    return page.trace("stream-ribbon", name)


SLOW = [pytest.param(*seen, id=seen[0], marks=[pytest.mark.slow] if seen[0] != "F1" else []) for seen in SEEN]
"""Each takes a cell of its own; one is enough every day."""


@pytest.mark.browser
@pytest.mark.parametrize(("fault", "query", "until", "name", "least"), SLOW)
def test_the_fault_is_marked_and_its_absence_is_not(
    make_cell, cell, serve, look, fault, query, until, name, least
):
    first, last = parts_of(fault)

    def inside(serials: list[str]) -> list[str]:
        return [s for s in serials if first <= s <= last]

    there, without = serve(cell), serve(make_cell(fault))
    with_fault = inside(marked(look, there, query, until, name, plain=True))
    assert len(with_fault) >= least, with_fault
    without_fault = inside(marked(look, without, query, until, name, plain=True))
    assert len(without_fault) <= len(with_fault) // 3, (with_fault, without_fault)
    called = inside(marked(look, there, query, until, "signals", plain=False))
    assert len(called) == 1, called
    assert inside(marked(look, without, query, until, "signals", plain=False)) == []
