"""The tables of the shifts page: streams beside the shift before, and what other rules would cost."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from urllib.parse import urlencode

from dash import dcc, html

from cellmon import lengths, local
from cellmon.monitor.alarms import AlarmBudget
from cellmon.monitor.answers import Estimate
from cellmon.monitor.shifts import Shifts, StreamShift
from cellmon.records import Stream, stream_names
from cellmon.shifts import ShiftOf
from cellmon.words import say
from dashboards import theme
from dashboards.pages import parts


def table(answer: Shifts, chosen: Stream) -> html.Table:
    """Return every stream of the shift beside the shift before."""
    before = shift_words(answer.previous) if answer.previous else say("no shift before")
    made = [one for one in answer.shifts if one.bores or one.previous_mean_um is not None]
    rest = len(answer.shifts) - len(made)
    caption = say("Against {shift}. A diamond marks streams with signals.", shift=before)
    if any(one.moved_um is not None and one.moved_um.low is not None for one in made):
        caption += " " + say("Below a difference: its range, 95 % for all streams together.")
    if rest:
        caption += " " + say("{count} streams had no bores in either.", count=rest)
    named = stream_names([one.stream for one in made])
    names = (
        say("stream"),
        say("mean now, {unit}", unit=lengths.unit()),
        say("mean before"),
        say("difference"),
        say("bores"),
        say("signals"),
    )
    return html.Table(
        [
            html.Caption(caption),
            html.Thead(html.Tr([html.Th(name, scope="col") for name in names])),
            html.Tbody([_row(one, name, chosen) for one, name in zip(made, named, strict=True)]),
        ]
    )


def _row(one: StreamShift, name: str, chosen: Stream) -> html.Tr:
    return html.Tr(
        [
            html.Td(dcc.Link(name, href=stream_link(one))),
            html.Td(figure_words(one.mean_um)),
            html.Td(figure_words(one.previous_mean_um)),
            html.Td(moved_words(one.moved_um)),
            html.Td(str(one.bores)),
            html.Td(
                str(len(one.signals)) if one.signals else say("none"),
                className="moved" if one.signals else "",
            ),
        ],
        className="chosen" if one.stream == chosen else "",
    )


def rules_table(budget: AlarmBudget) -> html.Table:
    """Return every rule set with its price on this cell's bores, beside what the detectors cost."""
    rows = [(say("All detectors of the cell, as they stand"), "–", budget.expected_per_week, say("in use"))]
    on_off = {True: say("switched on"), False: say("off")}
    rows += [
        (r.words, local.number(r.run_length), r.false_alarms_per_week, on_off[bool(r.switched_on)])
        for r in sorted(budget.rules, key=lambda r: r.false_alarms_per_week)
    ]
    names = (
        say("rule set"),
        say("subgroups of one stream until a false alarm"),
        say("false alarms a week, whole cell"),
        "",
    )
    rate = (
        say("at the planned rate of bores")
        if budget.planned
        else say("no rate is planned, so a usual one is taken")
    )
    return html.Table(
        [
            html.Caption(
                say(
                    "Process unmoved, limits known, {rate}. Rule sets would watch the bores' own charts "
                    "only; one that is switched on comes on top of the detectors.",
                    rate=rate,
                )
            ),
            html.Thead(html.Tr([html.Th(name, scope="col") for name in names])),
            html.Tbody(
                [
                    html.Tr([html.Td(w), html.Td(n), html.Td(local.number(per_week, 1)), html.Td(on)])
                    for w, n, per_week, on in rows
                ]
            ),
        ],
        className="rules",
    )


def rules_rows(budget: AlarmBudget) -> dict[str, list[Any]]:
    """Return the prices of the rule sets as columns."""
    return {
        "rule_set": [r.name for r in budget.rules],
        "words": [r.words for r in budget.rules],
        "run_length_subgroups": [r.run_length for r in budget.rules],
        "false_alarms_per_week": [r.false_alarms_per_week for r in budget.rules],
        "switched_on": [r.switched_on for r in budget.rules],
    }


def stream_link(one: StreamShift) -> str:
    """Return the address of a stream's own page, up to just after this shift."""
    return "/stream?" + parts.stream_query(
        one.stream, until=(one.shift.ends + timedelta(hours=8)).isoformat()
    )


def loudest_words(answer: Shifts) -> list[html.P]:
    """Return which shifts of the week had the most signals, each a link to it; nothing where none had."""
    if not answer.loudest:
        return []
    said: list[Any] = [say("Most signals in the week up to its end:"), " "]
    for i, one in enumerate(answer.loudest):
        link = dcc.Link(shift_words(one.shift), href=f"/shifts?{urlencode({'shift': str(one.shift)})}")
        said += ["; ", link] if i else [link]
        said.append(f" ({local.number(one.signals)})")
    return [html.P([*said, "."], className="told")]


def shift_words(shift: ShiftOf) -> str:
    """Return a shift as people name it."""
    return f"{local.long_day(shift.date)}, {shift.name}"


def moved_words(found: Estimate | None) -> list[Any]:
    """Return how far a mean moved, its interval on a line below; a dash where it is not known."""
    if found is None:
        return ["–"]
    if found.low is None or found.high is None:
        return [figure_words(found.value)]
    return [
        figure_words(found.value),
        html.Small(say("{low} to {high}", low=figure_words(found.low), high=figure_words(found.high))),
    ]


def figure_words(value: float | None) -> str:
    """Return a mean as the table prints it; a dash where there is none."""
    return "–" if value is None else theme.um(value)
