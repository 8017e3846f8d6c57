"""One bore in the hand: what it says, what is next, whether the last round did what was said."""

from __future__ import annotations

import numpy as np

from cellmon.errors import NotFound
from cellmon.monitor.bore.block import told_of
from cellmon.monitor.bore.clearances import clearance_of
from cellmon.monitor.bore.crosshatch import crosshatch_of
from cellmon.monitor.bore.following import told_next
from cellmon.monitor.bore.form import form_held, verdict_of
from cellmon.monitor.bore.learning import Story, memory_of, story_of
from cellmon.monitor.bore.results import (
    BoreAnswer,
    BoreNext,
    BoreRound,
    BoreSeen,
    PlaceLeft,
    ZeroCheck,
)
from cellmon.monitor.bore.rounds import Round, rounds_of
from cellmon.monitor.bore.terms import Terms
from cellmon.monitor.bore.words import CAUTIONS, kept_sentence, see_sentence
from cellmon.monitor.view import View
from cellmon.records import GaugeChecks, Kind
from cellmon.sheet import Part
from cellmon.sizing.left import Left, aim_of, clean_up
from cellmon.words import say

__all__ = ["BoreAnswer", "BoreNext", "BoreRound", "BoreSeen", "PlaceLeft", "ZeroCheck", "bore"]


def bore(
    view: View,
    part: str,
    bore: str,
    *,
    part_number: str | None = None,
    next_stones: str | None = None,
    mating_part: str | None = None,
) -> BoreAnswer:
    """Answer: what one bore's rounds say, and what is next.

    Parameters
    ----------
    view : View
    part, bore : str
        Serial of the block, and the bore as the sheet names it.
    part_number : str, optional
        The drawing; that of the rounds kept so far, else the first of the sheet.
    next_stones : str, optional
        The stones in the hone for the next round; else those of the last.
    mating_part : str, optional
        Serial of the part that goes in, for its clearance.
    """
    rounds = rounds_of(view, part, bore)
    drawing, terms = terms_for(view, bore, part_number or (rounds[0].part_number if rounds else None))
    story = None
    if rounds:
        memory = memory_of(view, terms, part, bore)
        story = story_of(terms, rounds, memory, next_stones=next_stones)
    seen = None if story is None else _seen(terms, story)
    fits = None
    if story is not None and mating_part is not None:
        fits = clearance_of(view, terms, rounds[-1], mating_part)
    told = None if story is None else told_next(view, terms, story, part, bore)
    sentence, checks = say("Nothing is measured yet: read the bore as received."), zero_checks(view)
    return BoreAnswer(
        **view.head(),
        why_not={} if rounds else {"see": sentence, "next": sentence},
        part=part,
        bore=bore,
        part_number=drawing.number,
        nominal_mm=drawing.diameter.nominal,
        length_mm=drawing.length_mm,
        depths_mm=dict(view.sheet.measuring.planes),
        lower_um=terms.limits.lower,
        target_um=terms.limits.target,
        upper_um=terms.limits.upper,
        sentence=sentence if seen is None or told is None else f"{seen.sentence} {told.sentence}",
        see=seen,
        next=told,
        verdict=None if story is None else verdict_of(terms, rounds[-1]),
        clearance=fits,
        crosshatch=None if story is None else crosshatch_of(view, terms, rounds, part, bore),
        rounds=() if story is None else tuple(_round(view, story, i) for i in range(len(rounds))),
        block=told_of(view, part),
        zero_checks=tuple(one for one in checks if one.state),
        sign_checked=bool(rounds) or any(not one.state for one in checks),
        sizes_at=say("20 °C") if terms.corrects else say("as read, not corrected for temperature"),
        cautions=tuple(say(one) for one in CAUTIONS),
        notes=_notes(terms),
        not_measured=_not_measured(rounds),
    )


def terms_for(view: View, bore: str, part_number: str | None) -> tuple[Part, Terms]:
    """Return the drawing of a bore and its terms, or refuse a bore that cannot be sized."""
    drawing = view.sheet.part(part_number)
    if bore not in drawing.bores:
        raise NotFound(
            say("no bore {bore}; the sheet names {bores}", bore=bore, bores=", ".join(drawing.bores))
        )
    return drawing, Terms.needed(view.sheet, drawing)


def _seen(terms: Terms, story: Story) -> BoreSeen:
    left, hand = story.left, terms.sheet.hand
    planes, directions = list(terms.sheet.measuring.planes), list(terms.sheet.measuring.directions)
    aim = aim_of(terms.limits, terms.doubt, conformance=terms.sheet.decision.conformance)
    clean = clean_up(left, terms.limits, allowance_um=5.0 if hand is None else hand.clean_up_um)
    tight, wide = (f"{planes[p.plane]} {directions[p.direction]}" for p in (left.tight, left.wide))
    left_um = terms.limits.target - left.wide.um
    sentence = see_sentence(
        taper_um=left.taper_um,
        taper_told=left.taper_told or left.ends_tight,
        tight=tight,
        wide=wide,
        left_um=left_um,
        tells_um=terms.doubt.tells_um(),
    )
    if len(story.rounds) == 1 and clean.cleans_up is False:
        sentence += " " + say("It will not clean up at this size.")
    elif len(story.rounds) == 1 and clean.cleans_up:
        sentence += " " + say("It will clean up at this size.")
    return BoreSeen(
        sentence=sentence,
        places=_places(terms, left),
        uncertainty_um=left.uncertainty_um,
        tight=tight,
        wide=wide,
        taper_um=left.taper_um,
        taper_told=left.taper_told,
        out_of_round={
            plane: None if k < 0 else directions[k]
            for plane, k in zip(planes, left.oval_direction.tolist(), strict=True)
        },
        left_um=left_um,
        guard_um=left.guard_um,
        settles=aim.settles,
        aim_um=aim.aim_um,
        cleans_up=clean.cleans_up,
        least_size_um=clean.least_size_um,
        form=form_held(terms, story.rounds[-1]),
    )


def _places(terms: Terms, left: Left) -> tuple[PlaceLeft, ...]:
    return tuple(
        PlaceLeft(
            plane=plane,
            direction=direction,
            um=_none(terms.limits.target - left.to_target[i, j]),
            to_lower_um=_none(left.to_lower[i, j]),
            to_target_um=_none(left.to_target[i, j]),
            to_upper_um=_none(left.to_upper[i, j]),
        )
        for i, plane in enumerate(terms.sheet.measuring.planes)
        for j, direction in enumerate(terms.sheet.measuring.directions)
    )


def _round(view: View, story: Story, index: int) -> BoreRound:
    one: Round = story.rounds[index]
    measuring = view.sheet.measuring
    places = [f"{p}_{d}" for p in measuring.planes for d in measuring.directions]
    found = story.outcomes[index]
    return BoreRound(
        number=one.number,
        at=view.local(one.at),
        um=dict(zip(places, (_none(v) for v in one.um.ravel()), strict=True)),
        stones=one.stones,
        strokes_full=one.strokes.full,
        strokes_top=one.strokes.top,
        strokes_bottom=one.strokes.bottom,
        rpm=one.rpm,
        feed_um=one.feed_um,
        part_temp_c=one.part_temp_c,
        by=one.by,
        note=one.note,
        corrected=one.corrected,
        strokes_per_min=one.strokes_per_min,
        master_temp_c=one.master_temp_c,
        kept=None if found is None else found.kept.value,
        kept_sentence=None if found is None else kept_sentence(found.kept),
    )


def zero_checks(view: View) -> tuple[ZeroCheck, ...]:
    """Return every check of the hand gauge on its master, oldest first."""
    rows: GaugeChecks = view.session.rows(Kind.GAUGE_CHECKS)
    mine = np.flatnonzero(rows.gauge == view.sheet.measuring.gauge)
    return tuple(
        ZeroCheck(
            at=view.local(rows.at[i]),
            state=str(rows.state[i] or ""),
            set_on=str(rows.set_on[i] or ""),
            zero_um=round(1000 * float(rows.reading_mm[i] - rows.master_mm[i]), 3),
        )
        for i in mine
    )


def _notes(terms: Terms) -> tuple[str, ...]:
    measuring, notes = terms.sheet.measuring, []
    if measuring.common_um is None or measuring.reading_um is None:
        notes.append(
            say("The sheet states no uncertainty of the gauge; 1 µm common and 1 µm a reading are taken.")
        )
    if not aim_of(terms.limits, terms.doubt).settles:
        notes.append(
            say(
                "The gauge's uncertainty is over a quarter of the tolerance: it cannot prove a size near "
                "a limit."
            )
        )
    return tuple(notes)


def _not_measured(rounds: tuple[Round, ...]) -> tuple[str, ...]:
    missing = [say("odd lobes and a bent axis: two points do not see them"), say("surface texture")]
    if rounds and all(one.part_temp_c is None for one in rounds):
        missing.append(say("temperature of the part"))
    return tuple(missing)


def _none(value: float) -> float | None:
    return None if np.isnan(value) else float(value)
