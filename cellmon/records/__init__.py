"""Facts as they arrive: batches of rows, one array a column, and the closed lists they draw on.

A batch declares its columns once; intake reads files by that declaration, the store keeps tables by
it, the virtual cell fills it. Times are `datetime64[us]` in UTC, texts are object arrays with None
where nothing stands, numbers are float64 with nan where nothing stands.
"""

from cellmon.records.batch import (
    Batch,
    Column,
    ColumnType,
    Flags,
    Numbers,
    Texts,
    Times,
    Whole,
    absent,
    cells,
    length,
    missing,
    no_rows,
    number,
    text,
    time,
    whole,
)
from cellmon.records.readings import Frame, Readings, laid
from cellmon.records.rows import (
    ROW_BATCHES,
    Characteristics,
    Events,
    Findings,
    GaugeChecks,
    MatingParts,
    SizingReadings,
    StockMovements,
    StoneMeasurements,
    StoneSets,
    StudyReadings,
    TracePoints,
)
from cellmon.records.words import EventKind, Flag, Kind, Reason, Refused, Stream, Verdict

__all__ = [
    "ROW_BATCHES",
    "Batch",
    "Characteristics",
    "Column",
    "ColumnType",
    "EventKind",
    "Events",
    "Findings",
    "Flag",
    "Flags",
    "Frame",
    "GaugeChecks",
    "Kind",
    "MatingParts",
    "Numbers",
    "Readings",
    "Reason",
    "Refused",
    "SizingReadings",
    "StockMovements",
    "StoneMeasurements",
    "StoneSets",
    "Stream",
    "StudyReadings",
    "Texts",
    "Times",
    "TracePoints",
    "Verdict",
    "Whole",
    "absent",
    "cells",
    "laid",
    "length",
    "missing",
    "no_rows",
    "number",
    "text",
    "time",
    "whole",
]
