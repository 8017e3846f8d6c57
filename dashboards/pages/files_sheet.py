"""What stands behind the rows: a sheet on disk that is not in force, and limits older than a change."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, State, dcc, html

from cellmon.errors import CellmonError, WrongUsage
from cellmon.monitor.disk_sheet import DiskSheet
from cellmon.monitor.limits_age import LimitsAge
from cellmon.records import stream_names
from cellmon.words import say, say_many
from dashboards.pages import asked, freeze, parts, written

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

BOX, DIFFERS, SEEN, FORM, WHY, ADOPT, SAID, OLD = (
    "files-sheet",
    "files-sheet-differs",
    "files-sheet-seen",
    "files-sheet-form",
    "files-sheet-why",
    "files-sheet-adopt",
    "files-sheet-said",
    "files-limits",
)
WHO = "files-sheet"
STREAMS_SHOWN = 12
UNSEEN = {"display": "none"}


def section() -> html.Section:
    """Return the place of the sheet and of old limits; each says so where there is nothing to say."""
    form = html.Div(
        [
            asked.who_field(WHO),
            parts.field(say("Why"), dcc.Input(id=WHY, autoComplete="off"), wide=True),
            html.Button(say("Put it in force"), id=ADOPT, className="step"),
        ],
        id=FORM,
        className="controls",
        style=UNSEEN,
    )
    return html.Section(
        [
            html.H2(say("The sheet, and limits older than a change")),
            html.Div(id=DIFFERS),
            dcc.Store(id=SEEN),
            form,
            written.below(SAID),
            html.Div(id=OLD),
        ],
        id=BOX,
    )


def show(monitor: Monitor) -> list[Any]:
    """Return what the sheet on disk would change, its name, whether it can be adopted, and old limits."""
    try:
        sheet, age = monitor.disk_sheet(), monitor.limits_age()
    except CellmonError as refusal:
        return [[parts.notice(str(refusal))], None, UNSEEN, []]
    may = {} if sheet.differs and sheet.mistakes is None else UNSEEN
    return [differs(sheet), sheet.seen, may, old_limits(age)]


def differs(sheet: DiskSheet) -> list[Any]:
    """Return in words how the sheet on disk differs from the one in force."""
    if sheet.mistakes is not None:
        words = say(
            "The sheet on disk cannot be used; version {version} stays in force.", version=sheet.sheet
        )
        return [html.P(words, className="told waits"), html.Pre(sheet.mistakes, className="row-text")]
    if not sheet.differs:
        return [html.P(say("The sheet on disk is in force, version {version}.", version=sheet.sheet))]
    words = say_many(
        "The sheet on disk differs in {count} place from version {version}, which is in force. It is "
        "not used until somebody puts it in force, for what is measured from then on.",
        "The sheet on disk differs in {count} places from version {version}, which is in force. It is "
        "not used until somebody puts it in force, for what is measured from then on.",
        len(sheet.differs),
        version=sheet.sheet,
    )
    items = [html.Li(html.Code(line, className="row-text")) for line in sheet.differs]
    return [html.P(words, className="told waits"), html.Ul(items, className="lines")]


def old_limits(age: LimitsAge) -> list[Any]:
    """Return which frozen limits are older than a declared change, and since when."""
    found: list[Any] = [html.P(age.sentence, className="told")]
    for one in age.old:
        names = stream_names(one.streams)
        shown: list[Any] = []
        for stream, name in zip(one.streams[:STREAMS_SHOWN], names, strict=False):
            link = dcc.Link(name, href=f"/stream?{parts.stream_query(stream)}#{freeze.FOLDED}")
            shown += [", ", link] if shown else [link]
        left = len(names) - STREAMS_SHOWN
        if left > 0:
            shown.append(say(" and {left} more", left=left))
        found.append(html.P([html.B(shown), ": ", one.sentence], className="told"))
    return found


def adopt(monitor: Monitor, seen: str | None, why: str | None, by: Any, code: Any) -> str:
    """Put the sheet that was looked at in force, in a person's name; return what was done, or why not."""
    try:
        if not (why or "").strip():
            raise WrongUsage(say("Say why."))
        who = asked.who_of(by, code)
        check = monitor.adopt(by=who, why=str(why).strip(), seen=seen)
    except CellmonError as refusal:
        return parts.capital(str(refusal))
    return written.Kept(say("Sheet version {version} is in force, by {by}.", version=check.sheet, by=who))


def register(app: Dash, monitor: Monitor) -> None:
    """Wire the form."""

    @app.callback(
        Output(DIFFERS, "children"),
        Output(SEEN, "data"),
        Output(FORM, "style"),
        Output(OLD, "children"),
        Input(parts.CHANGE, "data"),
    )
    def _(change: int) -> list[Any]:
        return show(monitor)

    written.register(
        app,
        monitor,
        adopt,
        said=SAID,
        who=WHO,
        presses=[ADOPT],
        of=[State(SEEN, "data")],
        fields={WHY: ""},
    )
