"""What lies ahead of a stream in words: the bores left to a limit, and the correction that pays."""

from __future__ import annotations

from cellmon.monitor.forecast import StreamAdvice
from cellmon.monitor.state import StreamState


def left_words(found: StreamState) -> str:
    """Return how many bores are left to a limit, with how sure that is; why not, where unknown."""
    left = found.bores_to_limit
    if left is None:
        return found.why_not.get("bores_to_limit", "not known") + "."
    drift = found.drift_um_per_100_bores
    slope = ""
    if drift is not None and drift.value is not None:
        slope = f" It drifts {drift.value:+.2f} µm per 100 bores".replace("-", "−")
        if drift.low is not None and drift.high is not None:
            slope += f" (90 %: {drift.low:+.2f} to {drift.high:+.2f})".replace("-", "−")
        slope += "."
    return (
        f"{count(left.p50)} to the {left.side} limit, as likely sooner as later; 1 in 20 within "
        f"{count(left.p05)}, 19 in 20 within {count(left.p95)}, if nothing is changed.{slope}"
    )


def dressing_words(found: StreamState) -> str | None:
    """Return when the next dressing is due, and how many bores are left if it is dressed as planned."""
    planned = found.planned_dressing
    if planned is None:
        return None
    due = f"due in {count(planned.in_bores)} bores"
    if planned.in_bores <= 0:
        due = f"due now, {count(-planned.in_bores)} bores over the plan" if planned.in_bores else "due now"
    plan = {"sheet": "by the sheet", "log": "by the median of the last intervals"}[planned.from_]
    before = chance(planned.reached_before.value)
    said = f"{due} {plan}; a limit is reached before it {before}."
    left = planned.bores_to_limit
    if left is None:
        return f"{said} How many are left after it is not known: {planned.why_not['bores_to_limit']}."
    if left.p05 is None:
        return f"{said} Dressed as planned, no limit is in sight."
    return (
        f"{said} Dressed as planned {count(left.p50)} to the {left.side} limit; 1 in 20 within "
        f"{count(left.p05)}, 19 in 20 within {count(left.p95)}."
    )


def chance(probability: float) -> str:
    """Return how likely something is, in words and per cent."""
    if probability < 0.001:
        return "in under 1 case of 1,000"
    return f"in {100 * min(probability, 0.999):.1f} % of cases"


def count(bores: float | None) -> str:
    """Return a number of bores; beyond the horizon of the forecast in so many words."""
    return "more than can be foreseen" if bores is None else f"{bores:,.0f}"


def advice_words(advice: StreamAdvice) -> str:
    """Return a correction with its size, or to leave it alone, and why."""
    if advice.what == "correct" and advice.by_um is not None:
        return f"{step_words(advice.by_um)} of diameter. {advice.why}"
    return f"{advice.what}. {advice.why}"


def step_words(by_um: float) -> str:
    """Return a correction in micrometres, and its direction in a word."""
    return f"correct by {by_um:+.1f} µm, {'larger' if by_um > 0 else 'smaller'}".replace("-", "−")
