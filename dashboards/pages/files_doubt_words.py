"""What the page Files says of one doubt: what is doubted, what was read, what is proposed."""

from __future__ import annotations

from math import isfinite
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from dash import dcc, html

from cellmon import lengths, local
from cellmon.errors import CellmonError
from cellmon.monitor.flags import FlagRow, OneFlag
from cellmon.monitor.row_words import flag_words
from cellmon.words import say, say_many
from dashboards.pages import parts

if TYPE_CHECKING:
    from cellmon.monitor import Monitor


def alike(one: OneFlag) -> list[dict[str, str]]:
    """Return the choice to decide those like it with it; none where there are none."""
    if not one.alike:
        return []
    words = say_many(
        "and {n} more like it: same doubt, gauge, spindle and proposal",
        "and {n} more like it: same doubt, gauge, spindle and proposal",
        one.alike,
        n=local.number(one.alike),
    )
    return [{"label": words, "value": "alike"}]


def facts(one: OneFlag) -> list[Any]:
    """Return one doubt in full."""
    flag = one.flag
    words = flag_words(flag.flag)
    link = dcc.Link(flag.part, href=f"/part?{urlencode({'serial': flag.part})}")
    where = say(" bore {bore}, {spindle}, {at}", bore=flag.bore, spindle=flag.spindle, at=parts.when(flag.at))
    found: list[Any] = [
        html.H3([link, where]),
        html.P([html.B(words.means), " ", words.helps], className="told"),
    ]
    if flag.words.rstrip(".").casefold() not in words.means.casefold():
        found.append(html.P(parts.capital(f"{flag.words}."), className="told"))
    proposal = flag.proposal or say("nothing; measure again, or keep it where you are sure of it")
    found.append(html.P([html.B(say("Proposed: ")), f"{proposal}."], className="told"))
    if flag.state != "open":
        became = {"accepted": say("Accepted"), "kept": say("Kept as it was read")}[flag.state]
        found.append(html.P(say("{became} by {by}: {why}", became=became, by=flag.by, why=flag.why)))
    return found


def as_read(monitor: Monitor, flag: FlagRow) -> list[Any]:
    """Return what was read at each plane and direction, and the file and line it came from."""
    try:
        story = monitor.part(flag.part)
    except CellmonError:
        return []
    mine = [m for m in story.measurements if m.bore == flag.bore and m.at == flag.at]
    if not mine:
        return []
    found: list[Any] = []
    for one in mine[:1]:
        unit = html.Th(say("{unit} from nominal", unit=lengths.unit()), scope="col")
        head = html.Tr([unit, *(html.Th(d, scope="col") for d in one.directions)])
        body = [
            html.Tr([html.Th(plane, scope="row"), *(html.Td(_um(value, flag)) for value in row)])
            for plane, row in zip(one.planes, one.um, strict=True)
        ]
        found.append(html.Table([html.Thead(head), html.Tbody(body)], className="told-of cells"))
        came = "; ".join(
            dict.fromkeys(say("{file}, line {line}", file=o.file, line=o.line) for o in one.origins[:6])
        )
        if came:
            found.append(html.P(say("Read from {came}.", came=came), className="aside"))
    return found


def _um(value: float, flag: FlagRow) -> str:
    if isfinite(value):
        return lengths.bare(value, 1, sign=True)
    return say("left out") if flag.state == "accepted" else say("not read")
