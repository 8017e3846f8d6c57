"""The first bores after a change of stones, dressing or set-up, and their release by a named person."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any

from dash import Dash, State, dcc, html

from cellmon import lengths
from cellmon.errors import CellmonError, WrongUsage
from cellmon.monitor.first_bores import FirstBores, FirstOfPosition, SetupCheck
from cellmon.words import say
from dashboards import theme
from dashboards.figures.terms import term
from dashboards.pages import asked, parts, written

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

TABLE, SPINDLE, WHO, WHY, RELEASE, SAID, BOX = (
    "first-bores-table",
    "first-bores-spindle",
    "first-bores",
    "first-bores-why",
    "first-bores-release",
    "first-bores-said",
    "first-bores",
)


def layout() -> html.Details:
    """Return the fold-out with what the first bores say, and the form that releases a set-up."""
    spindles = dcc.RadioItems(id=SPINDLE, inline=True, className="choice", options=[])
    form = [
        parts.field(say("Release"), spindles),
        asked.who_field(WHO),
        parts.field(say("Why"), dcc.Input(id=WHY, autoComplete="off"), wide=True),
        html.Button(say("Release the set-up"), id=RELEASE, className="step"),
    ]
    return html.Details(
        [
            html.Summary(say("First bores in full, and their release by name")),
            html.Div(id=TABLE),
            html.Div(form, className="controls"),
            written.below(SAID),
        ],
        id=BOX,
    )


def waiting(answer: FirstBores) -> list[SetupCheck]:
    """Return the changes nobody has released yet."""
    return [check for check in answer.checks if check.released_by is None]


def show(answer: FirstBores) -> list[Any]:
    """Return what every spindle's first bores say, the spindles that wait, and after which change."""
    said: list[Any] = []
    for check in answer.checks:
        said.append(
            html.P([html.B(check.sentence), " ", say("Changed {at}.", at=parts.when(check.changed_at))])
        )
        said.append(parts.across(table(check), say("First bores of {spindle}", spindle=check.spindle)))
    cautions = dict.fromkeys(check.caution for check in answer.checks)
    said += [html.P(caution, className="aside") for caution in cautions]
    changes = {check.spindle: check.changed_at.isoformat() for check in waiting(answer)}
    spindles, looked = list(changes), {"decided": answer.decided, "changes": changes}
    return [said or [html.P(say("No change of stones, dressing or set-up is known."))], spindles, looked]


def table(check: SetupCheck) -> html.Table:
    """Return a spindle's bores: the first of the new set-up beside the last of the old one."""
    names = (
        say("bore"),
        say("says"),
        say("first bores, {unit} from nominal", unit=lengths.unit()),
        say("mean"),
        say("last of the old"),
        say("mean"),
        say("why"),
    )
    return html.Table(
        [
            html.Thead(html.Tr([html.Th(name, scope="col") for name in names])),
            html.Tbody([_row(one) for one in check.positions]),
        ],
        className="words",
    )


def _row(one: FirstOfPosition) -> html.Tr:
    cells = (one.bore, verdict_words(one), *_sizes(one.new_um), *_sizes(one.old_um), one.why)
    return html.Tr([html.Td(cell) for cell in cells])


def _sizes(sizes: Sequence[float]) -> tuple[str, str]:
    if not len(sizes):
        return say("none"), "–"
    shown = " ".join(theme.um(size) for size in sizes[:5])
    if len(sizes) > 5:
        shown = say("{first} … {count} in all", first=shown, count=len(sizes))
    return shown, theme.um(sum(sizes) / len(sizes))


def verdict_words(one: FirstOfPosition) -> str:
    """Return what one bore's first bores say, with the step or how many more."""
    if one.verdict == "correct" and one.by_um is not None:
        said = say("correct by {step}", step=theme.um_said(one.by_um))
    else:
        said = term(one.verdict)
    return say("{verdict}, {count} more", verdict=said, count=one.more) if one.more else said


def release(
    monitor: Monitor,
    spindle: str | None,
    why: str | None,
    by: str | None,
    code: str | None = None,
    *,
    looked: written.Looked | None = None,
) -> str:
    """Release a spindle's set-up in the name of a person; return what was done, or why not."""
    reason = (why or "").strip()
    try:
        if not (spindle and asked.named(by) and reason):
            raise WrongUsage(say("Say which spindle, who releases it, and why."))
        who, change = asked.who_of(by, code), (looked or {}).get("changes", {}).get(spindle)
        changed_at = None if change is None else datetime.fromisoformat(change)
        monitor.release_setup(spindle, by=who, why=reason, changed_at=changed_at, knew=written.knew(looked))
    except CellmonError as refusal:
        return str(refusal)
    return written.Kept(say("{spindle} released by {who}.", spindle=spindle, who=who))


def register(app: Dash, monitor: Monitor) -> None:
    """Wire the form."""

    written.register(
        app,
        monitor,
        release,
        said=SAID,
        who=WHO,
        presses=[RELEASE],
        of=[State(SPINDLE, "value")],
        fields={WHY: ""},
        by_looks=True,
    )
