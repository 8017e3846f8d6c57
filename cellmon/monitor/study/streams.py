"""Every stream of an archived cell: its subgroups, and its indices as the cell itself would state them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from cellmon.capability.indices import Index
from cellmon.charts.shewhart import sigma_from_ranges
from cellmon.judged import Subgroups
from cellmon.monitor.answers import Estimate
from cellmon.monitor.audited_bores import is_audited
from cellmon.monitor.capability import part_streams
from cellmon.monitor.capability_figures import ZERO_BOUNDED
from cellmon.monitor.capability_sides import held_against, plain_indices
from cellmon.monitor.capability_stream import NOT_NORMAL, TWO_POPULATIONS, stream_figures
from cellmon.monitor.stream_bores import stream_bores, value_column
from cellmon.monitor.view import View
from cellmon.records import Numbers, Stream, Texts, Whole
from cellmon.store.joining import by_stream
from cellmon.words import say


@dataclass(frozen=True, kw_only=True)
class StreamStudy:
    """One stream; figures in micrometres from nominal, ppm in bores per million, no bore in doubt counted."""

    stream: Stream
    bores: int
    subgroups: int
    mean_um: float | None
    sd_within_um: float | None
    sd_total_um: float | None
    model: str | None
    cp: Estimate | None
    cpk: Estimate | None
    pp: Estimate | None
    ppk: Estimate | None
    ppm_expected: Estimate | None
    ppm_observed: float | None
    why_not: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class TogetherStudy:
    """A mean over bores, a distance from one, or a figure of a spindle: watched, and without a tolerance.

    Figures in `unit`; `mean` is that of the blocks in undoubted subgroups, `sd_within` inside those.
    """

    stream: Stream
    unit: str
    subgroups: int
    mean: float | None
    sd_within: float | None


@dataclass(frozen=True, kw_only=True, eq=False)
class Cuts:
    """What is stated of the undoubted subgroups of one stream, oldest first."""

    mean: Numbers
    range: Numbers
    n: Whole
    last_part: Texts

    @cached_property
    def sd_within(self) -> float | None:
        """Sigma from the ranges; None without any."""
        return sigma_from_ranges(self.range, self.n).sigma if len(self.n) else None

    @cached_property
    def centre(self) -> float | None:
        """The mean of all that lies in the subgroups."""
        return float((self.mean * self.n).sum() / self.n.sum()) if len(self.n) else None

    def of_parts(self, parts: Texts) -> Cuts:
        """Return the subgroups that end with one of some blocks."""
        mine = np.isin(self.last_part.astype(str), parts.astype(str))
        return Cuts(
            mean=self.mean[mine], range=self.range[mine], n=self.n[mine], last_part=self.last_part[mine]
        )


def cuts_of(view: View) -> dict[Stream, Cuts]:
    """Return every stream's undoubted subgroups, in one walk through the units."""
    found: dict[Stream, list[Cuts]] = {}
    for unit in view.session.units_judged():
        subgroups = view.session.subgroups_of_unit(unit)
        subgroups = subgroups.select(np.lexsort((subgroups.first_at, subgroups.at)))
        for stream, rows in by_stream(subgroups).items():
            found.setdefault(stream, []).append(_undoubted(subgroups.select(rows)))
    return {stream: _joined(cuts) for stream, cuts in found.items()}


def _undoubted(subgroups: Subgroups) -> Cuts:
    clean = subgroups.flagged == 0
    return Cuts(
        mean=subgroups.mean[clean],
        range=subgroups.range[clean],
        n=subgroups.n[clean],
        last_part=subgroups.last_part[clean],
    )


def _joined(cuts: list[Cuts]) -> Cuts:
    names = ("mean", "range", "n", "last_part")
    return Cuts(**{name: np.concatenate([getattr(one, name) for one in cuts]) for name in names})


def of_bores(stream: Stream) -> bool:
    """Return whether a stream is one of single bores."""
    return stream.bore is not None and stream.part_of == "itself"


def stream_studies(view: View, cuts: Mapping[Stream, Cuts]) -> tuple[StreamStudy, ...]:
    """Return the figures of every stream of bores; those of one place are worked out side by side."""
    streams = [s for s in cuts if of_bores(s) and not is_audited(view, s)]
    found = [
        _stream(view, own, cuts[stream], like=stream.like is not None)
        for stream in sorted(streams, key=lambda s: (s.spindle or "", s.bore or "", s))
        for own in part_streams(view, stream)
    ]
    return tuple(sorted(found, key=lambda one: one.stream))


def together_studies(view: View, cuts: Mapping[Stream, Cuts]) -> tuple[TogetherStudy, ...]:
    """Return the figures of every stream that is not of single bores."""
    return tuple(
        TogetherStudy(
            stream=stream,
            unit=view.unit(stream),
            subgroups=len(cuts[stream].n),
            mean=cuts[stream].centre,
            sd_within=cuts[stream].sd_within,
        )
        for stream in sorted(s for s in cuts if not of_bores(s))
    )


def _stream(view: View, stream: Stream, cuts: Cuts, *, like: bool) -> StreamStudy:
    bores = stream_bores(view, stream, None, None)
    column = value_column(view, stream)
    clean = bores.select((bores.flags == 0) & np.isfinite(getattr(bores, column)))
    cuts = cuts.of_parts(bores.part) if like else cuts
    values = getattr(clean, column)
    tolerance = view.tolerance(stream)
    if tolerance.lower_um is None and tolerance.upper_um is None:
        plain, found, why_not = None, None, {"ppk": say("the sheet gives this feature no limits")}
    else:
        plain, why_not = plain_indices(view, stream, clean)
        held = held_against(view, stream, clean)
        found = None if plain is None else stream_figures(view, stream, clean, held, plain)
    within = plain is not None and (found is None or found.normal or stream.feature not in ZERO_BOUNDED)
    if plain is not None and not within:
        why_not |= dict.fromkeys(("cp", "cpk"), say(NOT_NORMAL))
    if found is not None and found.pp is None and "pp" not in why_not:
        why_not |= {"pp": say(TWO_POPULATIONS)}
    return StreamStudy(
        stream=stream,
        bores=len(clean),
        subgroups=len(cuts.n),
        mean_um=float(values.mean()) if len(values) else None,
        sd_within_um=cuts.sd_within,
        sd_total_um=float(values.std(ddof=1)) if len(values) > 1 else None,
        model=None if found is None else found.family,
        cp=_estimate(plain.cp) if plain is not None and within else None,
        cpk=_estimate(plain.cpk) if plain is not None and within else None,
        pp=_estimate(found.pp) if found else None,
        ppk=_estimate(found.ppk) if found else None,
        ppm_expected=_estimate(found.ppm) if found else None,
        ppm_observed=plain.ppm_observed.value if plain and plain.ppm_observed else None,
        why_not=why_not,
    )


def _estimate(index: Index | None) -> Estimate | None:
    return None if index is None else Estimate.of(index, confidence=index.confidence)
