"""cellmon: a statistical process-control monitor for a production honing cell."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

__version__ = "0.1.0"


def open_cell(folder: str | Path = ".", *, as_of: datetime | None = None) -> Monitor:
    """Open a cell folder; the one door for commands, pages, exports and a person in a notebook.

    Parameters
    ----------
    folder : str or Path
        The folder that holds `cell.toml`.
    as_of : datetime, optional
        Answer as of this moment; default: the moment of the newest row taken.

    Raises
    ------
    SheetRefused, StoreRefused
        When the sheet or the store cannot be used.
    """
    from cellmon.monitor import Monitor

    return Monitor.open(Path(folder), as_of=as_of)
