"""The record of a bore, or of the bores of one block, honed by hand; or its blank form."""

from __future__ import annotations

from datetime import date

from cellmon import local
from cellmon.errors import NotFound
from cellmon.gauge.decision import guard_factor
from cellmon.monitor.bore import bore as bore_answer
from cellmon.monitor.bore import zero_checks
from cellmon.monitor.bore.block import BlockTold, told_of
from cellmon.monitor.bore.form import form_held
from cellmon.monitor.bore.record_results import (
    HandRecord,
    RecordBore,
    RecordGauge,
    RecordSizes,
    RecordStones,
    RecordTold,
)
from cellmon.monitor.bore.results import BoreAnswer, ZeroCheck
from cellmon.monitor.bore.rounds import Round, bores_begun, rounds_of, unread
from cellmon.monitor.bore.stones import stones_in_hand
from cellmon.monitor.bore.terms import Terms
from cellmon.monitor.view import View
from cellmon.records import Verdict
from cellmon.sheet import Part
from cellmon.words import say, say_many, to_say

__all__ = ["HandRecord", "RecordTold", "blank_record", "hand_record"]

CLEANED = to_say("Washed with hot water and detergent until a white cloth stayed white, dried, oiled at once")
FINISHED = "finished"


def hand_record(
    view: View,
    part: str,
    *,
    bore: str | None = None,
    told: RecordTold | None = None,
    part_number: str | None = None,
) -> HandRecord:
    """Answer: the record of one bore, or of every begun bore of a block.

    Raises
    ------
    NotFound
        When nothing of it was measured.
    """
    more = RecordTold() if told is None else told
    names = bores_begun(view, part) if bore is None else (bore,)
    drawing_of = {name: rounds_of(view, part, name) for name in names}
    if not any(drawing_of.values()):
        raise NotFound(say("nothing of {part} was measured by hand", part=part))
    number = part_number or next(rounds[0].part_number for rounds in drawing_of.values() if rounds)
    drawing = view.sheet.part(number)
    order = [name for name in drawing.bores if drawing_of.get(name)]
    bores = tuple(_bore(view, drawing, part, name, drawing_of[name], more) for name in order)
    last = max(rounds[-1].at for rounds in drawing_of.values() if rounds)
    first = min(rounds[0].at for rounds in drawing_of.values() if rounds)
    day = view.local(last).date()
    checks = tuple(c for c in zero_checks(view) if view.local(first).date() <= c.at.date() <= day)
    return _record(
        view,
        drawing,
        part=part,
        bores=bores,
        told=told_of(view, part),
        by=more.by,
        done_on=day,
        sentence=_sentence(bores, drawing, alone=bore is not None),
        checks=checks,
        not_measured=_not_measured(bores, drawing, alone=bore is not None),
    )


def blank_record(view: View, *, part_number: str | None = None) -> HandRecord:
    """Answer: a record of the same layout in which nothing stands yet, for use without a screen."""
    drawing = view.sheet.part(part_number)
    bores = tuple(_nothing(view, drawing, name) for name in drawing.bores)
    return _record(
        view,
        drawing,
        part="",
        bores=bores,
        told=BlockTold(),
        by="",
        done_on=None,
        sentence="",
        checks=(),
        not_measured=(),
        blank=True,
    )


def _record(
    view: View,
    drawing: Part,
    *,
    part: str,
    bores: tuple[RecordBore, ...],
    told: BlockTold,
    by: str,
    done_on: date | None,
    sentence: str,
    checks: tuple[ZeroCheck, ...],
    not_measured: tuple[str, ...],
    blank: bool = False,
) -> HandRecord:
    terms = Terms.needed(view.sheet, drawing)
    return HandRecord(
        **view.head(),
        shop=view.sheet.cell.name,
        reference=told.reference,
        job=told.job,
        part=part,
        part_number=drawing.number,
        done_on=done_on,
        sentence=sentence,
        planes=dict(view.sheet.measuring.planes),
        directions=tuple(view.sheet.measuring.directions),
        nominal_mm=drawing.diameter.nominal,
        lower_um=terms.limits.lower,
        target_um=terms.limits.target,
        upper_um=terms.limits.upper,
        sizes_at=_sizes_at(bores),
        bores=bores,
        gauge=_gauge(view, checks),
        decision=_decision(terms),
        guard_um=_guard_um(terms),
        cleaned=told.cleaned,
        cleaned_words=say(CLEANED),
        cleaned_at=told.cleaned_at if told.cleaned else None,
        cleaned_by=told.cleaned_by if told.cleaned else None,
        by=by or _measured_by(bores),
        cautions=(say("This record says what was measured; it does not say that a part is fit for use."),),
        not_measured=not_measured,
        blank=blank,
    )


def _bore(
    view: View, drawing: Part, part: str, name: str, rounds: tuple[Round, ...], told: RecordTold
) -> RecordBore:
    answer = bore_answer(
        view, part, name, part_number=drawing.number, mating_part=told.mating_parts.get(name)
    )
    terms = Terms.needed(view.sheet, drawing)
    finished = answer.next is not None and answer.next.step == FINISHED
    return RecordBore(
        bore=name,
        sentence=_bore_sentence(answer, finished=finished),
        finished=finished,
        verdict=answer.verdict,
        received=_sizes(terms, rounds[0]),
        after=_sizes(terms, rounds[-1]) if len(rounds) > 1 or finished else None,
        stones=_stones(view, rounds),
        answer=answer,
    )


def _nothing(view: View, drawing: Part, name: str) -> RecordBore:
    return RecordBore(
        bore=name,
        sentence="",
        finished=False,
        verdict=None,
        received=_sizes(Terms.needed(view.sheet, drawing), unread(view.sheet)),
        after=None,
        stones=(),
        answer=bore_answer(view, "", name, part_number=drawing.number),
    )


def _bore_sentence(answer: BoreAnswer, *, finished: bool) -> str:
    words = {
        Verdict.CONFORMS: to_say("Bore {bore} is proven to conform at every place."),
        Verdict.UNDECIDED: to_say("Bore {bore} is undecided: it is proven neither to conform nor not to."),
        Verdict.DOES_NOT_CONFORM: to_say("Bore {bore} does not conform."),
    }
    if answer.verdict is None:
        return say("Bore {bore} was not measured.", bore=answer.bore)
    if not finished and answer.next is not None and not answer.next.reasons:
        return say("Bore {bore} is not finished.", bore=answer.bore)
    reasons = () if finished or answer.next is None else answer.next.reasons
    return " ".join([say(words[answer.verdict], bore=answer.bore), *reasons])


def _sentence(bores: tuple[RecordBore, ...], drawing: Part, *, alone: bool) -> str:
    if alone:
        return bores[0].sentence
    done = sum(one.verdict is Verdict.CONFORMS and one.finished for one in bores)
    return say_many(
        "{count} of {all} bores is finished and proven to conform at every place.",
        "{count} of {all} bores are finished and proven to conform at every place.",
        done,
        all=len(drawing.bores),
    )


def _sizes(terms: Terms, one: Round) -> RecordSizes:
    measuring, um = terms.sheet.measuring, terms.referred(one)
    places = [f"{plane}_{direction}" for plane in measuring.planes for direction in measuring.directions]
    return RecordSizes(
        um={p: None if v != v else float(v) for p, v in zip(places, um.ravel(), strict=True)},  # noqa: PLR0124
        at_20=measuring.temperature == "by-gauge" or (terms.corrects and one.part_temp_c is not None),
        part_temp_c=one.part_temp_c,
        form=form_held(terms, one),
    )


def _sizes_at(bores: tuple[RecordBore, ...]) -> str:
    sizes = [s for one in bores for s in (one.received, one.after) if s is not None]
    if sizes and all(s.at_20 for s in sizes):
        return say("sizes at 20 °C")
    if any(s.at_20 for s in sizes):
        return say("sizes at 20 °C where a temperature stands, else not corrected")
    return say("not corrected")


def _stones(view: View, rounds: tuple[Round, ...]) -> tuple[RecordStones, ...]:
    found = []
    worked = [one for one in rounds if one.strokes.total]
    for name in dict.fromkeys(one.stones for one in worked):
        mine = [one for one in worked if one.stones == name]
        found.append(
            RecordStones(
                stones=name,
                rounds=len(mine),
                strokes_full=sum(one.strokes.full for one in mine),
                strokes_top=sum(one.strokes.top for one in mine),
                strokes_bottom=sum(one.strokes.bottom for one in mine),
                checked=_checked(view, name),
            )
        )
    return tuple(found)


def _checked(view: View, stones: str) -> str | None:
    try:
        return stones_in_hand(view, stones).sentence
    except NotFound:
        return None


def _gauge(view: View, checks: tuple[ZeroCheck, ...]) -> RecordGauge:
    measuring, hand = view.sheet.measuring, view.sheet.hand
    return RecordGauge(
        gauge=measuring.gauge,
        set_on=None if hand is None else hand.set_on,
        resolution_um=measuring.resolution_um,
        common_um=measuring.common_um,
        reading_um=measuring.reading_um,
        checks=tuple(one for one in checks if one.state),
        sign_checked=any(not one.state for one in zero_checks(view)),
    )


def _guard_um(terms: Terms) -> float:
    decision = terms.sheet.decision
    return 0.0 if decision.rule == "simple" else guard_factor(decision.conformance) * terms.doubt.one_um


def _decision(terms: Terms) -> str:
    decision = terms.sheet.decision
    if decision.rule == "simple":
        return say("Simple: a reading on or inside a limit conforms, whatever the gauge's uncertainty.")
    return say(
        "Guarded (ISO 14253-1): a reading conforms {guard} µm or more inside a limit and does not {guard} µm "
        "or more outside it, each proven to {share} %; between the two neither is proven.",
        guard=local.number(_guard_um(terms), 1),
        share=local.significant(100 * decision.conformance),
    )


def _measured_by(bores: tuple[RecordBore, ...]) -> str:
    names = dict.fromkeys(one.by for b in bores for one in b.answer.rounds if one.by)
    return ", ".join(names)


def _not_measured(bores: tuple[RecordBore, ...], drawing: Part, *, alone: bool) -> tuple[str, ...]:
    found = dict.fromkeys(words for one in bores for words in one.answer.not_measured)
    seen = {one.bore for one in bores}
    left = [] if alone else [name for name in drawing.bores if name not in seen]
    if left:
        found[say_many("bore {bores}", "bores {bores}", len(left), bores=", ".join(left))] = None
    if any(one.answer.clearance is None for one in bores):
        found[say("the part that goes in and its clearance")] = None
    if any(one.answer.crosshatch is None or one.answer.crosshatch.measured_deg is None for one in bores):
        found[say("the crosshatch on the wall")] = None
    return tuple(found)
