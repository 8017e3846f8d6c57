"""Capability of one stream in words: what paper and page both say of it."""

from __future__ import annotations

from dataclasses import dataclass

from cellmon.capability.models import Movement
from cellmon.monitor.answers import Estimate, Tolerance
from cellmon.monitor.capability import StreamCapability


@dataclass(frozen=True, kw_only=True)
class IndexLine:
    """One line of the table of indices, as texts."""

    name: str
    found: str
    interval: str
    rests_on: str


def claim_words(row: StreamCapability, *, required: float) -> str:
    """Return whether the claim is supported, in a few words."""
    supported = "Supported" if row.claim == "supported" else "Not supported"
    return f"{supported}: Ppk of at least {required:g}"


def index_sentence(row: StreamCapability, *, confidence: float) -> str:
    """Return the index with its interval and bound, and what lies beyond the limits, in a sentence or two."""
    if row.ppk is None or row.ppk.value is None:
        return f"No index: {row.why_not.get('ppk') or row.why_not.get('cp') or 'not known'}."
    bound = ""
    if row.lower_bound is not None:
        bound = f"; with {100 * confidence:g} % confidence it is at least {down(row.lower_bound)}"
    said = f"Of {row.n:,} bores Ppk is {row.ppk.value:.2f}{between(row.ppk)}{bound}."
    e = row.ppm_expected
    if e is None or e.value is None:
        return said
    ends = "" if e.low is None or e.high is None else f" ({ppm(e.low)} to {ppm(e.high)})"
    seen = "" if row.ppm_observed is None else f"; measured there: {round(row.ppm_observed * row.n / 1e6):,}"
    return f"{said} Expected beyond the limits {ppm(e.value)} ppm{ends}{seen} of {row.n:,}."


def index_lines(row: StreamCapability) -> tuple[IndexLine, ...]:
    """Return the four lines of the table of indices."""
    inside = f"spread inside subgroups, standard deviation {_um(row.sd_within_um)}"
    normal = row.model == "normal"
    whole = f"spread of all bores, standard deviation {_um(row.sd_total_um)}"
    outer = f"the {whole}" if normal else "the model's outer quantiles of all bores (0.135 and 99.865 %)"
    lines = (
        ("Cp", row.cp, "cp", f"tolerance against the {inside}"),
        ("Cpk", row.cpk, "cpk", "the same, for the nearer limit"),
        ("Pp", row.pp, "pp", f"tolerance against {outer}"),
        (
            "Ppk",
            row.ppk,
            "ppk",
            "the same, for the nearer limit" if row.pp else f"nearer limit against {outer}",
        ),
    )
    return tuple(_line(name, e, row.why_not.get(key), words) for name, e, key, words in lines)


def _line(name: str, e: Estimate | None, why: str | None, words: str) -> IndexLine:
    if e is None or e.value is None:
        return IndexLine(name=name, found="none", interval="", rests_on=why or "not known")
    ends = "" if e.low is None or e.high is None else f"{e.low:.2f} to {e.high:.2f}"
    return IndexLine(name=name, found=f"{e.value:.2f}", interval=ends, rests_on=words)


def interval_head(row: StreamCapability) -> str:
    """Return the heading of the intervals: their confidence."""
    every = (row.cp, row.cpk, row.pp, row.ppk)
    known = [e.confidence for e in every if e is not None and e.confidence is not None]
    return f"{100 * known[0]:g} % interval" if known else "interval"


TOO_NARROW = (
    "While the level moves, the far end of the band is narrower than it says: "
    "where 95 % was meant, simulations held 80 to 93 %."
)


def model_words(row: StreamCapability, tolerance: Tolerance, unit: str) -> str:
    """Return mean, limits, model, what the bores are worth and how far the claim is away."""
    limits = [signed(v) for v in (tolerance.lower_um, tolerance.upper_um) if v is not None]
    mean = "unknown" if row.mean_um is None else f"{signed(row.mean_um, 2)} {unit}"
    said = [f"Mean {mean}; limits {' and '.join(limits)} {unit}. Model: {row.model or 'none'}."]
    if row.time_model is not None:
        said.append(f"In time {row.time_model}; what is to come: {row.movement}.")
        if row.movement not in (None, Movement.CONSTANT):
            said.append(TOO_NARROW)
    if row.effective_n is not None and row.correlation is not None:
        worth = f"{row.effective_n:,} independent ones (correlation of neighbours {row.correlation:.2f})"
        said.append(f"The bores are worth {worth}.")
    if row.cautious_bound is not None and row.cautious_bound != row.lower_bound:
        said.append(f"If the tail is longer than it looks, Ppk is at least {down(row.cautious_bound)}.")
    if row.ppk_process is not None and row.ppk_process.value is not None:
        process = f"{row.ppk_process.value:.2f}{between(row.ppk_process)}"
        said.append(f"Without the noise of the gauge Ppk would be {process}.")
    if row.bores_needed is not None:
        said.append(f"If the index stays as it is, {row.bores_needed:,} bores in all would carry the claim.")
    return " ".join(said)


def between(e: Estimate, digits: int = 2) -> str:
    """Return an interval in brackets, with a space before; nothing where there is none."""
    if e.low is None or e.high is None:
        return ""
    share = "" if e.confidence is None else f"{100 * e.confidence:g} %: "
    return f" ({share}{e.low:.{digits}f} to {e.high:.{digits}f})"


def down(value: float) -> str:
    """Return a bound with two digits, never rounded up.

    >>> down(1.3299), down(-0.001)
    ('1.32', '-0.01')
    """
    hundredths = int(value * 100 // 1)
    return f"{hundredths / 100:.2f}"


def ppm(value: float | None) -> str:
    """Return parts per million with two digits that say something.

    >>> ppm(938.2), ppm(0.004)
    ('940', 'under 0.01')
    """
    if value is None:
        return "unknown"
    if value < 0.01:
        return "under 0.01"
    if value < 100:
        return f"{value:.2g}"
    digits = len(f"{value:.0f}") - 2
    return f"{round(value, -digits):,.0f}"


def share_words(share: float) -> str:
    """Return a share in words: per cent, or parts per million where it is small."""
    return f"{100 * share:.2g} %" if share >= 0.001 else f"{ppm(1e6 * share)} ppm"


def signed(value: float, digits: int = 1) -> str:
    """Return a deviation with its sign and a true minus."""
    said = f"{value:+.{digits}f}"
    return said.replace("-", "−") if float(said) else said.lstrip("+-")


def _um(value: float | None) -> str:
    return "unknown" if value is None else f"{value:.2f} µm"
