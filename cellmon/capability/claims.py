"""Whether a capability claim is supported, and what forbids it, in plain words.

Stability is judged first: an index of a process that moves on its own is a figure about the past.
"""

from __future__ import annotations

from dataclasses import dataclass

from scipy.special import gammainc

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


@dataclass(frozen=True, kw_only=True)
class Claim:
    """What may be said of a stream's capability."""

    supported: bool
    stable: bool
    reasons: tuple[str, ...]
    """What forbids the claim, the first reason first; empty where it is supported."""


def judge_claim(
    *,
    required: float,
    index_name: str,
    index: float | None,
    bound: float | None,
    confidence: float,
    cautious: float | None = None,
    subgroups: int,
    bores: int,
    open_signals: int = 0,
    real_signals: int = 0,
    wears: bool = False,
    provisional: bool = False,
    mixed: bool = False,
    doubted: int = 0,
    gauge_pct: float | None = None,
    outside: int = 0,
    expected_outside: float | None = None,
    gauge: GaugeState | None = None,
    window: WindowState | None = None,
    more_bores: int | None = None,
) -> Claim:
    """Judge the claim that an index is at least `required`.

    Parameters
    ----------
    required, confidence : float
        What the sheet asks for, and how surely (one-sided).
    index_name : str
        The index claimed, for the sentences: Cpk, Ppk.
    index, bound : float or None
        Its value and one-sided lower bound; None where it could not be computed.
    cautious : float, optional
        The bound where the bores may also come from another distribution that they do not rule out.
    subgroups, bores : int
        In the window.
    open_signals, real_signals : int
        Signals of the stream in the window that nobody has answered, or that were answered as real.
    wears : bool
        The level moves as modelled; stable, but Cp and Cpk leave that movement out.
    provisional : bool
        Limits have not been frozen.
    mixed : bool
        More than one spindle in the window.
    doubted : int
        Bores left out because a flag of theirs has not been cleared.
    gauge_pct : float, optional
        Six standard deviations of the gauge in per cent of the tolerance.
    outside : int
        Bores in the window that were measured beyond a limit.
    expected_outside : float, optional
        How many the model expects there. Far more seen than expected means a short fault that an
        index over the whole window hides.
    gauge, window : optional
        What else is known of the gauge and of the window.
    more_bores : int, optional
        How many more bores would carry the claim if the index found is the true one.

    Examples
    --------
    >>> judge_claim(required=1.33, index_name="Cpk", index=1.5, bound=1.38, confidence=0.975,
    ...             subgroups=30, bores=150).supported
    True
    """
    unstable = _unstable(subgroups=subgroups, open_signals=open_signals, real_signals=real_signals)
    reasons = [
        *unstable,
        *_unfit(
            wears=wears, index_name=index_name, provisional=provisional, mixed=mixed, gauge_pct=gauge_pct
        ),
    ]
    if gauge is not None:
        reasons += _gauge_reasons(gauge)
    if window is not None:
        reasons += _window_reasons(window)
    if bores < LEAST_BORES:
        reasons.append(
            say(
                "Only {bores} bores; {least} are needed: measure {more} more.",
                bores=bores,
                least=LEAST_BORES,
                more=LEAST_BORES - bores,
            )
        )
    if doubted:
        reasons.append(
            say_many(
                "{count} bore left out on a doubt that nobody has cleared: clear or confirm each.",
                "{count} bores left out on a doubt that nobody has cleared: clear or confirm each.",
                doubted,
            )
        )
    if expected_outside is not None and outside_is_strange(outside, expected_outside):
        reasons.append(
            say_many(
                "{count} bore beyond a limit where the model expects {expected}: a short fault hides in the "
                "index. Find it and say what was done.",
                "{count} bores beyond a limit where the model expects {expected}: a short fault hides in the "
                "index. Find it and say what was done.",
                outside,
                expected=significant(expected_outside, 2),
            )
        )
    if index is None or bound is None:
        reasons.append(say("{index} could not be computed.", index=index_name))
    else:
        short = _too_low(index_name, index, bound, cautious, required=required, confidence=confidence)
        if short is not None:
            reasons.append(f"{short} {_remedy(index, required, more_bores)}")
    return Claim(supported=not reasons, stable=not unstable, reasons=tuple(reasons))


def outside_is_strange(seen: int, expected: float) -> bool:
    """Return whether so many rare events, or more, have a chance below `STRANGE` (Poisson).

    >>> outside_is_strange(2, 0.02), outside_is_strange(2, 1.5)
    (True, False)
    """
    return seen > 0 and float(gammainc(seen, expected)) < STRANGE


def _too_low(
    name: str, index: float, bound: float, cautious: float | None, *, required: float, confidence: float
) -> str | None:
    """Return that an index is not known to be high enough; None where it is."""
    known = {"index": name, "value": number(index, 2), "bound": number(_down(bound), 2)}
    if bound < required:
        return say(
            "{index} is {value}, but with {confidence} % confidence it is only known to be at least {bound}; "
            "{required} is required.",
            **known,
            confidence=significant(100 * confidence),
            required=significant(required),
        )
    if cautious is None or cautious >= required:
        return None
    return say(
        "{index} is {value} and known to be at least {bound} if the tail is as it looks; the bores do not "
        "rule out a longer one, and then only at least {cautious}.",
        **known,
        cautious=number(_down(cautious), 2),
    )


def _unstable(*, subgroups: int, open_signals: int, real_signals: int) -> list[str]:
    reasons = []
    if subgroups < LEAST_SUBGROUPS:
        reasons.append(
            say_many(
                "Stability is not shown: only {count} subgroup; {least} are needed. Wait for more.",
                "Stability is not shown: only {count} subgroups; {least} are needed. Wait for more.",
                subgroups,
                least=LEAST_SUBGROUPS,
            )
        )
    if open_signals:
        reasons.append(
            say_many(
                "Not stable: {count} signal not answered. Answer each.",
                "Not stable: {count} signals not answered. Answer each.",
                open_signals,
            )
        )
    if real_signals:
        reasons.append(
            say_many(
                "Not stable: {count} signal answered as a real change. Take a window after the correction.",
                "Not stable: {count} signals answered as a real change. Take a window after the correction.",
                real_signals,
            )
        )
    return reasons


def _unfit(
    *, wears: bool, index_name: str, provisional: bool, mixed: bool, gauge_pct: float | None
) -> list[str]:
    reasons = []
    if wears and index_name.lower() in ("cp", "cpk"):
        reasons.append(
            say("The level moves with wear, which {index} leaves out: claim Ppk.", index=index_name)
        )
    if provisional:
        reasons.append(say("The limits are provisional: nobody has frozen a baseline. Freeze one."))
    if mixed:
        reasons.append(say("Bores of more than one spindle are mixed: state each spindle for itself."))
    if gauge_pct is not None:
        reasons += _gauge_reasons(GaugeState(noise_pct=gauge_pct))
    return reasons


def _gauge_reasons(gauge: GaugeState) -> list[str]:
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


def _window_reasons(window: WindowState) -> list[str]:
    reasons = []
    if window.stone_lives is not None and window.stone_lives < 2:
        reasons.append(say(ONE_LIFE))
    if window.trend_um is not None:
        reasons.append(
            say(
                "The level goes {way} um from the first bore to the last: find the cause, and take a window "
                "in which it comes back.",
                way=f"{window.trend_um:+.1f}",
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


def _remedy(index: float, required: float, more_bores: int | None) -> str:
    if index <= required:
        return say("Centre the process or lessen its spread.")
    if more_bores is None:
        return say("More bores would narrow it.")
    return say(
        "If it stays {index}, about {bores} more bores show it.",
        index=number(index, 2),
        bores=number(more_bores),
    )


def _down(value: float) -> float:
    """Round down, so that a bound just short of what is required does not print as reaching it."""
    return int(value * 100 - (value < 0)) / 100
