"""Where a bore lay in its subgroup and in its stream."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from cellmon.judged import SIZE_COLUMNS, Bores, Subgroups
from cellmon.monitor.view import View
from cellmon.records import Stream
from cellmon.sheet import DiameterFeature, Part


@dataclass(frozen=True, kw_only=True)
class ItsSubgroup:
    """The subgroup a bore belongs to; `place` counts from 1 in making order."""

    first_part: str
    last_part: str
    at: datetime
    n: int
    place: int
    mean_um: float
    range_um: float


@dataclass(frozen=True, kw_only=True)
class PlaceInStream:
    """A bore's figure in one stream: against the limits in force then, and among its subgroup.

    `away` is how far it lies from the centre, in standard deviations of a bore; size is not corrected
    for wear.
    """

    stream: Stream
    value_um: float | None
    unit: str
    center_um: float | None
    sigma_um: float | None
    away: float | None
    provisional: bool | None
    subgroup: ItsSubgroup | None


def places(view: View, bores: Bores) -> dict[int, tuple[PlaceInStream, ...]]:
    """Return, for each charted row of some bores of one block, its place in every stream of that bore."""
    found: dict[int, tuple[PlaceInStream, ...]] = {}
    for unit in np.unique(bores.unit_start[bores.charted == 1]):
        rows = np.flatnonzero((bores.unit_start == unit) & (bores.charted == 1))
        day = view.session.bores_of_unit(unit)
        day = day.select(day.charted == 1)
        day = day.select(np.argsort(day.position, kind="stable"))
        groups = view.session.subgroups_of_unit(unit)
        groups = groups.select(groups.part_of == "itself")
        for i in rows:
            mine = groups.select(groups.bore == bores.bore[i])
            same = day.select((day.bore == bores.bore[i]) & (day.spindle == bores.spindle[i]))
            found[int(i)] = tuple(_places(view, bores, int(i), same, mine))
    return found


def _places(view: View, bores: Bores, i: int, day: Bores, groups: Subgroups) -> Iterator[PlaceInStream]:
    part = next((p for p in view.sheet.parts if p.number == bores.part_number[i]), None)
    for feature in () if part is None else part.charted:
        assert part is not None
        by_fixture = part.features[feature].by_fixture
        stream = Stream(
            part_number=view.sheet.charted_as(part.number),
            spindle=bores.spindle[i],
            bore=bores.bore[i],
            feature=feature,
            fixture=bores.fixture[i] if by_fixture else None,
        )
        yield _place(view, stream, part, bores, i, day=day, groups=groups)


def _place(
    view: View, stream: Stream, part: Part, bores: Bores, i: int, *, day: Bores, groups: Subgroups
) -> PlaceInStream:
    value = float(getattr(bores, _column(part, stream.feature))[i])
    known = view.limits.get(stream)
    limit = None if known is None else known.after(bores.measured_at[i])
    usable = limit is not None and np.isfinite(limit.sigma)
    sigma = None
    if limit is not None and usable:
        sigma = limit.learned["bore_sd"] if limit.learned else limit.sigma
    center = limit.centre if limit is not None and usable else None
    away = (value - center) / sigma if center is not None and sigma and np.isfinite(value) else None
    return PlaceInStream(
        stream=stream,
        value_um=value if np.isfinite(value) else None,
        unit=view.unit(stream),
        center_um=center,
        sigma_um=sigma,
        away=away,
        provisional=limit.version == 0 if limit is not None and usable else None,
        subgroup=_subgroup(view, stream, bores.part[i], day, groups),
    )


def _column(part: Part, feature: str) -> str:
    model = part.features[feature]
    return SIZE_COLUMNS.get(model.size, "average") if isinstance(model, DiameterFeature) else feature


def _subgroup(view: View, stream: Stream, part: str, day: Bores, groups: Subgroups) -> ItsSubgroup | None:
    """Return the subgroup of a stream that a block's bore lies in; None where it is in none (yet).

    `day` holds the charted bores of its position in its unit, as made; `groups` the subgroups of them.
    """
    mine = day if stream.fixture is None else day.select(day.fixture == stream.fixture)
    order = {serial: k for k, serial in enumerate(mine.part.tolist())}
    if part not in order:
        return None
    same = np.ones(len(groups), dtype=bool)
    for name in ("part_number", "spindle", "feature", "fixture"):
        same &= getattr(groups, name) == np.array(getattr(stream, name), dtype=object)
    for g in np.flatnonzero(same):
        first, last = order.get(groups.first_part[g]), order.get(groups.last_part[g])
        if first is not None and last is not None and first <= order[part] <= last:
            return ItsSubgroup(
                first_part=groups.first_part[g],
                last_part=groups.last_part[g],
                at=view.local(groups.at[g]),
                n=int(groups.n[g]),
                place=order[part] - first + 1,
                mean_um=float(groups.mean[g]),
                range_um=float(groups.range[g]),
            )
    return None
