"""Whether a capability claim is supported, and what forbids it, in plain words.

Stability is judged first: an index of a process that moves on its own is a figure about the past.
"""

from __future__ import annotations

from dataclasses import dataclass

from scipy.special import gammainc

LEAST_SUBGROUPS = 25
LEAST_BORES = 100
"""At least 25 subgroups and 100 readings for a long-term statement (AIAG PPAP, 4th ed., from memory)."""
STRANGE = 0.001
"""Chance below which more bores beyond the limits than expected are not put down to luck."""
GRR_LIMIT_PCT = 30.0
"""Share of tolerance above which a gauge cannot carry an index (AIAG MSA, from memory)."""


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
    if bores < LEAST_BORES:
        reasons.append(f"Only {bores} bores; {LEAST_BORES} are needed.")
    if doubted:
        reasons.append(f"{_count(doubted, 'bore')} left out on a doubt that nobody has cleared.")
    if expected_outside is not None and outside_is_strange(outside, expected_outside):
        reasons.append(
            f"{_count(outside, 'bore')} beyond a limit where the model expects {expected_outside:.2g}: "
            "a short fault hides in the index."
        )
    if index is None or bound is None:
        reasons.append(f"{index_name} could not be computed.")
    elif bound < required:
        reasons.append(
            f"{index_name} is {index:.2f}, but with {100 * confidence:g} % confidence it is only known to be "
            f"at least {_down(bound):.2f}; {required:g} is required."
        )
    return Claim(supported=not reasons, stable=not unstable, reasons=tuple(reasons))


def outside_is_strange(seen: int, expected: float) -> bool:
    """Return whether so many rare events, or more, have a chance below `STRANGE` (Poisson).

    >>> outside_is_strange(2, 0.02), outside_is_strange(2, 1.5)
    (True, False)
    """
    return seen > 0 and float(gammainc(seen, expected)) < STRANGE


def _unstable(*, subgroups: int, open_signals: int, real_signals: int) -> list[str]:
    reasons = []
    if subgroups < LEAST_SUBGROUPS:
        reasons.append(
            f"Stability is not shown: only {_count(subgroups, 'subgroup')}; {LEAST_SUBGROUPS} are needed."
        )
    if open_signals:
        reasons.append(f"Not stable: {_count(open_signals, 'signal')} not answered.")
    if real_signals:
        reasons.append(f"Not stable: {_count(real_signals, 'signal')} answered as a real change.")
    return reasons


def _unfit(
    *, wears: bool, index_name: str, provisional: bool, mixed: bool, gauge_pct: float | None
) -> list[str]:
    reasons = []
    if wears and index_name.lower() in ("cp", "cpk"):
        reasons.append(f"The level moves with wear, which {index_name} leaves out: claim Ppk.")
    if provisional:
        reasons.append("The limits are provisional: nobody has frozen a baseline.")
    if mixed:
        reasons.append("Bores of more than one spindle are mixed.")
    if gauge_pct is not None and gauge_pct > GRR_LIMIT_PCT:
        reasons.append(
            f"The gauge takes {gauge_pct:.0f} % of the tolerance; at most {GRR_LIMIT_PCT:.0f} % is fit."
        )
    return reasons


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _down(value: float) -> float:
    """Round down, so that a bound just short of what is required does not print as reaching it."""
    return int(value * 100 - (value < 0)) / 100
