"""The store: the only code that knows SQL."""

from cellmon.store.decided import Announcement, Decision, SheetVersion
from cellmon.store.engine import Store
from cellmon.store.facts import AsideFact, FileFact, joined
from cellmon.store.session import Session

__all__ = ["Announcement", "AsideFact", "Decision", "FileFact", "Session", "SheetVersion", "Store", "joined"]
