"""The streams of a cell at one moment: which there are, their limits, and how they are found by name."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from cellmon.errors import NotFound
from cellmon.judged import Limit
from cellmon.monitor.answers import BaselineSummary
from cellmon.monitor.judge.limits import StreamLimits, all_limits
from cellmon.monitor.seen import Seen
from cellmon.records import Stream
from cellmon.words import say


@dataclass(frozen=True, kw_only=True)
class StreamsSeen(Seen):
    """The part of a view that knows the streams."""

    @cached_property
    def limits(self) -> Mapping[Stream, StreamLimits]:
        """The limits of every stream."""
        return all_limits(self.session)

    @cached_property
    def streams(self) -> tuple[Stream, ...]:
        """Every stream of a bore: routed ones first, then by the sheet's order of features."""
        features = [name for part in self.sheet.parts for name in part.charted]
        known = [s for s in self.limits if s.bore is not None and s.part_of == "itself"]
        return tuple(sorted(known, key=lambda s: (not self.routed(s), _place(features, s.feature), s)))

    @cached_property
    def pooled(self) -> tuple[Stream, ...]:
        """Every mean over bores and every distance from it that is watched."""
        found = [s for s in self.limits if s.bore is None or s.part_of != "itself"]
        return tuple(sorted(found, key=lambda s: (s.feature, s.part_of, s.spindle or "", s.bore or "", s)))

    def routed(self, stream: Stream) -> bool:
        """Return whether the sheet routes a stream's bore to its spindle (all are, where it names none)."""
        spindles = self.sheet.spindles
        return not spindles or any(s.id == stream.spindle and stream.bore in s.bores for s in spindles)

    def name(self, stream: Stream) -> str:
        """Return what a stream is called; its part too, where the sheet has several."""
        return stream.full if len(self.sheet.parts) > 1 else str(stream)

    def summary(self, limit: Limit | None) -> BaselineSummary | None:
        """Return limits as people see them; None where nothing is called a limit."""
        if limit is None or not np.isfinite(limit.sigma):
            return None
        return BaselineSummary(
            center_um=limit.centre,
            sigma_um=limit.sigma,
            n=limit.n,
            frozen_at=None if limit.frozen_at is None else self.local(limit.frozen_at),
            by=limit.by,
            provisional=limit.version == 0,
            signed_by=limit.signed_by,
        )

    def baseline(self, stream: Stream) -> Limit | None:
        """Return the limits of a stream that hold now."""
        limits = self.limits.get(stream)
        found = limits.after(self.as_of) if limits else None
        return found if found is not None and found.window_to <= self.as_of else None

    def find_stream(
        self,
        *,
        spindle: str | None,
        bore: str | None,
        feature: str,
        fixture: str | None = None,
        part_number: str | None = None,
        part_of: str = "itself",
    ) -> Stream:
        """Return the stream of these names; without a bore a mean, without a spindle too that of all.

        Raises
        ------
        NotFound
            Naming the streams that come near.
        """
        every = (*self.streams, *self.pooled)
        wanted = {"spindle": spindle, "bore": bore, "feature": feature, "part_of": part_of}
        near = [s for s in every if all(getattr(s, k) == v for k, v in wanted.items())]
        found = [s for s in near if s.fixture == fixture and part_number in (None, s.part_number)] or [
            s for s in near if fixture is None and part_number in (None, s.part_number)
        ]
        if found:
            return found[0]
        asked = Stream(
            part_number="", spindle=spindle, bore=bore, feature=feature, fixture=fixture, part_of=part_of
        )
        alike = [s for s in every if s.feature == feature]
        nearest = near or [s for s in alike if s.spindle == spindle] or alike or every
        names = ", ".join(map(str, nearest[:6])) or say("none yet")
        raise NotFound(say("no stream {asked}; there are {names}", asked=asked, names=names))


def _place(names: list[str], name: str) -> int:
    return names.index(name) if name in names else len(names)
