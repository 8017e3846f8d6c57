"""The tables of the claims page: every stream with its claim, and one stream's indices."""

from __future__ import annotations

from typing import Any

from dash import dcc, html

from cellmon import local
from cellmon.monitor.capability import CapabilityAnswer
from cellmon.monitor.capability_stream import StreamCapability
from cellmon.monitor.capability_words import (
    between,
    down,
    index_lines,
    interval_head,
    ppm,
)
from cellmon.records import stream_names
from cellmon.words import say
from dashboards.figures.terms import term
from dashboards.pages import parts


def claims_table(answer: CapabilityAnswer, query: str | None, *, path: str) -> html.Table:
    """Return every stream, a link at `path`, with its index, what may be claimed, and what is against it."""
    names = stream_names([r.stream for r in answer.capability])
    bound = say("at least ({sure} %)", sure=local.significant(100 * answer.confidence))
    head = (
        say("stream"),
        say("claim"),
        "Ppk",
        bound,
        say("expected beyond, ppm"),
        say("bores"),
        say("the first reason"),
    )
    return html.Table(
        [
            html.Caption(
                say(
                    "Required: Ppk of at least {required}. A diamond marks what is not supported.",
                    required=local.significant(answer.required),
                )
            ),
            html.Thead(html.Tr([html.Th(name, scope="col") for name in head])),
            html.Tbody([_row(r, n, query, path) for r, n in zip(answer.capability, names, strict=True)]),
        ],
        className="words claims",
    )


def _row(row: StreamCapability, name: str, query: str | None, path: str) -> html.Tr:
    own = parts.stream_query(row.stream)
    bound = (
        "–" if row.lower_bound is None else down(min(row.lower_bound, row.cautious_bound or row.lower_bound))
    )
    expected = "–" if row.ppm_expected is None else ppm(row.ppm_expected.value)
    supported = row.claim == "supported"
    return html.Tr(
        [
            html.Td(dcc.Link(name, href=f"{path}?{own}")),
            html.Td([term(row.claim), *_signed(row)], className="" if supported else "moved"),
            html.Td(_index(row)),
            html.Td(bound),
            html.Td(expected),
            html.Td(local.number(row.n)),
            html.Td(why_words(row)),
        ],
        className="chosen" if own == query else "",
    )


def _signed(row: StreamCapability) -> list[Any]:
    """Return who signed a stream's figures, where somebody did or is asked to."""
    return [] if row.signature is None else [html.Small(row.signature.sentence)]


def _index(row: StreamCapability) -> list[Any]:
    """Return an index, and below it its interval."""
    if row.ppk is None or row.ppk.value is None:
        return ["–"]
    return [local.number(row.ppk.value, 2), html.Small(between(row.ppk).strip(" ()"))]


def why_words(row: StreamCapability) -> str:
    """Return the first reason against a claim and how many more there are; all stand with the stream."""
    if not row.reasons:
        return ""
    more = len(row.reasons) - 1
    return f"{row.reasons[0]} {say('And {count} more.', count=more)}" if more else row.reasons[0]


def indices_table(row: StreamCapability) -> html.Table:
    """Return the four lines of indices."""
    head = (say("index"), say("found"), interval_head(row), say("rests on"))
    lines = [(line.name, line.found, line.interval, line.rests_on) for line in index_lines(row)]
    return html.Table(
        [
            html.Thead(html.Tr([html.Th(name, scope="col") for name in head])),
            html.Tbody([html.Tr([html.Td(cell) for cell in line]) for line in lines]),
        ],
        className="words",
    )
