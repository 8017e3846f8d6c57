"""Which cause explains what moved, by a table of causes that a site can edit."""

from cellmon.diagnosis.evidence import Cause, Evidence, Logged, Movement
from cellmon.diagnosis.score import rank
from cellmon.diagnosis.table import CauseRow, Scoring, Sign, Table, packaged_table, read_table

__all__ = [
    "Cause",
    "CauseRow",
    "Evidence",
    "Logged",
    "Movement",
    "Scoring",
    "Sign",
    "Table",
    "packaged_table",
    "rank",
    "read_table",
]
