"""Everything derived, each noun in a module of its own, and how it is dropped."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from sqlalchemy import delete, func, select, update

from cellmon.store import bulk, schema
from cellmon.store.bores import KeptBores
from cellmon.store.called import Called
from cellmon.store.counts import Counts
from cellmon.store.honed import KeptHoned
from cellmon.store.provisional import Provisional
from cellmon.store.subgroups import KeptSubgroups


class Derived(KeptBores, KeptSubgroups, Counts, KeptHoned, Called, Provisional):
    """The derived half of a session: bores, subgroups, counts, doubts, calls and provisional limits."""

    def forget_units(self, units: Sequence[np.datetime64]) -> None:
        """Drop what was derived in some units of judging."""
        starts = [bulk.moment(u) for u in units]
        for table in (*schema.UNIT_TABLES.values(), schema.TOGETHER, schema.COUNTS, schema.HONED):
            for i in range(0, len(starts), 500):
                self.conn.execute(delete(table).where(table.c.unit_start.in_(starts[i : i + 500])))

    def forget_all(self) -> None:
        """Drop everything derived; who carries what signals told reads all of them again."""
        for table in schema.DERIVED:
            self.conn.execute(delete(table))
        changes = schema.TOLD_CHANGES
        newest = select(func.max(changes.c.number)).scalar_subquery()
        self.conn.execute(update(changes).values(number=newest + 1))

    def is_underived(self) -> bool:
        """Return whether readings are stored of which nothing is derived, as after a change of the schema."""
        stored = self.conn.execute(select(schema.READINGS.c.id).limit(1)).first() is not None
        return stored and self.conn.execute(select(schema.BORES.c.unit_start).limit(1)).first() is None
