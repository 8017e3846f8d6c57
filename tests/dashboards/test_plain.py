"""What is only shown, put up as one element, stands on a page as Dash itself would put it up."""

from pathlib import Path

import pytest
from dash import Dash, Input, Output, dcc, html
from waitress.server import create_server

import dashboards
from dashboards.first_said import Board
from dashboards.plain import told
from tests.dashboards.serving import served

ASSETS = str(Path(dashboards.__file__).parent / "assets")
ENDED = "() => !document.querySelector('[data-dash-is-loading]') && document.querySelector('#other > *')"


def shown(number: int) -> list:
    """Return a bit of every sort of thing that pages show, as the answer of that number."""
    head = html.Thead(html.Tr([html.Th("name", scope="col", colSpan=2), html.Th("<b>µm</b>")]))
    rows = [
        html.Tr([html.Td(f"row {i}", className="moved" if i == number else ""), html.Td(i / 4)])
        for i in range(3)
    ]
    entries = [
        html.Li(dcc.Link(f"S{i} & more", href=f"/signals?a=%20{i}#there", title="t")) for i in range(2)
    ]
    fold = html.Details(
        [html.Summary("why"), html.Dl([html.Dt("a"), html.Dd(None)])], **{"data-fold": f"f{number}"}
    )
    field = html.Label(["typed ", dcc.Input(id="typed-one", value="x"), html.B("unit"), " said"])
    return [
        f"words {number}",
        html.Table([html.Caption("said"), head, html.Tbody(rows)], style={"maxWidth": "30px", "--own": "1"}),
        html.Ul(entries, role="list", **{"aria-label": "signals", "data-roves": "true"}),
        "between",
        fold,
        html.Div(html.Time("now", dateTime="2026-11-28"), tabIndex="0", hidden=number == 1, lang="de"),
        html.Section(
            [html.P("before"), field, html.P("after"), html.A("away", href="/x.csv", download="x.csv")]
        ),
    ]


def renamed(part: list, to: str) -> list:
    """Return what is shown with the one name in it made another, so that both can stand on a page."""
    part[-1].children[1].children[1].id = to
    return part


@pytest.fixture(scope="module")
def address():
    """A page that shows the same twice: as it goes out ready, and as Dash itself does it."""
    app = Board("plain", assets_folder=ASSETS, suppress_callback_exceptions=True)
    stores = [dcc.Location(id="url", refresh=False), html.Button("next", id="next")]
    app.layout = html.Div([*stores, html.Div(id="one"), html.Div(id="other")])

    @app.callback(Output("one", "children"), Input("next", "n_clicks"))
    def _(number):
        return shown(number or 0)

    @Dash.callback(app, Output("other", "children"), Input("next", "n_clicks"))
    def _(number):
        return renamed(shown(number or 0), "typed-other")

    with served(create_server(app.server, host="127.0.0.1", port=0)) as port:
        yield f"http://127.0.0.1:{port}"


def both(page) -> tuple[str, str]:
    page.wait_for_function(ENDED)
    one, other = (page.inner_html(f"#{name}") for name in ("one", "other"))
    return one, other.replace("typed-other", "typed-one")


def test_what_is_only_shown_stands_as_dash_itself_would_put_it_up(address, look):
    page = look(address).page
    page.goto(address)
    one, other = both(page)
    assert one == other
    page.click("#next")
    page.wait_for_selector("#one:has-text('words 1')")
    page.wait_for_selector("#other:has-text('words 1')")
    one, other = both(page)
    assert one == other


def test_a_link_among_what_is_only_shown_changes_the_page_not_the_document(address, look):
    page = look(address).page
    page.goto(address)
    both(page)
    page.evaluate("() => { window.stays = true; }")
    page.click("#one li a >> nth=1")
    page.wait_for_function("() => location.search === '?a=%201'")
    assert page.evaluate("() => [location.pathname, location.hash, window.stays]") == [
        "/signals",
        "#there",
        True,
    ]


def test_an_element_with_a_name_stays_dashs_own_and_its_neighbours_are_gathered():
    wired = html.Div([html.P("a"), "b", html.P("c"), html.Button("d", id="press"), "e", html.P("f")])
    inside = told(wired)["props"]["children"]
    assert [one["type"] for one in inside] == ["Plain", "Button", "Plain"]
    assert inside[0]["props"]["tree"] == [["p", {}, "a"], "b", ["p", {}, "c"]]
    assert inside[2]["props"]["tree"] == ["e", ["p", {}, "f"]]
    assert told(["only", "words"]) == ["only", "words"]
    assert told(html.P(id="named"))["type"] == "P"
    assert told(html.P("said", id="named"))["props"]["children"] == "said"
