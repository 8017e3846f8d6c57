"""What is next with a bore in the hand, and why where nothing more can be done."""

from __future__ import annotations

import numpy as np

from cellmon.monitor.bore import words
from cellmon.monitor.bore.form import form_held, verdict_of
from cellmon.monitor.bore.learning import Story
from cellmon.monitor.bore.results import BoreNext
from cellmon.monitor.bore.rounds import Round, rounds_of
from cellmon.monitor.bore.terms import Terms
from cellmon.monitor.view import View
from cellmon.records import Verdict
from cellmon.sizing.advice import Step
from cellmon.sizing.left import CleanUp, clean_up, oversize_for
from cellmon.words import say

ENDS = (Step.CANNOT, Step.UNSETTLED)
"""Steps after which no stroke follows although the bore is not finished."""


def told_next(view: View, terms: Terms, story: Story, part: str, bore: str) -> BoreNext:
    """Return what is advised after the last round, with the reasons where it ends."""
    told, planes = story.advice[-1], list(terms.sheet.measuring.planes)
    confirmed = terms.part.surface == "plain"
    step = told.step.value if confirmed else say("confirm the surface")
    strokes = told.strokes if confirmed else type(told.strokes)()
    finer = terms.finer(story.stones)
    known, by = story.known, {plane: i for i, plane in enumerate(planes)}
    spread = float(np.exp(1.645 * known.log_sd))
    clean = cleaned(terms, story)
    beyond = told.step is Step.CANNOT or (len(story.rounds) == 1 and clean.cleans_up is False)
    oversize = _oversize(terms, story, clean) if beyond else None
    sentence = words.next_sentence(told, planes, finer=finer)
    if told.step is Step.CANNOT:
        sentence += " " + words.oversize_sentence(oversize)
    return BoreNext(
        step=step,
        sentence=sentence if confirmed else say(words.SURFACE, surface=terms.part.surface),
        reasons=_reasons(terms, story, clean) if beyond or told.step in ENDS else (),
        strokes_full=strokes.full,
        strokes_top=strokes.top,
        strokes_bottom=strokes.bottom,
        in_the_way={end: terms.in_the_way(end) for end in ("top", "bottom")},
        begin_at=None if told.begin_at is None else planes[told.begin_at],
        stones=story.stones,
        change_to=finer if told.step is Step.FINER else None,
        expected_um={plane: float(told.expected_um[i]) for plane, i in by.items()},
        low_um={plane: float(told.low_um[i]) for plane, i in by.items()},
        high_um={plane: float(told.high_um[i]) for plane, i in by.items()},
        expected_taper_um=float(told.expected_um[0] - told.expected_um[-1]) if len(planes) > 1 else None,
        ceiling_um=told.ceiling_um,
        past_target=told.past_target,
        past_upper=told.past_upper,
        oversize_um=oversize,
        removal_um=known.middle_um,
        removal_low_um=known.middle_um / spread,
        removal_high_um=known.middle_um * spread,
        feed_um=story.rounds[-1].feed_um,
        other_bore=_other(view, terms, part, bore) if told.step is Step.COOL else None,
    )


def cleaned(terms: Terms, story: Story) -> CleanUp:
    """Return whether the bore as it stands comes clean at this size."""
    hand = terms.sheet.hand
    return clean_up(story.left, terms.limits, allowance_um=5.0 if hand is None else hand.clean_up_um)


def _reasons(terms: Terms, story: Story, clean: CleanUp) -> tuple[str, ...]:
    """Return why the bore ends here: its size, its spread, its surface, its form."""
    left, limits = story.left, terms.limits
    planes, directions = list(terms.sheet.measuring.planes), list(terms.sheet.measuring.directions)
    wide = f"{planes[left.wide.plane]} {directions[left.wide.direction]}"
    found = []
    if left.wide.um > limits.upper - left.guard_um:
        found.append(words.size_reason(left, limits, wide=wide))
    if len(story.rounds) == 1 and clean.cleans_up is False:
        found.append(words.clean_reason(clean, left, limits, wide=wide))
    found += [
        words.form_reason(one)
        for one in form_held(terms, story.rounds[-1])
        if one.verdict is not Verdict.CONFORMS
    ]
    if not left.proven_above_lower:
        found.append(words.spread_reason(left, limits))
    return tuple(found)


def _oversize(terms: Terms, story: Story, clean: CleanUp) -> float | None:
    oversizes = [1000 * mm for mm in terms.part.oversizes_mm]
    return oversize_for(
        clean.least_size_um, oversizes, guard_um=story.left.guard_um, half_um=terms.limits.upper
    )


def _other(view: View, terms: Terms, part: str, bore: str) -> str | None:
    """Return a bore to go on with: one not begun, else one that is not finished."""
    begun = {name: rounds_of(view, part, name) for name in terms.part.bores if name != bore}
    fresh = [name for name, rounds in begun.items() if not rounds]
    rest = [name for name, rounds in begun.items() if rounds and not _conforms(terms, rounds[-1])]
    return next(iter([*fresh, *rest]), None)


def _conforms(terms: Terms, last: Round) -> bool:
    return verdict_of(terms, last) is Verdict.CONFORMS
