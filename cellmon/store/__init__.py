"""The store: the only code that knows SQL."""

from cellmon.store.decided import Announcement, Decision, SheetVersion
from cellmon.store.engine import Store
from cellmon.store.facts import AsideFact, FileFact, RowRead, joined
from cellmon.store.session import Session
from cellmon.store.told import ToldSignal

__all__ = [
    "Announcement",
    "AsideFact",
    "Decision",
    "FileFact",
    "RowRead",
    "Session",
    "SheetVersion",
    "Store",
    "ToldSignal",
    "joined",
]
