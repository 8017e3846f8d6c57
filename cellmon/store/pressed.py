"""Presses that were kept: what a page sends again because no answer came is not done a second time."""

from __future__ import annotations

import numpy as np
from sqlalchemy import Connection, select

from cellmon.store import bulk, schema


class Pressed:
    """The part of a session that knows presses by name."""

    conn: Connection

    def pressed(self, name: str) -> np.datetime64 | None:
        """Return when what a press did was kept, None where it was not."""
        table = schema.PRESSES
        found = self.conn.execute(select(table.c.at).where(table.c.name == name)).scalar()
        return None if found is None else np.datetime64(found, "us")

    def keep_press(self, name: str, *, at: np.datetime64) -> None:
        """Keep that a press was done, in the transaction in which it is."""
        self.conn.execute(schema.PRESSES.insert().values(name=name, at=bulk.moment(at)))
