"""The store: the only code that knows SQL."""

from cellmon.store.audit_stands import AuditStand
from cellmon.store.copied import Tally, copy_into, leave, tallies
from cellmon.store.counts import MadeBySpindles
from cellmon.store.decided import Announcement, Decision, SheetVersion
from cellmon.store.engine import Store, plant_cells
from cellmon.store.facts import RowRead, joined
from cellmon.store.files_taken import AsideFact, FileFact
from cellmon.store.listed import ListedFile, ReadingBlocks
from cellmon.store.session import Session
from cellmon.store.told import ToldSignal
from cellmon.store.traces import TracedBore, TracedFigure

__all__ = [
    "Announcement",
    "AsideFact",
    "AuditStand",
    "Decision",
    "FileFact",
    "ListedFile",
    "MadeBySpindles",
    "ReadingBlocks",
    "RowRead",
    "Session",
    "SheetVersion",
    "Store",
    "Tally",
    "ToldSignal",
    "TracedBore",
    "TracedFigure",
    "copy_into",
    "joined",
    "leave",
    "plant_cells",
    "tallies",
]
