"""Two shifts, days, weeks, stone sets, lots, spindles or fixtures against each other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, State, dcc, html, no_update

from cellmon import lengths, local
from cellmon.errors import CellmonError, NotFound
from cellmon.export.tables import compare_table
from cellmon.monitor.answers import Estimate
from cellmon.monitor.compare import ComparedSide, ComparedStream, Comparison, Side
from cellmon.monitor.compare.choices import Comparable, Stretch
from cellmon.records import stream_names
from cellmon.records.words import feature_words
from cellmon.words import say, to_say
from dashboards import theme
from dashboards.figures.against import against_figure
from dashboards.pages import parts, saving

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

FOLD, KIND, FIRST, SECOND = "against", "against-kind", "against-first", "against-second"
FEATURE, PRESS, ASKED, SENTENCE = "against-of", "against-press", "against-asked", "against-sentence"
FOUND, LINES, TABLE = "against-found", "against-lines", "against-table"
KINDS = {
    "shifts": to_say("shifts"),
    "days": to_say("days"),
    "weeks": to_say("weeks"),
    "stone_sets": to_say("stone sets"),
    "lots": to_say("lots of stones"),
    "spindles": to_say("spindles"),
    "fixtures": to_say("fixtures"),
}
"""What both sides may be, as `Comparable` has them."""
NAMED = {"stone_sets": "stone_set", "lots": "lot", "spindles": "spindle", "fixtures": "fixture"}
"""What of a side a name is; the other kinds are times."""
LATELY, DAYS = ("spindles", "fixtures"), 30
"""What there is as long as the cell is compared over so many days."""
CAPTION = to_say(
    "One row a stream: the second side against the first, with its interval; all intervals of a drawing hold "
    "together at 95 %. Ring: the interval leaves out no difference. Grey: no difference is shown, which does "
    "not say that there is none."
)


def layout() -> html.Details:
    """Return the fold; what may be chosen comes when it is opened."""
    kinds = dcc.RadioItems(id=KIND, inline=True, className="choice")
    return parts.asked_open(
        FOLD,
        say("Compare two shifts, weeks, stone sets, spindles or fixtures"),
        [
            html.Div(
                [
                    parts.field(say("Compare two"), kinds),
                    parts.field(say("This one"), parts.dropdown(SECOND, clearable=False), wide=True),
                    parts.field(say("Against"), parts.dropdown(FIRST, clearable=False), wide=True),
                    parts.field(say("Feature"), parts.dropdown(FEATURE, placeholder=say("all")), wide=True),
                    html.Button(say("Compare"), id=PRESS, className="step"),
                ],
                className="controls",
            ),
            dcc.Store(id=ASKED),
            html.P(id=SENTENCE, className="told", role="status"),
            html.Div(
                [
                    parts.figure_box(LINES, height=320, told_by=SENTENCE, caption=say(CAPTION)),
                    html.Div(id=TABLE),
                ],
                id=FOUND,
                style=parts.HIDDEN,
            ),
        ],
    )


def choices(monitor: Monitor, kind: str | None, first: str | None, second: str | None) -> list[Any]:
    """Return what may be compared: kinds, sides and features, and what of them is chosen.

    What was chosen stays where it may still be.
    """
    try:
        known = monitor.comparable()
        features = sorted({stream.feature for stream in monitor.streams()})
    except CellmonError:
        return [[], None, [], None, [], None, []]
    many = [name for name in KINDS if len(getattr(known, name)) > 1]
    chosen = kind if kind in many else next(iter(many), None)
    sides = [] if chosen is None else options(known, chosen)
    values = [one["value"] for one in sides]
    if first not in values or second not in values or first == second:
        second, first = usual(known, chosen, values)
    kinds = [{"label": say(KINDS[name]), "value": name} for name in many]
    of = [{"label": feature_words(name), "value": name} for name in features]
    return [kinds, chosen, sides, first, sides, second, of]


def usual(known: Comparable, kind: str | None, values: Sequence[str]) -> Sequence[str | None]:
    """Return which two are compared unless others are chosen: the last against that before.

    A time that still runs is passed over where there are two others.
    """
    runs = kind not in (None, *NAMED) and getattr(known, str(kind))[-1].until > known.as_of
    found = values[1:3] if runs and len(values) > 2 else values[:2]
    return found if len(found) == 2 else (None, None)


def options(known: Comparable, kind: str) -> list[dict[str, str]]:
    """Return the sides of one kind as choices, the newest or last by name first; a time is its two ends."""
    found: Sequence[Any] = getattr(known, kind)
    if kind in NAMED:
        return [{"label": name, "value": name} for name in reversed(found)]
    return [
        {"label": time_words(kind, one), "value": f"{one.since.isoformat()} {one.until.isoformat()}"}
        for one in reversed(found)
    ]


def time_words(kind: str, one: Stretch) -> str:
    """Return a shift, day or week as people name it."""
    day = local.long_day(one.of)
    if kind == "weeks":
        return say("from {day}", day=day)
    return f"{day}, {one.name}" if kind == "shifts" and one.name else day


def side_of(kind: str, value: str) -> Side:
    """Return a side that was chosen."""
    if kind in NAMED:
        return Side(**{NAMED[kind]: value})
    since, until = (datetime.fromisoformat(end) for end in value.split(" "))
    return Side(since=since, until=until)


def compared(monitor: Monitor, asked: Mapping[str, Any] | None) -> Comparison:
    """Return the comparison that was asked for.

    Raises
    ------
    NotFound
        Where none was. Other refusals are those of `compare`.
    """
    if not asked or not (asked.get("first") and asked.get("second")):
        raise NotFound(say("Choose two sides first."))
    one, two = (side_of(asked["kind"], asked[name]) for name in ("first", "second"))
    if asked["kind"] in LATELY:
        since = monitor.comparable().as_of - timedelta(days=DAYS)
        one, two = replace(one, since=since), replace(two, since=since)
    return monitor.compare(one, two, feature=asked.get("feature"))


def show(monitor: Monitor, asked: Mapping[str, Any] | None) -> list[Any]:
    """Return the sentence, the drawing, its room, the table below it, and whether both show."""
    try:
        answer = compared(monitor, asked)
    except CellmonError as refusal:
        return [parts.capital(str(refusal)), theme.notice(""), no_update, [], parts.HIDDEN]
    figure = theme.asked(against_figure(answer), *(asked or {}).values())
    room = {"height": f"{figure['layout']['height']}px"}
    sides = [html.Li(side_words(side)) for side in (answer.second, answer.first)]
    told = [html.Ul(sides, className="lines"), html.P(answer.lives.sentence, className="told")]
    told += [html.P(parts.capital(note) + ".", className="aside") for note in answer.notes]
    return [parts.capital(answer.sentence), figure, room, [parts.across(table(answer)), *told], {}]


def side_words(side: ComparedSide) -> str:
    """Return what stands on a side: how many bores, of when, on which stones, and how many are left out."""
    said = say(
        "{side}: {bores} bores, {time}",
        side=parts.capital(side.name),
        bores=local.number(side.bores),
        time=parts.between(side.first_at, side.last_at),
    )
    if side.stone_sets:
        said = say("{side}, stones {sets}", side=said, sets=", ".join(side.stone_sets))
    if side.doubted:
        said = say(
            "{side}, {count} more are doubted and left out", side=said, count=local.number(side.doubted)
        )
    return f"{said}."


def table(answer: Comparison) -> html.Table:
    """Return every stream with both sides, and how far they lie apart."""
    unit = lengths.unit()
    names = (
        say("stream"),
        say("bores"),
        say("mean, {unit}", unit=unit),
        say("level apart, {unit}", unit=unit),
        say("standard deviation, {unit}", unit=unit),
        say("spread, times as wide"),
        say("differs"),
    )
    sides = say("{second} against {first}", second=answer.second.name, first=answer.first.name)
    rows = zip(answer.streams, stream_names([s.stream for s in answer.streams]), strict=True)
    return html.Table(
        [
            html.Caption(parts.capital(sides)),
            html.Thead(html.Tr([html.Th(name, scope="col") for name in names])),
            html.Tbody([_row(s, name) for s, name in rows]),
        ]
    )


def _row(s: ComparedStream, name: str) -> html.Tr:
    counts = [local.number(side.bores) for side in (s.second, s.first)]
    means = [theme.um(side.mean_um) for side in (s.second, s.first)]
    spreads = [_sd(side.sd_within_um) for side in (s.second, s.first)]
    cells: list[Any] = [
        name,
        _beside(counts),
        _beside(means),
        _ranged(s.level_um, lambda value: theme.um(value, 2)),
        _beside(spreads),
        _ranged(s.spread_ratio, lambda value: local.number(value or 0.0, 2)),
    ]
    differs = ", ".join(map(say, s.differs)) or s.why_not.get("level_um") or say("not shown")
    last = html.Td(differs, className="moved" if s.differs else "")
    return html.Tr([*map(html.Td, cells), last])


def _sd(value: float | None) -> str:
    return "–" if value is None else lengths.bare(value, 2)


def _beside(cells: Sequence[str]) -> list[Any]:
    return [cells[0], html.Small(say("against {first}", first=cells[1]))]


def _ranged(found: Estimate | None, words: Any) -> list[Any]:
    if found is None or found.value is None:
        return ["–"]
    ends = html.Small(say("{low} to {high}", low=words(found.low), high=words(found.high)))
    return [words(found.value), ends]


def rows(monitor: Monitor, asked: Mapping[str, Any] | None) -> dict[str, Sequence[Any]]:
    """Return the data behind the drawing."""
    answer = compared(monitor, asked)
    return saving.columns_of(compare_table(answer, zone=parts.zone_of(monitor)))


def register(app: Dash, monitor: Monitor) -> None:
    """Wire the fold."""
    kind, first, second = State(KIND, "value"), State(FIRST, "value"), State(SECOND, "value")

    @app.callback(
        Output(KIND, "options"),
        Output(KIND, "value"),
        Output(FIRST, "options"),
        Output(FIRST, "value"),
        Output(SECOND, "options"),
        Output(SECOND, "value"),
        Output(FEATURE, "options"),
        parts.wanted(app, FOLD, Input(FOLD, "data"), Input(KIND, "value")),
        kind,
        first,
        second,
        prevent_initial_call=True,
    )
    def _(wanted: Any, kind: str | None, first: str | None, second: str | None) -> list[Any]:
        return choices(monitor, kind, first, second)

    @app.callback(
        Output(ASKED, "data"),
        Input(PRESS, "n_clicks"),
        kind,
        first,
        second,
        State(FEATURE, "value"),
        prevent_initial_call=True,
    )
    def _(clicks: int | None, kind: Any, first: Any, second: Any, feature: Any) -> Any:
        asked = {"kind": kind, "first": first, "second": second, "feature": feature}
        return asked if clicks else no_update

    @app.callback(
        Output(SENTENCE, "children"),
        Output(LINES, "figure"),
        Output(LINES, "style"),
        Output(TABLE, "children"),
        Output(FOUND, "style"),
        Input(ASKED, "data"),
        prevent_initial_call=True,
    )
    def _(asked: Any) -> list[Any]:
        return show(monitor, asked)

    saving.register_saving(app, LINES, lambda asked: rows(monitor, asked), State(ASKED, "data"))
