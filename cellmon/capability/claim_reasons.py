"""What forbids a capability claim, one sentence each with what to do: the bores, the gauge, the window."""

from __future__ import annotations

from dataclasses import dataclass

from scipy.special import gammainc

from cellmon import lengths
from cellmon.local import number, significant
from cellmon.words import say, say_many, to_say

LEAST_SUBGROUPS = 25
LEAST_BORES = 100
"""At least 25 subgroups and 100 readings for a long-term statement (AIAG PPAP, 4th ed., from memory)."""
STRANGE = 0.001
"""Chance below which more bores beyond the limits than expected are not put down to luck."""
GRR_LIMIT_PCT = 30.0
"""Share of tolerance above which a gauge cannot carry an index (AIAG MSA, from memory)."""
STEP_LIMIT_PCT = 5.0
"""Smallest step of a gauge, in per cent of the tolerance, above which it is too coarse (ISO 22514-7, from
memory)."""
LEAST_STEPS = 5
"""Different readings inside the spread below which a gauge is too coarse (*common practice, no source*)."""
ONE_LIFE = to_say(
    "Only one life of the stones is in the window, with no dressing or change of them: take in more."
)
SEVERAL_LEVELS = to_say(
    "The bores lie about several levels: find what sets them apart (spindle, fixture, stones, offset) and "
    "state each for itself."
)
NOT_PREDICTABLE = to_say(
    "The spread moves in the window, so the next bores cannot be foretold: find what moves it."
)
NO_FAMILY = to_say(
    "No distribution tried could have made these bores: look at the chart for a mixture or a short fault, or "
    "take enough bores to do without one."
)
SORTED = to_say(
    "The bores end at {limit} as if sorted: accepted parts only tell nothing of the process. Take all bores "
    "as they were made."
)


@dataclass(frozen=True, kw_only=True)
class BoresBehind:
    """The bores from which an index came, and what is known against them."""

    subgroups: int
    bores: int
    open_signals: int = 0
    """Signals of the stream in the window that nobody has answered."""
    real_signals: int = 0
    """Signals that were answered as real."""
    provisional: bool = False
    """Limits have not been frozen."""
    doubted: int = 0
    """Bores left out because a flag of theirs has not been cleared."""
    outside: int = 0
    """Bores that were measured beyond a limit."""
    expected_outside: float | None = None
    """How many the model expects there. Far more seen than expected means a short fault that an index over
    the whole window hides."""


@dataclass(frozen=True, kw_only=True)
class GaugeState:
    """What is known of the gauge behind the bores; None where nothing is."""

    noise_pct: float | None = None
    """Six standard deviations in per cent of the tolerance."""
    step_pct: float | None = None
    """Smallest step in per cent of the tolerance."""
    steps: int | None = None
    """Different readings inside the spread of the bores."""
    past_calibration: bool = False
    """Its calibration, or its last check on the master, was due before the window ended."""


@dataclass(frozen=True, kw_only=True)
class WindowState:
    """What is known of the window of bores; None where nothing is."""

    stone_lives: int | None = None
    """Stretches between fitting or dressing stones that the window touches."""
    trend_um: float | None = None
    """Way of a trend over the window, where it matters."""
    feedback_changes: int = 0
    """Changes of the set-up, or of the rule by which the machine follows its gauge."""
    cliffs: tuple[str, ...] = ()
    """Limits at which the bores end as if sorted, in words: `the upper limit`."""
    several_levels: bool = False
    """The bores lie about several levels."""
    repeats: int = 0
    """Rows of bores that were measured before."""
    family_fits: bool = True
    """Some distribution could have made the bores."""
    predictable: bool = True
    """The distribution-time model is not one in which the spread moves too."""


def unstable_reasons(seen: BoresBehind) -> list[str]:
    """Return why stability is not shown, the first reason first; [] where it is."""
    reasons = []
    if seen.subgroups < LEAST_SUBGROUPS:
        reasons.append(
            say_many(
                "Stability is not shown: only {count} subgroup; {least} are needed. Wait for more.",
                "Stability is not shown: only {count} subgroups; {least} are needed. Wait for more.",
                seen.subgroups,
                least=LEAST_SUBGROUPS,
            )
        )
    if seen.open_signals:
        reasons.append(
            say_many(
                "Not stable: {count} signal not answered. Answer each.",
                "Not stable: {count} signals not answered. Answer each.",
                seen.open_signals,
            )
        )
    if seen.real_signals:
        reasons.append(
            say_many(
                "Not stable: {count} signal answered as a real change. Take a window after the correction.",
                "Not stable: {count} signals answered as a real change. Take a window after the correction.",
                seen.real_signals,
            )
        )
    return reasons


def bores_reasons(seen: BoresBehind) -> list[str]:
    """Return what is wrong with how many bores there are, which were left out and how many lie outside."""
    reasons = []
    if seen.bores < LEAST_BORES:
        reasons.append(
            say(
                "Only {bores} bores; {least} are needed: measure {more} more.",
                bores=seen.bores,
                least=LEAST_BORES,
                more=LEAST_BORES - seen.bores,
            )
        )
    if seen.doubted:
        reasons.append(
            say_many(
                "{count} bore left out on a doubt that nobody has cleared: clear or confirm each.",
                "{count} bores left out on a doubt that nobody has cleared: clear or confirm each.",
                seen.doubted,
            )
        )
    if seen.expected_outside is not None and outside_is_strange(seen.outside, seen.expected_outside):
        reasons.append(
            say_many(
                "{count} bore beyond a limit where the model expects {expected}: a short fault hides in the "
                "index. Find it and say what was done.",
                "{count} bores beyond a limit where the model expects {expected}: a short fault hides in the "
                "index. Find it and say what was done.",
                seen.outside,
                expected=significant(seen.expected_outside, 2),
            )
        )
    return reasons


def outside_is_strange(seen: int, expected: float) -> bool:
    """Return whether so many rare events, or more, have a chance below `STRANGE` (Poisson).

    >>> outside_is_strange(2, 0.02), outside_is_strange(2, 1.5)
    (True, False)
    """
    return seen > 0 and float(gammainc(seen, expected)) < STRANGE


def gauge_reasons(gauge: GaugeState) -> list[str]:
    """Return why the gauge cannot carry an index, and what to do; [] where it can."""
    reasons = []
    if gauge.noise_pct is not None and gauge.noise_pct > GRR_LIMIT_PCT:
        reasons.append(
            say(
                "The gauge takes {share} % of the tolerance; at most {most} % is fit. Mend the gauge, or "
                "measure each bore several times.",
                share=number(gauge.noise_pct),
                most=number(GRR_LIMIT_PCT),
            )
        )
    if gauge.step_pct is not None and gauge.step_pct > STEP_LIMIT_PCT:
        reasons.append(
            say(
                "The gauge is too coarse: its step is {share} % of the tolerance, at most {most} % is fit. "
                "Use a finer one.",
                share=number(gauge.step_pct),
                most=number(STEP_LIMIT_PCT),
            )
        )
    elif gauge.steps is not None and gauge.steps < LEAST_STEPS:
        reasons.append(
            say(
                "The gauge is too coarse: only {steps} different readings inside the spread, at least "
                "{least} are needed. Use a finer one.",
                steps=gauge.steps,
                least=LEAST_STEPS,
            )
        )
    if gauge.past_calibration:
        reasons.append(
            say(
                "The gauge is past its calibration or its check: check it on the master; if it is off, the "
                "bores since the last good check prove nothing."
            )
        )
    return reasons


def window_reasons(window: WindowState) -> list[str]:
    """Return why the window does not speak for the bores to come, and what to do; [] where it does."""
    reasons = []
    if window.stone_lives is not None and window.stone_lives < 2:
        reasons.append(say(ONE_LIFE))
    if window.trend_um is not None:
        reasons.append(
            say(
                "The level goes {way} from the first bore to the last: find the cause, and take a window "
                "in which it comes back.",
                way=lengths.said(window.trend_um, 1, sign=True),
            )
        )
    if window.feedback_changes:
        reasons.append(
            say_many(
                "Set-up or feedback was changed {count} time in the window: take the bores since the last "
                "change.",
                "Set-up or feedback was changed {count} times in the window: take the bores since the last "
                "change.",
                window.feedback_changes,
            )
        )
    if window.several_levels:
        reasons.append(say(SEVERAL_LEVELS))
    if window.repeats:
        reasons.append(
            say_many(
                "{count} reading of bores that were measured before: count each bore once, by its first "
                "reading.",
                "{count} readings of bores that were measured before: count each bore once, by its first "
                "reading.",
                window.repeats,
            )
        )
    if not window.predictable:
        reasons.append(say(NOT_PREDICTABLE))
    if not window.family_fits:
        reasons.append(say(NO_FAMILY))
    return reasons + [say(SORTED, limit=limit) for limit in window.cliffs]
