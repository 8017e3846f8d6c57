"""Whether a capability claim is supported, and what forbids it, in plain words.

Stability is judged first: an index of a process that moves on its own is a figure about the past.
"""

from __future__ import annotations

from dataclasses import dataclass

from cellmon.capability.claim_reasons import (
    BoresBehind,
    GaugeState,
    WindowState,
    bores_reasons,
    gauge_reasons,
    unstable_reasons,
    window_reasons,
)
from cellmon.local import number, significant
from cellmon.words import say


@dataclass(frozen=True, kw_only=True)
class ClaimedIndex:
    """An index that is to be at least what the sheet requires, and how surely it is known."""

    name: str
    """As sentences call it: Ppk."""
    value: float | None
    """None where it could not be computed."""
    bound: float | None
    """Its one-sided lower bound."""
    required: float
    confidence: float
    """Of the bound, one-sided."""
    cautious: float | None = None
    """The bound where the bores may also come from another distribution that they do not rule out."""
    more_bores: int | None = None
    """How many more bores would carry the claim if the index found is the true one."""


@dataclass(frozen=True, kw_only=True)
class Claim:
    """What may be said of a stream's capability."""

    supported: bool
    stable: bool
    reasons: tuple[str, ...]
    """What forbids the claim, the first reason first; empty where it is supported."""


def judge_claim(
    claimed: ClaimedIndex,
    seen: BoresBehind,
    *,
    gauge: GaugeState | None = None,
    window: WindowState | None = None,
) -> Claim:
    """Judge the claim that an index is at least what is required.

    Parameters
    ----------
    claimed : ClaimedIndex
        The index with its bound and what the sheet asks for.
    seen : BoresBehind
        The bores it came from.
    gauge, window : optional
        What is known of the gauge and of the window.

    Examples
    --------
    >>> index = ClaimedIndex(name="Ppk", value=1.5, bound=1.38, required=1.33, confidence=0.975)
    >>> judge_claim(index, BoresBehind(subgroups=30, bores=150)).supported
    True
    """
    unstable = unstable_reasons(seen)
    reasons = list(unstable)
    if seen.provisional:
        reasons.append(say("The limits are provisional: nobody has frozen a baseline. Freeze one."))
    if gauge is not None:
        reasons += gauge_reasons(gauge)
    if window is not None:
        reasons += window_reasons(window)
    reasons += bores_reasons(seen)
    if (short := _too_low(claimed)) is not None:
        reasons.append(short)
    return Claim(supported=not reasons, stable=not unstable, reasons=tuple(reasons))


def _too_low(claimed: ClaimedIndex) -> str | None:
    """Return that an index is not known to be high enough, and what would help; None where it is."""
    if claimed.value is None or claimed.bound is None:
        return say("{index} could not be computed.", index=claimed.name)
    known = {
        "index": claimed.name,
        "value": number(claimed.value, 2),
        "bound": number(_down(claimed.bound), 2),
    }
    if claimed.bound < claimed.required:
        short = say(
            "{index} is {value}, but with {confidence} % confidence it is only known to be at least {bound}; "
            "{required} is required.",
            **known,
            confidence=significant(100 * claimed.confidence),
            required=significant(claimed.required),
        )
    elif claimed.cautious is not None and claimed.cautious < claimed.required:
        short = say(
            "{index} is {value} and known to be at least {bound} if the tail is as it looks; the bores do "
            "not rule out a longer one, and then only at least {cautious}.",
            **known,
            cautious=number(_down(claimed.cautious), 2),
        )
    else:
        return None
    return f"{short} {_remedy(claimed.value, claimed.required, claimed.more_bores)}"


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
