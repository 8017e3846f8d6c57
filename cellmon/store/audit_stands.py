"""Where the series of other instruments' figures stood at some moments: later ones go on from there."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from sqlalchemy import Connection, delete, func, select

from cellmon.records import Kind
from cellmon.store import bulk, schema


@dataclass(frozen=True, kw_only=True)
class AuditStand:
    """Where every series of one characteristic stood before a moment, as the monitor puts it into `body`."""

    characteristic: str
    at: np.datetime64
    body: Mapping[str, Any]


class AuditStands:
    """The part of a session that keeps where audits stand."""

    conn: Connection

    def audit_stand(self, characteristic: str, moment: np.datetime64) -> AuditStand | None:
        """Return where a characteristic stood last, at a moment or before it."""
        table = schema.AUDIT_STANDS
        query = select(table).where(table.c.characteristic == characteristic)
        query = query.where(table.c.at <= bulk.moment(moment)).order_by(table.c.at.desc()).limit(1)
        row = self.conn.execute(query).first()
        return None if row is None else _stand(row)

    def audit_stands(self) -> list[AuditStand]:
        """Return all that is kept, by characteristic, the oldest first."""
        table = schema.AUDIT_STANDS
        query = select(table).order_by(table.c.characteristic, table.c.at)
        return [_stand(row) for row in self.conn.execute(query)]

    def put_audit_stands(
        self, characteristic: str, stands: Sequence[AuditStand], *, since: np.datetime64
    ) -> None:
        """Keep where a characteristic stood, in place of all from a moment on."""
        table = schema.AUDIT_STANDS
        gone = delete(table).where(table.c.characteristic == characteristic)
        self.conn.execute(gone.where(table.c.at >= bulk.moment(since)))
        columns: dict[str, list[Any]] = {
            "characteristic": [characteristic] * len(stands),
            "at": [bulk.moment(one.at) for one in stands],
            "body": [json.dumps(one.body, sort_keys=True) for one in stands],
        }
        bulk.insert(self.conn, table, columns)

    def forget_audit_stands(self) -> None:
        """Keep nothing of it."""
        self.conn.execute(delete(schema.AUDIT_STANDS))

    def first_audited(self, characteristic: str, parts: Sequence[str]) -> np.datetime64 | None:
        """Return when the first of some blocks was audited by a characteristic; None where none was."""
        reported, traced = schema.ROWS[Kind.CHARACTERISTICS], schema.TRACED
        found = []
        for table, name in ((reported, reported.c.characteristic), (traced, traced.c.feature)):
            for i in range(0, len(parts), 500):
                query = select(func.min(table.c.at)).where(table.c.part.in_(parts[i : i + 500]))
                found.append(self.conn.execute(query.where(name == characteristic)).scalar())
        moments = [moment for moment in found if moment is not None]
        return np.datetime64(int(min(moments)), "us") if moments else None


def audited_bores(conn: Connection) -> Iterator[str]:
    """Yield the bores of which another instrument gave figures, each found behind the one before."""
    bore = schema.ROWS[Kind.CHARACTERISTICS].c.bore
    last = conn.execute(select(func.min(bore))).scalar()
    while last is not None:
        yield last
        last = conn.execute(select(func.min(bore)).where(bore > last)).scalar()


def _stand(row: Any) -> AuditStand:
    return AuditStand(
        characteristic=row.characteristic, at=np.datetime64(row.at, "us"), body=json.loads(row.body)
    )
