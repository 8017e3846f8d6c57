"""The record of honing by hand, saved from page Bore: of this bore, of the block, or blank."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, State, ctx, dcc, html, no_update

from cellmon.errors import CellmonError, NotFound, WrongUsage
from cellmon.monitor.bore.record_results import HandRecord, RecordTold
from cellmon.words import say
from dashboards.pages import parts

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

JOB, REFERENCE, NAME, CLEANED, WHOLE = (
    "bore-record-job",
    "bore-record-reference",
    "bore-record-name",
    "bore-record-cleaned",
    "bore-record-whole",
)
PAPER, TABLE, DOCUMENT, BLANK, FILE, SAID = (
    "bore-record-pdf",
    "bore-record-csv",
    "bore-record-json",
    "bore-record-blank",
    "bore-record-file",
    "bore-record-said",
)
WASHED, BLOCK = "washed", "block"
OF_BORE = "bore-record-of-bore"
"""What belongs to a bore; without one only the blank form is offered."""


def layout() -> html.Section:
    """Return what a person adds to the record, and what it is saved as."""
    washed = {"label": say("washed until a white cloth stayed white, dried, oiled"), "value": WASHED}
    whole = {"label": say("all bores of the block"), "value": BLOCK}
    fields = [
        parts.field(say("Job"), dcc.Input(id=JOB, autoComplete="off")),
        parts.field(say("Customer's reference"), dcc.Input(id=REFERENCE, autoComplete="off")),
        parts.field(say("Name below it"), dcc.Input(id=NAME, autoComplete="off")),
        dcc.Checklist(id=CLEANED, options=[washed], className="choice"),
        dcc.Checklist(id=WHOLE, options=[whole], className="choice"),
    ]
    buttons = [
        html.Button(name, id=id_) for name, id_ in (("PDF", PAPER), ("CSV", TABLE), ("JSON", DOCUMENT))
    ]
    save = html.P(html.Span([say("Save this record"), *buttons], className="take"))
    blank = html.Button(say("Blank form"), id=BLANK)
    return html.Section(
        [
            html.H2(say("Record")),
            html.Div([html.Div(fields, className="controls"), save], id=OF_BORE, style={"display": "none"}),
            html.P(
                [html.Span([say("To write on"), blank], className="take"), dcc.Download(id=FILE)],
            ),
            html.P(id=SAID, className="told", role="status"),
        ]
    )


def saved(
    monitor: Monitor,
    what: str | None,
    bore: Mapping[str, str] | None,
    mate: str | None,
    told: Sequence[Any],
) -> list[Any]:
    """Return the file that a button asks for, and why there is none.

    Parameters
    ----------
    monitor : Monitor
    what : str or None
        The button.
    bore : mapping or None
        The bore shown: serial, bore, and its drawing where it is known.
    mate : str or None
        Serial of the part that goes into it.
    told : sequence
        Job, reference, name, and which of both boxes are ticked.
    """
    try:
        record = _record(monitor, what, bore or {}, mate, told)
        return [_file(monitor, what, record), ""]
    except CellmonError as refusal:
        words = parts.capital(str(refusal)).rstrip(".") + "."
        if isinstance(refusal, NotFound):
            words += " " + say("Page Part saves what the line's gauge read.")
        return [no_update, words]


def _record(
    monitor: Monitor, what: str | None, bore: Mapping[str, str], mate: str | None, told: Sequence[Any]
) -> HandRecord:
    if what == BLANK:
        return monitor.blank_record(part_number=bore.get("part_number"))
    job, reference, name, washed, whole = told
    by = (name or "").strip()
    _tell(monitor, bore, job or "", reference or "", by=by, cleaned=WASHED in (washed or ()))
    mates = {bore["bore"]: mate} if mate and "bore" in bore else {}
    one = None if BLOCK in (whole or ()) else bore.get("bore")
    more = RecordTold(by=by, mating_parts=mates)
    return monitor.hand_record(bore.get("serial", ""), bore=one, told=more)


def _tell(
    monitor: Monitor, bore: Mapping[str, str], job: str, reference: str, *, by: str, cleaned: bool
) -> None:
    """Journal what the boxes say of a block, where that is another thing than what is kept of it."""
    kept = said_of(monitor, bore)
    given = [job.strip(), reference.strip(), [WASHED] if cleaned else []]
    if given == kept:
        return
    if not by:
        raise WrongUsage(say("Say whose name stands below it; job, reference and tick are kept with it."))
    monitor.tell_block(bore.get("serial", ""), by=by, job=job, reference=reference, cleaned=cleaned)


def said_of(monitor: Monitor, bore: Mapping[str, str]) -> list[Any]:
    """Return job, reference and the tick, as they are kept of the block that is shown."""
    if not bore.get("serial") or not bore.get("bore"):
        return ["", "", []]
    answer = monitor.bore(part=bore["serial"], bore=bore["bore"], part_number=bore.get("part_number"))
    return [answer.block.job, answer.block.reference, [WASHED] if answer.block.cleaned else []]


def shown_of(monitor: Monitor, bore: Mapping[str, str] | None) -> list[Any]:
    """Return what stands in the boxes once a block is chosen."""
    try:
        return said_of(monitor, bore or {})
    except CellmonError:
        return ["", "", []]


def _file(monitor: Monitor, what: str | None, record: HandRecord) -> Any:
    bores = [] if len(record.bores) != 1 or record.blank else [record.bores[0].bore]
    name = "-".join(["record", *([record.part] if record.part else ["blank"]), *bores])
    if what in (PAPER, BLANK):
        from cellmon.export.bore_paper import record_pdf

        return dcc.send_bytes(record_pdf(record), f"{name}.pdf")
    zone = parts.zone_of(monitor)
    if what == TABLE:
        from cellmon.export.bore_record import record_table
        from cellmon.export.files import csv_bytes

        return dcc.send_bytes(csv_bytes(record_table(record, zone=zone)), f"{name}.csv")
    from cellmon.export.documents import as_json, document

    return dcc.send_bytes(as_json(document(record, zone=zone)), f"{name}.json")


def register(app: Dash, monitor: Monitor, *, bore: str, mate: str) -> None:
    """Wire the buttons; `bore` and `mate` are the ids of what the page shows."""

    @app.callback(
        Output(FILE, "data"),
        Output(SAID, "children"),
        *(Input(name, "n_clicks") for name in (PAPER, TABLE, DOCUMENT, BLANK)),
        State(bore, "data"),
        State(mate, "value"),
        *(State(name, "value") for name in (JOB, REFERENCE, NAME, CLEANED, WHOLE)),
        prevent_initial_call=True,
    )
    def _(*given: Any) -> list[Any]:
        clicks, (shown, fits, *told) = given[:4], given[4:]
        return saved(monitor, ctx.triggered_id, shown, fits, told) if any(clicks) else [no_update] * 2

    @app.callback(
        Output(JOB, "value"), Output(REFERENCE, "value"), Output(CLEANED, "value"), Input(bore, "data")
    )
    def _(shown: Mapping[str, str] | None) -> list[Any]:
        return shown_of(monitor, shown)
