"""One state of the store as a question sees it: what is given, and what of it is kept for the next."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from datetime import datetime
from functools import cached_property
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import numpy as np

from cellmon.monitor.carried import Carrying
from cellmon.monitor.rules import Rules
from cellmon.records import Kind
from cellmon.sheet import Sheet
from cellmon.shifts import to_local
from cellmon.store import Session

if TYPE_CHECKING:
    from cellmon.diagnosis import Table


@dataclass(frozen=True, kw_only=True)
class Seen(Carrying):
    """A reading session with the rules in force and the moment the answer is for."""

    session: Session
    rules: Rules
    as_of: np.datetime64
    notes: tuple[str, ...] = ()
    own_causes: Table | None = None
    carried: dict[str, tuple[Any, Any]] = field(default_factory=dict)
    """What views of earlier states worked out, by name, each with what it rests on."""
    past: bool = False
    """Whether its moment was asked for, so that nothing after it is seen."""

    @property
    def sheet(self) -> Sheet:
        """The sheet in force."""
        return self.rules.now.sheet

    @cached_property
    def zone(self) -> ZoneInfo:
        """The cell's time zone."""
        return ZoneInfo(self.sheet.cell.timezone)

    @cached_property
    def decided(self) -> int:
        """The number of the newest decision of the journal; 0 where there is none."""
        return self.session.newest_decision()

    def local(self, moment: np.datetime64) -> datetime:
        """Return a stored moment as local time with its offset."""
        return to_local(moment, self.zone)

    def newest_row_of(self, kind: Kind) -> int:
        """Return the number of the row of a plain kind that was added last; asked once for all questions."""
        if kind not in self._newest_rows:
            self._newest_rows[kind] = self.session.newest_row_of(kind)
        return self._newest_rows[kind]

    @cached_property
    def _newest_rows(self) -> dict[Kind, int]:
        return {}

    def head(self) -> dict[str, Any]:
        """Return what every answer begins with."""
        return {"as_of": self.local(self.as_of), "sheet": self.rules.now.version}

    @property
    def worked_out(self) -> Mapping[str, Any]:
        """What was worked out for the answers up to now, by name."""
        given = {field.name for field in fields(self)}
        return {name: found for name, found in vars(self).items() if name not in given}

    def take_over(self, worked_out: Mapping[str, Any]) -> None:
        """Take over what another view of the same state, moment and unit of lengths worked out."""
        vars(self).update(worked_out)
