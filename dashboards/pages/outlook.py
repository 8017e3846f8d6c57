"""What lies ahead of a stream in words: the bores left to a limit, and the correction that pays."""

from __future__ import annotations

from cellmon import lengths, local
from cellmon.monitor.answers import Estimate
from cellmon.monitor.forecast import StreamAdvice
from cellmon.monitor.state import StreamState
from cellmon.words import say, to_say
from dashboards.figures.terms import term


def left_words(found: StreamState) -> str:
    """Return how many bores are left to a limit, with how sure that is; why not, where unknown."""
    left = found.bores_to_limit
    if left is None:
        return found.why_not.get("bores_to_limit", say("not known")) + "."
    ahead = say(
        "{half} to the {side} limit, as likely sooner as later; 1 in 20 within {few}, 19 in 20 within "
        "{most}, if nothing is changed.",
        half=count(left.p50),
        side=term(left.side),
        few=count(left.p05),
        most=count(left.p95),
    )
    return f"{ahead} {drift_words(found.drift_um_per_100_bores)}".rstrip()


def drift_words(drift: Estimate | None) -> str:
    """Return how fast a stream drifts; nothing where that is not known."""
    if drift is None or drift.value is None:
        return ""
    if drift.low is None or drift.high is None:
        return say("It drifts {speed} per 100 bores.", speed=lengths.said(drift.value, 1, sign=True))
    digits = 1 if drift.high - drift.low >= 1 else 2  # no more than the range leaves room for
    speed = lengths.said(drift.value, digits, sign=True)
    low, high = (lengths.bare(end, digits, sign=True) for end in (drift.low, drift.high))
    return say("It drifts {speed} per 100 bores (90 %: {low} to {high}).", speed=speed, low=low, high=high)


def dressing_words(found: StreamState) -> str | None:
    """Return when the next dressing is due, and how many bores are left if it is dressed as planned."""
    planned = found.planned_dressing
    if planned is None:
        return None
    said = say(
        "{due} {plan}; a limit is reached before it {chance}.",
        due=due_words(planned.in_bores),
        plan=say(PLANS[planned.from_]),
        chance=chance(planned.reached_before.value),
    )
    left = planned.bores_to_limit
    if left is None:
        why = planned.why_not["bores_to_limit"]
        return f"{said} {say('How many are left after it is not known: {why}.', why=why)}"
    if left.p05 is None:
        return f"{said} {say('Dressed as planned, no limit is in sight.')}"
    after = say(
        "Dressed as planned {half} to the {side} limit; 1 in 20 within {few}, 19 in 20 within {most}.",
        half=count(left.p50),
        side=term(left.side),
        few=count(left.p05),
        most=count(left.p95),
    )
    return f"{said} {after}"


PLANS = {"sheet": to_say("by the sheet"), "log": to_say("by the median of the last intervals")}


def due_words(in_bores: float) -> str:
    """Return in how many bores a dressing is due, or how far over it is."""
    if in_bores > 0:
        return say("due in {count} bores", count=count(in_bores))
    if in_bores:
        return say("due now, {count} bores over the plan", count=count(-in_bores))
    return say("due now")


def chance(probability: float) -> str:
    """Return how likely something is, in words and per cent."""
    if probability < 0.001:
        return say("in under 1 case of {many}", many=local.number(1000))
    digits = 0 if 0.1 <= probability <= 0.99 else 1
    return say("in {share} % of cases", share=local.number(100 * min(probability, 0.999), digits))


SURE_TO_ONE = 1000
"""Bores below this are said to the last one, as in the sentences of a spindle."""


def count(bores: float | None) -> str:
    """Return a number of bores, thousands to two figures; beyond the forecast's horizon in so many words."""
    if bores is None:
        return say("more than can be foreseen")
    return local.number(bores if bores < SURE_TO_ONE else float(f"{bores:.2g}"))


def advice_words(advice: StreamAdvice) -> str:
    """Return a correction with its size, or to leave it alone, and why."""
    if advice.what == "correct" and advice.by_um is not None:
        return f"{say('{step} of diameter.', step=step_words(advice.by_um))} {advice.why}"
    return f"{term(advice.what)}. {advice.why}"


def step_words(by_um: float) -> str:
    """Return a correction, and its direction in a word."""
    by = lengths.said(by_um, 1, sign=True)
    return say("correct by {by}, larger", by=by) if by_um > 0 else say("correct by {by}, smaller", by=by)
