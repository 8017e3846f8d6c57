"""One connection in one transaction, with everything that is asked of it."""

from __future__ import annotations

from cellmon.store.admitted import Admitted
from cellmon.store.audit_stands import AuditStands
from cellmon.store.decided import Decided
from cellmon.store.derived import Derived
from cellmon.store.facts import Facts
from cellmon.store.listed import Listed
from cellmon.store.pressed import Pressed
from cellmon.store.told import Told
from cellmon.store.watched import Watched


class Session(Facts, Decided, Derived, Watched, Told, AuditStands, Admitted, Pressed, Listed):
    """Facts, decisions and derived tables of a store, seen through one connection."""
