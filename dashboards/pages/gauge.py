"""Gauge: can I believe it? Its studies on a ruler of the tolerance, its masters, its uncertainty."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, State, html

from cellmon import local
from cellmon.errors import CellmonError, NotFound
from cellmon.monitor.gauge import (
    GaugeAnswer,
    GaugesAgree,
    GaugeStanding,
    StudyAnswer,
)
from cellmon.records.words import feature_words
from cellmon.words import say, to_say
from dashboards import theme
from dashboards.figures import ruler, two_gauges, zeroes
from dashboards.pages import gauge_words, parts, saving

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

PATH = "/gauge"
NAME = to_say("Gauge")
SENTENCE, WHICH, STUDY = "gauge-sentence", "gauge-which", "gauge-study"
RULER, STUDY_WORDS = "gauge-ruler", "gauge-study-words"
ZEROES, ZERO_WORDS = "gauge-zeroes", "gauge-zero-words"
BUDGET, RULE, NOISE = "gauge-budget", "gauge-rule", "gauge-noise"
PAIR, PAIR_WORDS = "gauge-pair", "gauge-pair-words"
RULER_CAPTION = to_say(
    "Each ruler is a feature's tolerance, to scale; hatched: guard band. Below it, as lengths of six "
    "standard deviations: what one part read again differs by (repeats), what persons add, both together "
    "(gauge), and the parts of the study. Thin: to the upper end of the 95 % interval; arrow: reaches beyond."
)
ZERO_CAPTION = to_say(
    "Dot: as found. Open: as left. Diamond: another master. Band: within the limit. Thin line: drift since "
    "the gauge was last set. Ring: beyond; darker upright band: bores since the last good check, suspect."
)
PAIR_CAPTION = to_say(
    "Each bore both gauges measured, undoubted and whole. Dotted: no difference. "
    "Ring: too far apart for chance."
)


def layout(query: str | None = None) -> html.Main:
    """Return the page before its answers have come; a link may name a gauge and a study."""
    return html.Main(
        [
            parts.lead(SENTENCE),
            html.Div(
                [
                    parts.field(say("Gauge"), parts.dropdown(WHICH, clearable=False)),
                    parts.field(say("Study"), parts.dropdown(STUDY, clearable=False), wide=True),
                ],
                className="controls",
            ),
            parts.figure_box(RULER, height=320, caption=say(RULER_CAPTION), told_by=SENTENCE),
            html.Div(id=STUDY_WORDS),
            html.H2(say("On its masters")),
            html.P(id=ZERO_WORDS + "-lead", className="told"),
            parts.figure_box(
                ZEROES,
                height=zeroes.HEIGHT,
                caption=say(ZERO_CAPTION),
                told_by=ZERO_WORDS + "-lead",
            ),
            html.Div(id=ZERO_WORDS),
            html.H2(say("How sure one reading is")),
            html.Div(id=BUDGET),
            html.H2(say("Near a limit")),
            html.Div(id=RULE),
            html.H2(say("Against another gauge")),
            html.Div(id=PAIR_WORDS),
            parts.figure_box(PAIR, height=two_gauges.HEIGHT, caption=say(PAIR_CAPTION), told_by=PAIR_WORDS),
        ]
    )


def choose(monitor: Monitor, gauge: str | None, study: str | None, search: str | None = None) -> list[Any]:
    """Return the gauges and the studies of the one chosen, and what is chosen here or by the link."""
    named = parts.query_values(search)
    gauge, study = gauge or named.get("gauge"), study or named.get("study")
    try:
        answer = monitor.gauge()
    except CellmonError:
        return [[], None, [], None]
    gauges = [g.gauge for g in answer.gauges]
    chosen = gauge if gauge in gauges else gauges[0]
    mine = [s.study for s in answer.studies if s.gauge == chosen]
    picked = study if study in mine else fullest([s for s in answer.studies if s.gauge == chosen])
    options = [{"label": name, "value": name} for name in mine]
    return [[{"label": g, "value": g} for g in gauges], chosen, options, picked]


def fullest(studies: Sequence[StudyAnswer]) -> str | None:
    """Return the study with the most features, the newest of those."""
    if not studies:
        return None
    most = max(len(s.features) for s in studies)
    return [s.study for s in studies if len(s.features) == most][-1]


def standing_of(answer: GaugeAnswer, gauge: str | None) -> GaugeStanding:
    """Return the gauge of that name, the first where none is named.

    Raises
    ------
    NotFound
        When the cell has no such gauge.
    """
    found = [g for g in answer.gauges if gauge in (None, g.gauge)]
    if not found:
        raise NotFound(say("there is no gauge {gauge} here", gauge=gauge))
    return found[0]


def study_of(answer: GaugeAnswer, gauge: str | None, study: str | None) -> StudyAnswer | None:
    """Return the study of a gauge that is named, or its fullest."""
    mine = [s for s in answer.studies if s.gauge == standing_of(answer, gauge).gauge]
    name = study if any(s.study == study for s in mine) else fullest(mine)
    return next((s for s in mine if s.study == name), None)


def show_study(monitor: Monitor, gauge: str | None, study: str | None) -> list[Any]:
    """Return the sentence, the rulers with their room, and the study in words."""
    try:
        answer = monitor.gauge()
        found = study_of(answer, gauge, study)
        standing = standing_of(answer, gauge)
    except CellmonError as refusal:
        return ["", theme.notice(""), {"height": "200px"}, [parts.notice(str(refusal))]]
    lead = standing.sentence
    if found is None:
        why = say(
            "No study of {gauge} was taken. Files of the kind gauge-study bring one.", gauge=standing.gauge
        )
        return [lead, theme.notice(why, height=160), {"height": "160px"}, []]
    figure = theme.asked(ruler.ruler_figure(ruler.rulers_of(found, answer.rule.zones)), gauge, study)
    words = [*gauge_words.study_words(found), *gauge_words.aside_words(answer)]
    return [lead, figure, {"height": f"{figure['layout']['height']}px"}, words]


def show_checks(monitor: Monitor, gauge: str | None) -> list[Any]:
    """Return the chart of master checks, the sentence over it and the words under it."""
    try:
        answer = monitor.gauge()
        standing = standing_of(answer, gauge)
    except CellmonError as refusal:
        return [str(refusal), theme.notice(""), []]
    checks = standing.checks
    if checks is None:
        return [standing.on_masters, theme.notice(say("No check on a master is known.")), []]
    drawn = zeroes.zeroes_figure(checks, zeroes.clock_for(checks, parts.zone_of(monitor)))
    figure = theme.asked(drawn, gauge)
    words = [html.Li(line) for line in gauge_words.check_words(checks)]
    return [
        standing.on_masters,
        figure,
        [html.Ul(words, className="lines"), *gauge_words.suspects(checks, answer.caution)],
    ]


def show_worth(monitor: Monitor, gauge: str | None) -> list[Any]:
    """Return the budget of one reading, and the rule with its zones."""
    try:
        answer = monitor.gauge()
        standing = standing_of(answer, gauge)
    except CellmonError as refusal:
        return [[parts.notice(str(refusal))], []]
    if standing.budget is None:
        why = standing.why_not.get("budget", say("not known"))
        budget: list[Any] = [html.P(say("No budget: {why}.", why=why))]
    else:
        budget = gauge_words.budget_words(standing.budget)
    return [budget, gauge_words.rule_words(answer)]


def pair_of(answer: GaugeAnswer, gauge: str | None) -> GaugesAgree | None:
    """Return the comparison that a gauge is part of."""
    name = standing_of(answer, gauge).gauge
    return next((p for p in answer.agreements if name in (p.first, p.second)), None)


def show_pair(monitor: Monitor, gauge: str | None) -> list[Any]:
    """Return what two gauges say of the same bores, and the drawing of it."""
    try:
        pair = pair_of(monitor.gauge(), gauge)
    except CellmonError as refusal:
        return [[parts.notice(str(refusal))], theme.notice("")]
    if pair is None:
        return [[], theme.notice(say("No bore was measured by this gauge and another in the last days."))]
    said = [
        html.Li([html.B(f"{parts.capital(feature_words(f.feature))}: "), f.sentence]) for f in pair.features
    ]
    head = html.P(pair_words(pair), className="told")
    return [[head, html.Ul(said, className="lines")], theme.asked(two_gauges.two_gauges_figure(pair), gauge)]


def pair_words(pair: GaugesAgree) -> str:
    """Return how many bores two gauges measured, when, and how many of them do not count."""
    values = {
        "bores": local.number(len(pair.part)),
        "first": pair.first,
        "second": pair.second,
        "since": parts.when(pair.since),
        "until": parts.when(pair.until),
    }
    if not pair.left_out:
        return say("{bores} bores by {first} and {second}, {since} to {until}.", **values)
    return say(
        "{bores} bores by {first} and {second}, {since} to {until}, {more} more left out as doubted or not "
        "whole.",
        more=local.number(pair.left_out),
        **values,
    )


def ruler_rows(monitor: Monitor, gauge: str | None, study: str | None) -> dict[str, list[Any]]:
    """Return the lengths of the study shown as columns."""
    answer = monitor.gauge()
    found = study_of(answer, gauge, study)
    return ruler.rows(() if found is None else ruler.rulers_of(found, answer.rule.zones))


def zero_rows(monitor: Monitor, gauge: str | None) -> dict[str, list[Any]]:
    """Return the master checks of a gauge as columns."""
    checks = standing_of(monitor.gauge(), gauge).checks
    if checks is None:
        return {}
    return zeroes.rows(checks, zeroes.clock_for(checks, parts.zone_of(monitor)))


def pair_rows(monitor: Monitor, gauge: str | None) -> dict[str, list[Any]]:
    """Return the sizes of the bores that two gauges measured as columns."""
    pair = pair_of(monitor.gauge(), gauge)
    return {} if pair is None else two_gauges.rows(pair)


def register(app: Dash, monitor: Monitor) -> None:
    """Wire the page."""
    change, which, study = Input(parts.CHANGE, "data"), Input(WHICH, "value"), Input(STUDY, "value")
    states = State(WHICH, "value"), State(STUDY, "value")

    @app.callback(
        Output(WHICH, "options"),
        Output(WHICH, "value"),
        Output(STUDY, "options"),
        Output(STUDY, "value"),
        change,
        which,
        states[1],
        State(parts.URL, "search"),
    )
    def _(change: int, gauge: str | None, study: str | None, search: str | None) -> list[Any]:
        return choose(monitor, gauge, study, search)

    @app.callback(
        Output(SENTENCE, "children"),
        Output(RULER, "figure"),
        Output(RULER, "style"),
        Output(STUDY_WORDS, "children"),
        change,
        which,
        study,
    )
    def _(change: int, gauge: str | None, study: str | None) -> list[Any]:
        return show_study(monitor, gauge, study)

    @app.callback(
        Output(ZERO_WORDS + "-lead", "children"),
        Output(ZEROES, "figure"),
        Output(ZERO_WORDS, "children"),
        change,
        which,
    )
    def _(change: int, gauge: str | None) -> list[Any]:
        return show_checks(monitor, gauge)

    @app.callback(Output(BUDGET, "children"), Output(RULE, "children"), change, which)
    def _(change: int, gauge: str | None) -> list[Any]:
        return show_worth(monitor, gauge)

    @app.callback(Output(PAIR_WORDS, "children"), Output(PAIR, "figure"), change, which)
    def _(change: int, gauge: str | None) -> list[Any]:
        return show_pair(monitor, gauge)

    saving.register_saving(app, RULER, lambda *asked: ruler_rows(monitor, *asked), *states)
    saving.register_saving(app, ZEROES, lambda gauge: zero_rows(monitor, gauge), states[0])
    saving.register_saving(app, PAIR, lambda gauge: pair_rows(monitor, gauge), states[0])
