"""One archived cell studied: subgroups and indices of every stream, as the cell itself would state them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import cast

import numpy as np

from cellmon.capability.indices import Index
from cellmon.intake.archive import CellArchive
from cellmon.judged import Bores, Subgroups
from cellmon.monitor.answers import Estimate
from cellmon.monitor.audited_bores import is_audited
from cellmon.monitor.capability import part_streams
from cellmon.monitor.capability_figures import ZERO_BOUNDED
from cellmon.monitor.capability_sides import held_against, plain_indices, spread_inside
from cellmon.monitor.capability_stream import NOT_NORMAL, TWO_POPULATIONS, stream_figures
from cellmon.monitor.stream_bores import stream_bores, value_column
from cellmon.monitor.study.days import Days, bores_of, rules_of, subgroups_of
from cellmon.monitor.view import View
from cellmon.records import Stream
from cellmon.store import Session
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
class CellStudy:
    """One cell of the archive."""

    cell: str
    sheet: int
    newest: datetime
    days: int
    bores: int
    """Charted ones."""
    subgroups: int
    streams: tuple[StreamStudy, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class _Kept:
    """An archived cell as a session that only reads: as much as a study asks of one."""

    kept: Bores
    cut: Subgroups

    def bores(
        self,
        *,
        start: np.datetime64 | None = None,
        end: np.datetime64 | None = None,
        spindle: str | None = None,
        bore: str | None = None,
        part: str | None = None,
        charted: bool = False,
        last: int | None = None,
    ) -> Bores:
        """Return the bores of some place and time in making order; the newest so many where asked."""
        mine = self.kept.charted >= charted
        for name, value in (("spindle", spindle), ("bore", bore), ("part", part)):
            if value is not None:
                mine &= getattr(self.kept, name) == value
        if start is not None:
            mine &= self.kept.measured_at >= start
        if end is not None:
            mine &= self.kept.measured_at <= end
        rows = np.flatnonzero(mine)
        return self.kept.select(rows if last is None else rows[-last:])

    def subgroups(
        self, stream: Stream, *, end: np.datetime64 | None = None, last: int | None = None
    ) -> Subgroups:
        """Return the newest subgroups of a stream."""
        rows = by_stream(self.cut).get(stream, np.zeros(0, dtype=np.int64))
        rows = rows if end is None else rows[self.cut.at[rows] <= end]
        return self.cut.select(rows if last is None else rows[-last:])


def study_cell(cell: CellArchive, days: Sequence[Days]) -> CellStudy:
    """Put the days of a cell together, in order of time, and state every stream's figures."""
    bores, subgroups, rules = bores_of(days), subgroups_of(days), rules_of(cell)
    session = cast(Session, _Kept(kept=bores, cut=subgroups))
    view = View(session=session, rules=rules, as_of=cell.newest)
    streams = tuple(
        _stream(view, own, subgroups.select(rows), like=stream.like is not None)
        for stream, rows in sorted(by_stream(subgroups).items())
        if not is_audited(view, stream)
        for own in part_streams(view, stream)
    )
    return CellStudy(
        cell=cell.name,
        sheet=rules.now.version,
        newest=view.local(cell.newest),
        days=len(cell.days),
        bores=len(bores),
        subgroups=len(subgroups),
        streams=streams,
    )


def _stream(view: View, stream: Stream, cut: Subgroups, *, like: bool) -> StreamStudy:
    bores = stream_bores(view, stream, None, None)
    column = value_column(view, stream)
    clean = bores.select((bores.flags == 0) & np.isfinite(getattr(bores, column)))
    cut = cut.select(cut.flagged == 0)
    if like:
        cut = cut.select(np.isin(cut.last_part.astype(str), bores.part.astype(str)))
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
        subgroups=len(cut),
        mean_um=float(values.mean()) if len(values) else None,
        sd_within_um=spread_inside(cut),
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


__all__ = ["CellStudy", "StreamStudy", "study_cell"]
