"""Where the series of one characteristic stand, as it is worked with and as it is kept."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from cellmon.charts.individuals import Scale
from cellmon.charts.level_watch import Quiet, Stand, Standing
from cellmon.charts.self_starting import Usual
from cellmon.monitor.judge.audited_blocks import Before, Newest
from cellmon.monitor.judge.audits import part_of_feature
from cellmon.monitor.judge.calls import Called
from cellmon.monitor.judge.calls_kept import called_of, plain
from cellmon.monitor.judge.usual_blocks import Spread
from cellmon.monitor.rules import BEGINNING
from cellmon.records import Stream
from cellmon.sheet import Sheet
from cellmon.store import AuditStand, Session


@dataclass(frozen=True, kw_only=True)
class SeriesStand:
    """Where one series stands, once its first blocks settled how it is looked at."""

    measured: frozenset[tuple[str, str]]
    """In which planes and by which instruments a block is measured."""
    scale: Scale
    level: Stand
    """None where it is not watched."""
    call: Called | None = None
    """What stands called, as of then."""


@dataclass(frozen=True, kw_only=True)
class AuditsStand:
    """Where one characteristic stands before a moment; of series that are only begun None."""

    at: np.datetime64 = BEGINNING
    blocks: Before = field(default_factory=Before)
    series: Mapping[Stream, SeriesStand | None] = field(default_factory=dict)


def to_kept(name: str, stand: AuditsStand) -> AuditStand:
    """Return it as it is kept."""
    body = {
        "usual": vars(stand.blocks.usual),
        "last": {spindle: [_moment(row.at), row.part] for spindle, row in stand.blocks.last.items()},
        "series": [
            {"spindle": stream.spindle, "bore": stream.bore, **_kept(one)}
            for stream, one in stand.series.items()
        ],
    }
    return AuditStand(characteristic=name, at=stand.at, body=body)


def stand_before(session: Session, sheet: Sheet, name: str, moment: np.datetime64) -> AuditsStand:
    """Return where a characteristic stood last, at a moment or before it; else as it begins."""
    kept = session.audit_stand(name, moment)
    if kept is None:
        return AuditsStand()
    number = part_of_feature(sheet, name).number
    return AuditsStand(
        at=kept.at,
        blocks=Before(
            usual=Spread(**kept.body["usual"]),
            last={
                spindle: Newest(at=np.datetime64(at, "us"), part=part)
                for spindle, (at, part) in kept.body["last"].items()
            },
        ),
        series={
            Stream(part_number=number, spindle=one["spindle"], bore=one["bore"], feature=name): _series(one)
            for one in kept.body["series"]
        },
    )


def _moment(at: np.datetime64) -> int:
    return int(at.astype("datetime64[us]").astype(np.int64))


def _kept(one: SeriesStand | None) -> Mapping[str, Any]:
    if one is None:
        return {}
    return {
        "measured": sorted(map(list, one.measured)),
        "scale": one.scale.value,
        "level": _kept_level(one.level),
        "call": None if one.call is None else plain(one.call),
    }


def _kept_level(level: Stand) -> Mapping[str, Any] | None:
    if isinstance(level, Quiet):
        return {**vars(level), "usual": vars(level.usual)}
    return None if level is None else vars(level)


def _series(body: Mapping[str, Any]) -> SeriesStand | None:
    if "scale" not in body:
        return None
    return SeriesStand(
        measured=frozenset((plane, gauge) for plane, gauge in body["measured"]),
        scale=Scale(body["scale"]),
        level=_level(body["level"]),
        call=None if body["call"] is None else called_of(body["call"]),
    )


def _level(body: Mapping[str, Any] | None) -> Stand:
    if body is None:
        return None
    if "back" in body:
        return Standing(**body)
    sums = tuple((above, below) for above, below in body["sums"])
    return Quiet(usual=Usual(**body["usual"]), wild=body["wild"], sums=sums)
