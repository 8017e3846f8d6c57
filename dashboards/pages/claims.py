"""Claims: may this capability statement be signed, and what forbids it? For the quality lead."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, State, dcc, html, no_update

from cellmon import lengths
from cellmon.errors import CellmonError
from cellmon.export.capability_book import write_capability_book
from cellmon.export.capability_paper import capability_head, capability_leaves
from cellmon.export.paper import pdf
from cellmon.lengths import Shown
from cellmon.monitor.capability import CapabilityAnswer
from cellmon.monitor.capability_stream import StreamCapability
from cellmon.monitor.capability_words import (
    claim_words,
    index_sentence,
    model_words,
)
from cellmon.records import Stream
from cellmon.records.words import feature_words
from cellmon.words import say, to_say
from dashboards import theme
from dashboards.figures import edges
from dashboards.pages import claims_signed, claims_tables, opened_by, parts, saving, written
from dashboards.pages.claims_link import EVERY, feature_of, link_of
from dashboards.pages.saving import Made

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

PATH = "/claims"
NAME = to_say("Claims")
SENTENCE, FEATURE, STREAM, LISTED = "claims-sentence", "claims-feature", "claims-stream", "claims-listed"
EDGES, HEADING, WORDS = "claims-edges", "claims-heading", "claims-words"
EMPTY_PX = 120
"""Height of a drawing that says that there is none."""
PAPER, BOOK, FILES = "claims-pdf", "claims-xlsx", "claims"
CAPTION = to_say(
    "Left: each bore from its least to its greatest size, a dot at the figure charted; ring: beyond a limit. "
    "Right, or below on a narrow screen: only the edges, enlarged. Hatched: the guard band."
)


def layout(query: str | None = None) -> html.Main:
    """Return the page before its answers have come; a link may name the stream."""
    named = feature_of(query)
    return html.Main(
        [
            parts.lead(SENTENCE),
            opened_by.layout(PATH, query),
            html.Div(
                [
                    parts.field(
                        say("Feature"),
                        parts.dropdown(
                            FEATURE,
                            clearable=False,
                            value=named,
                            options=[{"label": feature_words(named), "value": named}],
                        ),
                    ),
                    parts.field(say("Stream"), parts.dropdown(STREAM, clearable=False), wide=True),
                ],
                className="controls",
            ),
            html.H2(id=HEADING),
            parts.figure_box(EDGES, height=edges.HEIGHT, caption=say(CAPTION), told_by=HEADING),
            html.Div(id=WORDS),
            html.H2(say("Every stream of the feature")),
            html.Div(id=LISTED),
            saving.save_table(LISTED),
            html.P(
                [
                    html.Span(
                        [
                            say("Save these streams to be signed"),
                            html.Button("PDF", id=PAPER),
                            html.Button("XLSX", id=BOOK),
                        ],
                        className="take",
                    ),
                    parts.why_not(FILES),
                    dcc.Download(id=f"{FILES}-file"),
                ]
            ),
            claims_signed.layout(),
        ]
    )


def feature_options(monitor: Monitor) -> list[dict[str, str]]:
    """Return the features that have streams, and all of them."""
    try:
        names = dict.fromkeys(s.feature for s in monitor.streams())
    except CellmonError:
        return []
    every = [{"label": say("all features"), "value": EVERY}]
    return [{"label": feature_words(name), "value": name} for name in names] + every


def answer_of(monitor: Monitor, feature: str | None) -> CapabilityAnswer:
    """Return the capability of the streams of one feature, or of all; refusals as the monitor's."""
    return monitor.capability(feature=None if feature in (None, EVERY) else feature)


def stream_options(monitor: Monitor, feature: str | None, value: str | None, search: str | None) -> list[Any]:
    """Return the streams to choose from; the one of the link, else that with the smallest index, at first."""
    try:
        rows = answer_of(monitor, feature).capability
    except CellmonError:
        return [[], no_update]
    options = parts.stream_options([r.stream for r in rows])
    values = [o["value"] for o in options]
    if value in values or not rows:
        return [options, no_update]
    return [options, parts.stream_query(_named(rows, search) or _worst(rows).stream)]


def _named(rows: Sequence[StreamCapability], search: str | None) -> Stream | None:
    asked = parts.query_values(search)
    if not any(key in asked for key in parts.STREAM_KEYS):
        return None
    try:
        return parts.stream_named([r.stream for r in rows], search)
    except CellmonError:
        return None


def _worst(rows: Sequence[StreamCapability]) -> StreamCapability:
    known = [r for r in rows if r.ppk is not None and r.ppk.value is not None]
    return min(known, key=lambda r: r.ppk.value if r.ppk and r.ppk.value else 0.0, default=rows[0])


def show_claims(monitor: Monitor, feature: str | None, query: str | None) -> list[Any]:
    """Return the sentence, the table of claims, and what is known by them."""
    try:
        answer = answer_of(monitor, feature)
    except CellmonError as refusal:
        return [str(refusal), [], {}]
    looked = {"decided": answer.decided}
    if not answer.capability:
        return [answer.sentence, [], looked]
    table = claims_tables.claims_table(answer, query, path=PATH)
    return [answer.sentence, parts.across(table, say("Every stream of the feature")), looked]


def show_stream(monitor: Monitor, feature: str | None, query: str | None) -> list[Any]:
    """Return the heading, the words and the figure of one stream."""
    nothing = theme.notice(say("Choose a stream."), height=edges.HEIGHT)
    try:
        answer = answer_of(monitor, feature)
        if not answer.capability:
            nothing = theme.notice(say("There is nothing to draw yet."), height=EMPTY_PX)
        row = row_of(answer, query)
        if row is None:
            return ["", [], nothing]
        picture = monitor.capability_picture(row.stream)
    except CellmonError as refusal:
        return ["", [], theme.notice(str(refusal), height=edges.HEIGHT)]
    words = [
        *claims_signed.line(row),
        html.Ul([html.Li(reason) for reason in row.reasons], className="lines"),
        html.P(index_sentence(row, confidence=answer.confidence), className="told"),
        parts.across(claims_tables.indices_table(row), say("Indices of this stream")),
        html.P(model_words(row, picture.tolerance, picture.unit), className="aside"),
    ]
    heading = f"{parts.capital(picture.name)} · {claim_words(row, required=answer.required)}"
    return [heading, words, theme.asked(edges.edges_figure(picture), query)]


def row_of(answer: CapabilityAnswer, query: str | None) -> StreamCapability | None:
    """Return the stream a query names; None where it names none of these."""
    if not query:
        return None
    return next((r for r in answer.capability if parts.stream_query(r.stream) == query), None)


def table_rows(monitor: Monitor, feature: str | None) -> dict[str, Any]:
    """Return the table of claims as columns."""
    from cellmon.export.tables import capability_table

    return dict(saving.columns_of(capability_table(answer_of(monitor, feature), zone=parts.zone_of(monitor))))


def picture_rows(monitor: Monitor, feature: str | None, query: str | None) -> dict[str, Any]:
    """Return the bores of the chosen stream as columns."""
    row = row_of(answer_of(monitor, feature), query)
    return {} if row is None else dict(edges.rows(monitor.capability_picture(row.stream)))


@lengths.shown_in(Shown.MM)
def made(monitor: Monitor, feature: str | None, kind: str) -> Made:
    """Return the streams of a feature as a file to be signed: pdf, or xlsx with the raw bores.

    Refusals are those of the monitor.
    """
    answer = monitor.submission(feature=None if feature in (None, EVERY) else feature)
    name = f"capability-{feature or EVERY}-{answer.as_of:%Y-%m-%d-%H%M}.{kind}"
    if kind == "pdf":
        return pdf(capability_leaves(answer), head=capability_head(answer)), name
    with tempfile.TemporaryDirectory() as folder:
        path = write_capability_book(answer, Path(folder) / name, zone=parts.zone_of(monitor))
        return path.read_bytes(), name


def register(app: Dash, monitor: Monitor) -> None:
    """Wire the page."""
    changed, feature, stream = Input(parts.CHANGE, "data"), Input(FEATURE, "value"), Input(STREAM, "value")
    feature_now, stream_now = State(FEATURE, "value"), State(STREAM, "value")

    @app.callback(Output(FEATURE, "options"), changed)
    def _(change: int) -> list[Any]:
        return feature_options(monitor)

    @app.callback(
        Output(STREAM, "options"),
        Output(STREAM, "value"),
        changed,
        feature,
        stream_now,
        State(parts.URL, "search"),
    )
    def _(change: int, feature: str | None, value: str | None, search: str | None) -> list[Any]:
        return stream_options(monitor, feature, value, search)

    shown = Output(SENTENCE, "children"), Output(LISTED, "children")

    @app.callback(*shown, written.looked_at(claims_signed.SAID), changed, feature, stream)
    def _(change: int, feature: str | None, query: str | None) -> list[Any]:
        return show_claims(monitor, feature, query)

    @app.callback(
        Output(HEADING, "children"),
        Output(WORDS, "children"),
        Output(EDGES, "figure"),
        changed,
        feature,
        stream,
    )
    def _(change: int, feature: str | None, query: str | None) -> list[Any]:
        return show_stream(monitor, feature, query)

    @app.callback(
        Output(FEATURE, "value"),
        Output(STREAM, "value", allow_duplicate=True),
        Input(parts.URL, "search"),
        feature_now,
        stream_now,
        prevent_initial_call=True,
    )
    def _(search: str | None, named: str | None, query: str | None) -> list[Any]:
        return linked(monitor, search, named, query)

    @app.callback(
        Output(parts.URL, "search", allow_duplicate=True),
        feature,
        stream,
        State(parts.URL, "search"),
        prevent_initial_call=True,
    )
    def _(named: str | None, query: str | None, search: str | None) -> Any:
        return link_of(named, query, search)

    claims_signed.register(app, monitor, FEATURE, EVERY)
    opened_by.register(app, monitor, PATH, lambda m, query: parts.stream_named(m.streams(), query))
    saving.register_file(app, PAPER, FILES, lambda f: made(monitor, f, "pdf"), feature_now)
    saving.register_file(app, BOOK, FILES, lambda f: made(monitor, f, "xlsx"), feature_now)
    saving.register_saving(app, EDGES, lambda f, q: picture_rows(monitor, f, q), feature_now, stream_now)
    saving.register_table(app, LISTED, lambda f: table_rows(monitor, f), feature_now)


def linked(monitor: Monitor, search: str | None, feature: str | None, query: str | None) -> list[Any]:
    """Return feature and stream that a link on this page names, each where it is not chosen already."""
    asked = feature_of(search)
    try:
        stream = _named(answer_of(monitor, asked).capability, search)
    except CellmonError:
        return [no_update, no_update]
    if stream is None:
        return [no_update, no_update]
    named = parts.stream_query(stream)
    return [no_update if asked == feature else asked, no_update if named == query else named]
