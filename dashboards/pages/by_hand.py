"""Bores finished by hand: streams of their own on page Stream, lines of a shift on page Shifts."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from dash import Dash, Input, Output, State, dcc, html, no_update

from cellmon import local
from cellmon.errors import CellmonError, NotFound
from cellmon.monitor.hand_streams import HandBore, HandStream, HandStreams
from cellmon.monitor.shifts import Shifts
from cellmon.records import Verdict
from cellmon.shifts import ShiftCalendar, ShiftOf, to_utc
from cellmon.words import say, say_many, to_say
from dashboards import theme
from dashboards.figures import hand_line
from dashboards.figures.terms import term
from dashboards.pages import parts, saving
from dashboards.pages.shift_tables import shift_words

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

PART = "part_number"
EVER = datetime.fromtimestamp(0, UTC)
LISTED = 50
"""So many bores of a shift are listed, the newest."""
BOX, CHOICE, FIGURE, LEAD = "by-hand", "by-hand-stream", "by-hand-figure", "by-hand-lead"
CAPTION = to_say(
    "Upright: a bore from its least to its greatest reading, the dot at its size. Pale band: tolerance; "
    "hatched: guard band. Ring: not proven to conform. No limits of a process are drawn: these bores come "
    "when somebody works, and are in no machine's figures."
)


def section() -> html.Div:
    """Return the section before its answers have come; it shows once a bore was finished by hand."""
    return html.Div(
        [
            html.H2(say("Sized by hand")),
            html.P(id=LEAD, className="told"),
            html.Div(
                parts.field(
                    say("Position sized by hand"), parts.dropdown(CHOICE, clearable=False), wide=True
                ),
                className="controls",
            ),
            parts.figure_box(FIGURE, height=hand_line.HEIGHT, caption=say(CAPTION), told_by=LEAD),
        ],
        id=BOX,
        style=parts.HIDDEN,
    )


def made_in(monitor: Monitor, since: datetime | None, until: datetime | None) -> HandStreams:
    """Return what was finished by hand in some time; of the last week where none is asked for.

    Where no machine works and that time is empty, all before it: a bench may stand for weeks.
    """
    answer = monitor.hand_streams(since=since, until=until)
    if answer.streams or monitor.streams():
        return answer
    return monitor.hand_streams(since=EVER, until=until)


def shifts_of(monitor: Monitor, since: datetime | None = None) -> list[ShiftOf]:
    """Return the shifts in which bores were finished by hand, oldest first; those of the last week."""
    made = monitor.hand_streams(since=since).made
    if not made:
        return []
    calendar = ShiftCalendar.of_sheet(monitor.sheet)
    found = {calendar.at(to_utc(one.at)) for one in made}
    return sorted(found, key=lambda shift: shift.starts)


def shift_answer(monitor: Monitor, shift: str | None) -> Shifts:
    """Return the answer of a shift, also of one in which bores were finished by hand and by no machine.

    Raises
    ------
    NotFound
        When no bore at all was made in that shift.
    """
    try:
        return monitor.shifts(shift=shift)
    except NotFound:
        mine = next((s for s in shifts_of(monitor, EVER) if str(s) == shift), None)
        if mine is None:
            raise
    words = say("{shift}: no machine made a bore; bores were sized by hand.", shift=shift_words(mine))
    return replace(monitor.shifts(), sentence=words, shift=mine, previous=None, shifts=(), called=())


def beside(monitor: Monitor, *, shown: bool) -> dict[str, str]:
    """Return how a machine's drawing is shown: not where all that was ever made was made by hand."""
    return parts.HIDDEN if shown and not monitor.streams() else {}


def choose(monitor: Monitor, value: str | None, since: datetime | None, until: datetime | None) -> list[Any]:
    """Return whether the section shows, its sentence, the positions to choose from, and one of them.

    Last whether a machine's drawing shows.
    """
    try:
        answer = made_in(monitor, since, until)
    except CellmonError:
        return [parts.HIDDEN, "", [], no_update, {}]
    if not answer.streams:
        return [parts.HIDDEN, "", [], no_update, {}]
    numbers = list(dict.fromkeys(s.stream.part_number for s in answer.streams))
    options = [{"label": say("all bores of {part}", part=n), "value": urlencode({PART: n})} for n in numbers]
    options += [
        {"label": position_words(s, several=len(numbers) > 1), "value": parts.stream_query(s.stream)}
        for s in answer.streams
    ]
    values = [option["value"] for option in options]
    chosen = no_update if value in values else values[0]
    return [{}, sentence(answer), options, chosen, beside(monitor, shown=True)]


def position_words(stream: HandStream, *, several: bool) -> str:
    """Return the name of a position that was sized by hand; with its part where there are several."""
    bore, number = stream.stream.bore, stream.stream.part_number
    return say("{part}, bore {bore}", part=number, bore=bore) if several else say("bore {bore}", bore=bore)


def sentence(answer: HandStreams) -> str:
    """Return how many bores were finished by hand, how many conform, and the last of them."""
    last, conform = answer.made[-1], sum(one.verdict is Verdict.CONFORMS for one in answer.made)
    bores = say_many("{count} bore", "{count} bores", len(answer.made))
    return say(
        "{bores} finished by hand, {conform} proven to conform; the last: {part} bore {bore}, {at}.",
        bores=bores,
        conform=local.number(conform),
        part=last.part,
        bore=last.bore,
        at=parts.when(last.at),
    )


def stream_of(answer: HandStreams, query: str | None) -> tuple[HandStream, list[HandBore]]:
    """Return the position that a choice names, or the first of a part, and the bores that are meant.

    Raises
    ------
    NotFound
        When none was finished by hand in this time.
    """
    named = parts.query_values(query)
    number, bore = named.get(PART), named.get("bore")
    mine = [one for one in answer.made if one.part_number == number and bore in (None, one.bore)]
    if not mine:
        raise NotFound(say("No bore was finished by hand in this time."))
    found = next(
        s for s in answer.streams if (s.stream.part_number, s.stream.bore) == (number, bore or mine[0].bore)
    )
    return found, mine


def show(monitor: Monitor, query: str | None, since: datetime | None, until: datetime | None) -> Any:
    """Return the drawing of one position, or of all of a part."""
    try:
        stream, made = stream_of(made_in(monitor, since, until), query)
    except CellmonError as refusal:
        return theme.notice(str(refusal), height=hand_line.HEIGHT)
    return theme.asked(hand_line.hand_figure(stream, made), query)


def of_shift(monitor: Monitor, shift: ShiftOf | None) -> list[Any]:
    """Return the bores finished by hand in one shift, each in a line; nothing where none was.

    Without a shift, which is where no machine made a bore, those of the last week; the newest where many.
    """
    try:
        answer = made_in(monitor, shift.starts if shift else None, shift.ends if shift else None)
    except CellmonError:
        return []
    if not answer.made:
        return []
    count = local.number(len(answer.made))
    in_shift = say("Sized by hand in the shift: {count}", count=count)
    lines = html.Ul([_line(one) for one in answer.made[-LISTED:]], className="lines")
    more = say("The newest {count} are listed; page Stream draws all.", count=LISTED)
    told = [html.P(more, className="aside")] if len(answer.made) > LISTED else []
    return [html.H2(in_shift if shift else say("Sized by hand: {count}", count=count)), *told, lines]


def _line(one: HandBore) -> html.Li:
    named = say("{part} bore {bore}", part=one.part, bore=one.bore)
    rest = say(
        "{size}, {verdict}, {at}",
        size=theme.um_said(one.um),
        verdict=term(one.verdict.value),
        at=parts.when(one.at),
    )
    return html.Li([dcc.Link(named, href=f"/{hand_line.link_to(one)}"), f": {rest}"])


def register(app: Dash, monitor: Monitor, asked_for: Any, machine: str, *names: tuple[str, str]) -> None:
    """Wire the section; `asked_for` turns what the page shows into a time, `machine` is what hides alone."""
    shown = [Input(*name) for name in names]
    states = [State(*name) for name in names]

    @app.callback(
        Output(BOX, "style"),
        Output(LEAD, "children"),
        Output(CHOICE, "options"),
        Output(CHOICE, "value"),
        Output(machine, "style"),
        Input(parts.CHANGE, "data"),
        *shown,
        State(CHOICE, "value"),
    )
    def _(change: int, *given: Any) -> list[Any]:
        *time, value = given
        return choose(monitor, value, *asked_for(monitor, *time))

    @app.callback(Output(FIGURE, "figure"), Input(parts.CHANGE, "data"), Input(CHOICE, "value"), *shown)
    def _(change: int, query: str | None, *time: Any) -> Any:
        return show(monitor, query, *asked_for(monitor, *time))

    def saved(query: str | None, *time: Any) -> dict[str, list[Any]]:
        return hand_line.rows(stream_of(made_in(monitor, *asked_for(monitor, *time)), query)[1])

    saving.register_saving(app, FIGURE, saved, State(CHOICE, "value"), *states)
