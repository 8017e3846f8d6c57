"""The parts to contain after a signal, and what became of each."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from dash import dcc, html

from cellmon import local
from cellmon.errors import CellmonError, WrongUsage
from cellmon.export.tables import hold_table
from cellmon.monitor.hold import DISPOSITIONS, HeldPart, Hold
from cellmon.records import Verdict
from cellmon.words import say, say_many, to_say
from dashboards.figures.terms import term
from dashboards.pages import asked, parts, saving, written

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

SHOWN = 12
"""So many rows stand on the page; the file holds all."""
WHICH = {
    "conform": to_say("parts all of whose bores conform"),
    "undecided": to_say("parts with an undecided bore, none that does not conform"),
    "outside": to_say("parts with a bore that does not conform"),
    "named": to_say("the parts named here"),
}
VERDICTS = (Verdict.DOES_NOT_CONFORM, Verdict.UNDECIDED, Verdict.CONFORMS)
GROUPS = dict(zip(("outside", "undecided", "conform"), VERDICTS, strict=True))
"""The groups of parts that wait, by the worst verdict of each."""
COUNTED = {
    Verdict.DOES_NOT_CONFORM: to_say("{count} not conforming"),
    Verdict.UNDECIDED: to_say("{count} undecided"),
    Verdict.CONFORMS: to_say("{count} conform"),
}


def by_part(hold: Hold) -> dict[str, Verdict]:
    """Return the worst verdict of each part's held bores that have no disposition, in making order."""
    worst: dict[str, Verdict] = {}
    for one in hold.parts:
        if one.disposition is None:
            before = worst.get(one.part, one.verdict)
            worst[one.part] = min(before, one.verdict, key=VERDICTS.index)
    return worst


def chosen(hold: Hold, which: str | None, named: str | None) -> tuple[str, ...]:
    """Return the parts a person means: by verdict among those that wait, or by their serials.

    `which` is None until a person has chosen.

    Raises
    ------
    WrongUsage
        When no part is meant.
    """
    if which == "named":
        found = tuple(dict.fromkeys((named or "").replace(",", " ").split()))
        _must_be_held(hold, found)
    else:
        found = group(hold, which)
    if not found:
        raise WrongUsage(say("No part is meant: name serials, or choose a group that has parts waiting."))
    return found


def group(hold: Hold, which: str | None) -> tuple[str, ...]:
    """Return the parts of a group that wait; none where no group is chosen."""
    verdict = GROUPS.get(which or "")
    return tuple(part for part, worst in by_part(hold).items() if worst is verdict)


def _must_be_held(hold: Hold, named: Sequence[str]) -> None:
    held = {p.part for p in hold.parts}
    strange = [part for part in named if part not in held]
    if strange:
        text = to_say("Not on this hold list, which goes from {first} to {last}: {parts}.")
        raise WrongUsage(say(text, first=hold.from_part, last=hold.to_part, parts=", ".join(strange[:5])))


def sentence(hold: Hold) -> str:
    """Return how many bores and parts are held, what they are, and what became of them."""
    if not hold.parts:
        return say("No part is to be held.")
    serials = {p.part for p in hold.parts}
    verdicts = Counter(p.verdict for p in hold.parts)
    told = ", ".join(say(COUNTED[v], count=local.number(verdicts[v])) for v in VERDICTS if verdicts[v])
    became = Counter({p.part: p.disposition for p in hold.parts}.values())
    done = ", ".join(f"{local.number(became[word])} {term(word)}" for word in DISPOSITIONS if became[word])
    left = (
        say("{done}; {count} parts wait", done=done, count=local.number(became[None]))
        if done
        else say("nothing has been said of any yet")
    )
    return say(
        "Hold {parts} ({bores} bores), {first} to {last}, the last made. Bores: {told}. Of the parts, "
        "{left}.",
        parts=many_parts(len(serials)),
        bores=local.number(len(hold.parts)),
        first=hold.from_part,
        last=hold.to_part,
        told=told,
        left=left,
    )


def many_parts(count: int) -> str:
    """Return a number of parts."""
    return say_many("1 part", "{parts} parts", count, parts=local.number(count))


def shown(hold: Hold) -> list[HeldPart]:
    """Return the first rows to look at: what waits and is outside, then undecided, then the rest."""
    ranked = sorted(hold.parts, key=lambda p: (p.disposition is not None, VERDICTS.index(p.verdict)))
    return ranked[:SHOWN]


def table(hold: Hold) -> html.Table:
    """Return the head of a hold list, the worst first."""
    rows = shown(hold)
    rest = len(hold.parts) - len(rows)
    caption = say("Worst first, those that wait before those that do not.")
    if rest:
        caption += " " + say("The file holds these and {count} more.", count=local.number(rest))
    names = (say("part"), say("bore"), say("measured"), say("verdict"), say("became"))
    return html.Table(
        [
            html.Caption(caption),
            html.Thead(html.Tr([html.Th(name, scope="col") for name in names])),
            html.Tbody([_row(one) for one in rows]),
        ],
        className="words",
    )


def _row(one: HeldPart) -> html.Tr:
    link = dcc.Link(one.part, href=f"/part?{urlencode({'serial': one.part})}")
    became = term(one.disposition) if one.disposition else say("waits")
    cells = (link, one.bore, parts.when(one.measured_at), term(one.verdict.value), became)
    outside = one.verdict is Verdict.DOES_NOT_CONFORM
    return html.Tr([html.Td(c, className="moved" if outside and i == 3 else "") for i, c in enumerate(cells)])


def show_hold(monitor: Monitor, signal: str | None) -> list[Any]:
    """Return the sentence of a signal's hold list with its caution, its table, the groups in it, and all that
    of what was looked at.
    """
    if signal is None:
        return ["", [], which_of(None), {}]
    try:
        hold = monitor.hold(signal)
    except CellmonError as refusal:
        return [str(refusal), [], which_of(None), {}]
    longer = [html.P(parts.capital(f"{one.words}."), className="told") for one in hold.extended]
    head = [sentence(hold), " ", html.Span(hold.caution, className="aside")]
    listed = [parts.across(table(hold), say("Hold list"))] if hold.parts else []
    return [head, [*longer, *listed], which_of(hold), looked_at(hold)]


def looked_at(hold: Hold) -> dict[str, Any]:
    """Return what a hold list says to who decides by it: its decisions, and which parts each group is."""
    groups = {which: _told_apart(found) for which in GROUPS if (found := group(hold, which))}
    return {"decided": hold.decided, "groups": groups}


def _told_apart(parts_of: Sequence[str]) -> str:
    """Return what tells a group of parts from the same group with others in it."""
    return hashlib.sha256("\n".join(sorted(parts_of)).encode()).hexdigest()[:16]


def _must_be_as_shown(which: str | None, meant: Sequence[str], looked: written.Looked | None) -> None:
    """Refuse a group that has changed since it was looked at; parts that are named stay those."""
    if looked is None or which not in GROUPS:
        return
    if looked.get("groups", {}).get(which) != _told_apart(meant):
        text = to_say("This group is now {parts}, and others than were shown; look again. Nothing was kept.")
        raise WrongUsage(say(text, parts=many_parts(len(meant))))


def which_of(hold: Hold | None) -> list[dict[str, str]]:
    """Return the groups of parts to choose from, each with how many of a hold list wait in it."""
    waiting = Counter(() if hold is None else by_part(hold).values())
    many = {name: f" ({local.number(waiting[verdict])})" for name, verdict in GROUPS.items()}
    return [{"value": name, "label": say(words) + many.get(name, "")} for name, words in WHICH.items()]


def release(
    monitor: Monitor,
    signal: str | None,
    which: str | None,
    named: str | None,
    as_: str | None,
    why: str | None,
    by: str | None,
    code: str | None = None,
    *,
    looked: written.Looked | None = None,
) -> str:
    """Say what became of held parts, in the name of a person; return what was done, or why not."""
    try:
        if signal is None or not (as_ and asked.named(by) and (why or "").strip()):
            raise WrongUsage(say("Say what became of the parts, who says so, and why."))
        meant = chosen(monitor.hold(signal), which, named)
        _must_be_as_shown(which, meant, looked)
        who, knew = asked.who_of(by, code), written.knew(looked)
        monitor.release(signal, parts=meant, as_=as_, by=who, why=str(why).strip(), knew=knew)
    except CellmonError as refusal:
        return str(refusal)
    told = say("{parts}: {became}, by {who}.", parts=many_parts(len(meant)), became=term(str(as_)), who=who)
    return written.Kept(told)


def rows(monitor: Monitor, signal: str | None) -> dict[str, Sequence[Any]]:
    """Return the whole hold list as columns."""
    if signal is None:
        return {}
    return saving.columns_of(hold_table(monitor.hold(signal), zone=parts.zone_of(monitor)))
