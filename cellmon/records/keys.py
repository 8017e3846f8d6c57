"""The text that tells one plain row from another."""

from __future__ import annotations

import numpy as np

from cellmon.records.batch import Batch, ColumnType


def row_keys(batch: Batch) -> list[str]:
    """Return the text under which each plain row is kept: its key columns, joined."""
    columns = []
    for column in batch.columns():
        if column.key:
            values = getattr(batch, column.name)
            columns.append([key_word(v, column.type) for v in values.tolist()])
    return ["\x1f".join(words) for words in zip(*columns, strict=True)]


def key_word(value: object, type_: ColumnType) -> str:
    """Return one cell as it stands in a key; empty where nothing stands."""
    if value is None or (isinstance(value, float) and np.isnan(value)):
        return ""
    return f"{value:.6f}" if type_ is ColumnType.LENGTH else str(value)
