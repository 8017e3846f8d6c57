"""What page Bore says and lists of one bore in the hand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import dcc, html

from cellmon import lengths, local
from cellmon.monitor.bore import BoreAnswer, BoreNext, BoreSeen, PlaceLeft
from cellmon.monitor.bore.clearances import BoreClearance
from cellmon.monitor.bore.words import WASH, form_reason
from cellmon.monitor.bore.work import HandBlock
from cellmon.words import say, say_many, to_say
from dashboards import theme
from dashboards.figures.hand_bore import advises_strokes
from dashboards.figures.terms import term
from dashboards.pages import parts

CHECKS = 4
"""So many of the newest checks of the gauge are listed."""
STATES = {
    "as-found": to_say("as found"),
    "as-left": to_say("as left"),
    "": to_say("on something larger"),
}


def lead_of(answer: BoreAnswer) -> str:
    """Return what to do next."""
    return answer.sentence if answer.next is None else answer.next.sentence


def told_of(answer: BoreAnswer, link: Any) -> list[Any]:
    """Return what the last round did, where the bore stands, and what is to be known of the advice."""
    said: list[Any] = []
    if answer.rounds and answer.rounds[-1].kept_sentence:
        said.append(html.P(html.B(answer.rounds[-1].kept_sentence), className="told"))
    if answer.see is not None:
        said.append(html.P(answer.see.sentence, className="told"))
        said += [html.P(one, className="told") for one in settled_words(answer, answer.see)]
    told = answer.next
    if told is not None and told.reasons:
        said.append(html.Ul([html.Li(one) for one in told.reasons], className="lines"))
    if told is not None and told.other_bore is not None:
        waits = say("Meanwhile bore {bore} waits.", bore=told.other_bore)
        said.append(html.P(dcc.Link(waits, href=link(told.other_bore)), className="told"))
    return said


def settled_words(answer: BoreAnswer, seen: BoreSeen) -> list[str]:
    """Return what the gauge cannot settle, and what may be aimed at nevertheless."""
    if seen.settles:
        return list(answer.notes)
    aim = say("Aim at {um} from nominal.", um=theme.um_said(seen.aim_um))
    return [*answer.notes, aim]


def next_words(told: BoreNext) -> list[str]:
    """Return what a stroke takes off, and what the advised strokes should reach."""
    range_ = {
        "um": lengths.said(told.removal_um, 2),
        "low": lengths.bare(told.removal_low_um, 2),
        "high": lengths.bare(told.removal_high_um, 2),
    }
    taken = (
        say(
            "A full stroke takes {um} off ({low} to {high}, 90 %) with stones {stones}.",
            stones=told.stones,
            **range_,
        )
        if told.stones
        else say("A full stroke takes {um} off ({low} to {high}, 90 %).", **range_)
    )
    blocked = [
        say("No short strokes at the {end}: {names} lie there.", end=end, names=", ".join(names))
        for end, names in told.in_the_way.items()
        if names
    ]
    feed = []
    if told.feed_um is not None:
        feed = [say("Feed reading to return to: {um}.", um=lengths.said(told.feed_um))]
    if not advises_strokes(told):
        return [taken, *blocked, *feed]
    return [taken, *blocked, *feed, *_expected(told)]


def _expected(told: BoreNext) -> list[str]:
    planes = ", ".join(
        say(
            "{plane} {um} ({low} to {high})",
            plane=plane,
            um=theme.um(um, 0),
            low=theme.um(told.low_um[plane], 0),
            high=theme.um(told.high_um[plane], 0),
        )
        for plane, um in told.expected_um.items()
    )
    share = local.number(100 * told.past_target)
    return [
        say(
            "Expected after these strokes, {unit} from nominal: {planes}.", unit=lengths.unit(), planes=planes
        ),
        say("Chance that the widest place passes the target: {share} %.", share=share),
    ]


def cautions(answer: BoreAnswer) -> html.P:
    """Return the cautions as they stand beside the advice."""
    return html.P(" ".join(answer.cautions), className="aside cautions")


def bores_of(
    bores: Sequence[str],
    block: HandBlock | None,
    chosen: str,
    link: Any,
    *,
    found_in_shift: Mapping[str, str] | None = None,
) -> list[Any]:
    """Return a link to each bore of the block, with how far it is, or how it was found as one of a shift."""
    found: list[Any] = [say("Bore")]
    for bore in bores:
        rounds = 0 if block is None else block.rounds.get(bore, 0)
        # round 0 is the bore as received
        said = say_many("{count} round", "{count} rounds", rounds - 1)
        if rounds < 2:
            said = say("as received") if rounds else say("not begun")
        if found_in_shift is not None:
            said = found_in_shift.get(bore, say("not yet"))
        here = {"aria-current": "true"} if bore == chosen else {}
        named = [html.B(bore), html.Small(said)]
        found.append(html.Span(dcc.Link(named, href=link(bore)), className="here" if here else ""))
    return found


def drawings_of(numbers: Sequence[str], chosen: str, link: Any) -> list[Any]:
    """Return a link to each drawing where the sheet names several."""
    if not numbers:
        return []
    links = [
        html.Span(dcc.Link(html.B(one), href=link(one)), className="here" if one == chosen else "")
        for one in numbers
    ]
    return [say("Drawing"), *links]


def clearance_words(room: BoreClearance) -> str:
    """Return the room that a part would have in the bore as it stands."""
    said = {
        "part": room.mating_part,
        "least": lengths.said(room.least_um),
        "mean": lengths.said(room.mean_um),
        "greatest": lengths.said(room.greatest_um),
    }
    told = say(
        "Clearance of {part} as the bore stands: {least} at the tightest place, {mean} on average, "
        "{greatest} at the widest.",
        **said,
    )
    if room.verdict is None:
        return told
    limits = [
        say("at least {um}", um=lengths.said(room.lower_um)) if room.lower_um is not None else "",
        say("at most {um}", um=lengths.said(room.upper_um)) if room.upper_um is not None else "",
    ]
    verdict = term(room.verdict.value)
    allowed = ", ".join(one for one in limits if one)
    return f"{told} {say('Allowed {limits}: {verdict}.', limits=allowed, verdict=verdict)}"


def left_table(answer: BoreAnswer, seen: BoreSeen) -> html.Div:
    """Return what the next strokes should do, and what is left at each place to limits and target."""
    head = [say("place"), say("from nominal"), say("to lower limit"), say("to target"), say("to upper limit")]
    caption = say(
        "{unit} of diameter, each ± {um} (k = 2), negative: past it; sizes {at}",
        unit=lengths.unit(),
        um=lengths.bare(seen.uncertainty_um),
        at=answer.sizes_at,
    )
    body = [html.Tr(_place_row(place)) for place in seen.places]
    table = html.Table([html.Caption(caption), _head(head), html.Tbody(body)])
    told = [] if answer.next is None else [html.P(" ".join(next_words(answer.next)), className="aside")]
    told += [html.P(form_reason(one), className="aside") for one in seen.form]
    return html.Div([*told, parts.across(table, say("What is left at each place"))])


def _place_row(place: PlaceLeft) -> list[html.Td]:
    figures = (place.um, place.to_lower_um, place.to_target_um, place.to_upper_um)
    past = place.to_upper_um is not None and place.to_upper_um < 0
    cells = [html.Td("–" if um is None else theme.um(um)) for um in figures]
    if past:
        cells[-1].className = "moved"
    return [html.Td(f"{place.plane} {place.direction}"), *cells]


def _head(names: Sequence[str]) -> html.Thead:
    return html.Thead(html.Tr([html.Th(name, scope="col") for name in names]))


def rounds_table(answer: BoreAnswer) -> list[Any]:
    """Return every round: when, what was done, what was read, and whether it did what was said."""
    if not answer.rounds:
        return []
    places = list(answer.rounds[0].um)
    head = [say("round"), say("read at"), say("strokes"), say("stones"), say("part, °C"), say("master, °C")]
    head += [place.replace("_", " ") for place in places]
    head += [say("by"), say("did what was said")]
    rows = []
    for one in reversed(answer.rounds):
        strokes = f"{one.strokes_full}/{one.strokes_top}/{one.strokes_bottom}" if one.number else "–"
        named = str(one.number) if one.number else say("as received")
        if one.corrected:
            named = say_many(
                "{round}, typed again {count} time",
                "{round}, typed again {count} times",
                one.corrected,
                round=named,
            )
        cells = [named, parts.when(one.at), strokes, one.stones or "–", _temperature(one.part_temp_c)]
        cells.append(_temperature(one.master_temp_c))
        cells += [theme.um(one.um[place]) if one.um[place] is not None else "–" for place in places]
        cells += [one.by, one.kept_sentence or "–"]
        rows.append(html.Tr([html.Td(cell) for cell in cells]))
    caption = say(
        "Strokes: full/top/bottom. Readings in {unit} from nominal, as they were typed.", unit=lengths.unit()
    )
    table = html.Table([html.Caption(caption), _head(head), html.Tbody(rows)])
    return [html.H2(say("Rounds")), parts.across(table, say("Rounds"))]


def _temperature(c: float | None) -> str:
    return "–" if c is None else local.number(c, 1)


def after_of(answer: BoreAnswer, waiting: Sequence[str], link: Any) -> list[Any]:
    """Return what is left to do with a finished bore, and which bores of the block wait."""
    said: list[Any] = []
    if answer.next is not None and answer.next.step == "finished":
        said.append(html.P(say(WASH), className="told"))
    if waiting:
        links = [dcc.Link(say("Go on with bore {bore}", bore=one), href=link(one)) for one in waiting[:1]]
        said.append(html.P(links, className="told"))
    return said


def checks_of(answer: BoreAnswer) -> list[Any]:
    """Return the newest checks of the gauge on its master, and what was not measured."""
    said: list[Any] = []
    lines = [
        say(
            "{when}: {state}, {um} from zero on the {master}",
            when=parts.when(one.at),
            state=say(STATES[one.state]),
            um=theme.um_said(one.zero_um),
            master=one.set_on,
        )
        for one in answer.zero_checks[-CHECKS:]
    ]
    if lines:
        said = [html.H2(say("The gauge on its master")), html.Ul([html.Li(one) for one in lines])]
        said[-1].className = "lines"
    missing = say("Not measured: {what}.", what="; ".join(answer.not_measured))
    return [*said, html.P(missing, className="aside")]
