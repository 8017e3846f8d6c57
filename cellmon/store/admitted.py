"""What is kept of passwords and tap codes: the one thing beside derived tables that is overwritten.

Who there is, and what they may do, is read from the journal. A password's hash stands outside it: the
journal is shown and exported, and an old hash is of use only to a thief.
"""

from __future__ import annotations

import numpy as np
from sqlalchemy import Connection, and_, select

from cellmon.store import bulk, schema


class Admitted:
    """The secrets half of a session."""

    conn: Connection

    def put_secret(self, name: str, kind: str, kept: str, *, at: np.datetime64) -> None:
        """Keep the hash of a person's password or code in place of the one before."""
        self.drop_secrets(name, kind)
        values = {"name": name, "kind": kind, "kept": kept, "at": bulk.moment(at)}
        self.conn.execute(schema.SECRETS.insert().values(values))

    def secret(self, name: str, kind: str) -> str | None:
        """Return that hash, None where there is none."""
        table = schema.SECRETS
        query = select(table.c.kept).where(and_(table.c.name == name, table.c.kind == kind))
        return self.conn.execute(query).scalar()

    def holder(self, kind: str, kept: str) -> str | None:
        """Return whose secret of a kind has this hash, None where nobody's has."""
        table = schema.SECRETS
        query = select(table.c.name).where(and_(table.c.kind == kind, table.c.kept == kept))
        return self.conn.execute(query).scalar()

    def secret_kinds(self) -> set[tuple[str, str]]:
        """Return who has a secret of which kind."""
        table = schema.SECRETS
        return {(row.name, row.kind) for row in self.conn.execute(select(table.c.name, table.c.kind))}

    def drop_secrets(self, name: str, *kinds: str) -> None:
        """Forget a person's secrets, those of some kinds or all."""
        table = schema.SECRETS
        query = table.delete().where(table.c.name == name)
        self.conn.execute(query.where(table.c.kind.in_(kinds)) if kinds else query)
