"""Capability of one stream in words: what paper and page both say of it."""

from __future__ import annotations

from dataclasses import dataclass

from cellmon import lengths
from cellmon.capability.models import Movement
from cellmon.capability.unbounded import NORMAL
from cellmon.local import MINUS, number, significant
from cellmon.monitor.answers import Estimate, Tolerance
from cellmon.monitor.capability_range import BoresWithin
from cellmon.monitor.capability_stream import SUPPORTED, StreamCapability
from cellmon.words import say, to_say

MOVEMENTS = {
    Movement.CONSTANT: to_say("constant"),
    Movement.MODELLED: to_say("moves as modelled"),
    Movement.NOT_PREDICTABLE: to_say("not predictable"),
}


@dataclass(frozen=True, kw_only=True)
class IndexLine:
    """One line of the table of indices, as texts."""

    name: str
    found: str
    interval: str
    rests_on: str


def claim_words(row: StreamCapability, *, required: float) -> str:
    """Return whether the claim is supported, in a few words."""
    if row.claim == SUPPORTED:
        return say("Supported: Ppk of at least {required}", required=significant(required))
    return say("Not supported: Ppk of at least {required}", required=significant(required))


def index_sentence(row: StreamCapability, *, confidence: float) -> str:
    """Return the index with its interval and bound, and what lies beyond the limits, in a sentence or two."""
    if row.ppk is None or row.ppk.value is None:
        why = row.why_not.get("ppk") or row.why_not.get("cp") or say("not known")
        return say("No index: {why}.", why=why)
    index = {"n": number(row.n), "ppk": number(row.ppk.value, 2) + between(row.ppk)}
    if row.lower_bound is None:
        said = say("Of {n} bores Ppk is {ppk}.", **index)
    else:
        said = say(
            "Of {n} bores Ppk is {ppk}; with {confidence} % confidence it is at least {bound}.",
            **index,
            confidence=significant(100 * confidence),
            bound=down(row.lower_bound),
        )
    beyond = _beyond_words(row)
    return f"{said} {beyond}" if beyond else said


def _beyond_words(row: StreamCapability) -> str:
    """Return what is expected beyond the limits and what was measured there; nothing where unknown."""
    e = row.ppm_expected
    if e is None or e.value is None:
        return ""
    figure = {"ppm": ppm(e.value), "n": number(row.n)}
    figure["ends"] = ""
    if e.low is not None and e.high is not None:
        figure["ends"] = say(" ({low} to {high})", low=ppm(e.low), high=ppm(e.high))
    if row.ppm_observed is None:
        return say("Expected beyond the limits {ppm} ppm{ends} of {n}.", **figure)
    seen = number(round(row.ppm_observed * row.n / 1e6))
    return say(
        "Expected beyond the limits {ppm} ppm{ends}; measured there: {seen} of {n}.", **figure, seen=seen
    )


def index_lines(row: StreamCapability) -> tuple[IndexLine, ...]:
    """Return the four lines of the table of indices."""
    same = say("the same, for the nearer limit")
    lines = (
        (
            "Cp",
            row.cp,
            say(
                "tolerance against the spread inside subgroups, standard deviation {sd}",
                sd=_um(row.sd_within_um),
            ),
        ),
        ("Cpk", row.cpk, same),
        ("Pp", row.pp, say("tolerance against {outer}", outer=_outer(row))),
        ("Ppk", row.ppk, same if row.pp else say("nearer limit against {outer}", outer=_outer(row))),
    )
    return tuple(_line(name, e, row.why_not.get(name.lower()), words) for name, e, words in lines)


def _outer(row: StreamCapability) -> str:
    """Return what the indices of all bores rest on."""
    if row.model == say(NORMAL.name):
        return say("the spread of all bores, standard deviation {sd}", sd=_um(row.sd_total_um))
    return say("the model's outer quantiles of all bores (0.135 and 99.865 %)")


def _line(name: str, e: Estimate | None, why: str | None, words: str) -> IndexLine:
    if e is None or e.value is None:
        return IndexLine(name=name, found=say("none"), interval="", rests_on=why or say("not known"))
    ends = ""
    if e.low is not None and e.high is not None:
        ends = say("{low} to {high}", low=number(e.low, 2), high=number(e.high, 2))
    return IndexLine(name=name, found=number(e.value, 2), interval=ends, rests_on=words)


def interval_head(row: StreamCapability) -> str:
    """Return the heading of the intervals: their confidence."""
    every = (row.cp, row.cpk, row.pp, row.ppk)
    known = [e.confidence for e in every if e is not None and e.confidence is not None]
    return say("{share} % interval", share=significant(100 * known[0])) if known else say("interval")


TOO_NARROW = to_say(
    "While the level moves, the far end of the band is narrower than it says: "
    "where 95 % was meant, simulations held 80 to 93 %."
)


def model_words(row: StreamCapability, tolerance: Tolerance, unit: str) -> str:
    """Return mean, limits, model, what the bores are worth and how far the claim is away."""
    said = [_mean_words(row, tolerance, unit)]
    if row.time_model is not None:
        movement = None if row.movement is None else say(MOVEMENTS[Movement(row.movement)])
        said.append(
            say("In time {model}; what is to come: {movement}.", model=row.time_model, movement=movement)
        )
        if row.movement not in (None, Movement.CONSTANT):
            said.append(say(TOO_NARROW))
    if row.effective_n is not None and row.correlation is not None:
        said.append(
            say(
                "The bores are worth {count} independent ones (correlation of neighbours {correlation}).",
                count=number(row.effective_n),
                correlation=number(row.correlation, 2),
            )
        )
    if row.cautious_bound is not None and row.cautious_bound != row.lower_bound:
        bound = down(row.cautious_bound)
        said.append(say("If the tail is longer than it looks, Ppk is at least {bound}.", bound=bound))
    if row.ppk_process is not None and row.ppk_process.value is not None:
        process = number(row.ppk_process.value, 2) + between(row.ppk_process)
        said.append(say("Without the noise of the gauge Ppk would be {process}.", process=process))
    if row.tolerance_interval is not None:
        said.append(within_words(row.tolerance_interval, unit))
    if row.bores_needed is not None:
        bores = number(row.bores_needed)
        said.append(
            say("If the index stays as it is, {bores} bores in all would carry the claim.", bores=bores)
        )
    return " ".join(said)


def within_words(within: BoresWithin, unit: str) -> str:
    """Return between which limits nearly all bores lie, and how surely."""
    known = {
        name: f"{lengths.of(end, unit, 2, sign=True)} {lengths.unit_of(unit, spoken=True)}"
        for name, end in (("low", within.low_um), ("high", within.high_um))
        if end is not None
    }
    where = say("between {low} and {high}", **known) if len(known) == 2 else None
    if where is None:
        where = say("below {high}", **known) if within.low_um is None else say("above {low}", **known)
    return say(
        "With {confidence} % confidence {content} % of all bores lie {where} ({method}).",
        confidence=significant(100 * within.confidence),
        content=significant(100 * within.content),
        where=where,
        method=within.method,
    )


def _mean_words(row: StreamCapability, tolerance: Tolerance, unit: str) -> str:
    """Return mean, limits and model."""
    every = (tolerance.lower_um, tolerance.upper_um)
    limits = [lengths.of(v, unit, 1, sign=True) for v in every if v is not None]
    spoken = lengths.unit_of(unit, spoken=True)
    return say(
        "Mean {mean}; limits {limits} {unit}. Model: {model}.",
        mean=say("unknown")
        if row.mean_um is None
        else f"{lengths.of(row.mean_um, unit, 2, sign=True)} {spoken}",
        limits=say(" and ").join(limits),
        unit=spoken,
        model=row.model or say("none"),
    )


def between(e: Estimate, digits: int = 2) -> str:
    """Return an interval in brackets, with a space before; nothing where there is none."""
    if e.low is None or e.high is None:
        return ""
    ends = {"low": number(e.low, digits), "high": number(e.high, digits)}
    if e.confidence is None:
        return say(" ({low} to {high})", **ends)
    return say(" ({share} %: {low} to {high})", **ends, share=significant(100 * e.confidence))


def down(value: float) -> str:
    """Return a bound with two digits, never rounded up.

    >>> down(1.3299), down(-0.001)
    ('1.32', '-0.01')
    """
    hundredths = int(value * 100 // 1)
    return number(hundredths / 100, 2).replace(MINUS, "-")  # as files and papers have had it


def ppm(value: float | None) -> str:
    """Return parts per million with two digits that say something.

    >>> ppm(938.2), ppm(0.004)
    ('940', 'under 0.01')
    """
    if value is None:
        return say("unknown")
    if value < 0.01:
        return say("under {least}", least=number(0.01, 2))
    if value < 100:
        return significant(value, 2)
    digits = len(f"{value:.0f}") - 2
    return number(round(value, -digits))


def share_words(share: float) -> str:
    """Return a share in words: per cent, or parts per million where it is small.

    >>> share_words(1.0), share_words(0.172), share_words(0.000044)
    ('100 %', '17 %', '44 ppm')
    """
    if share < 0.001:
        return f"{ppm(1e6 * share)} ppm"
    return f"{significant(100 * share, 3 if share >= 0.995 else 2)} %"


def signed(value: float, digits: int = 1) -> str:
    """Return a deviation with its sign and a true minus."""
    return number(value, digits, sign=True)


def _um(value: float | None) -> str:
    return say("unknown") if value is None else lengths.said(value, 2)
