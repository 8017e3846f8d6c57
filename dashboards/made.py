"""Of which program a page was made: one that stays open while the program is renewed hears of it."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

from dash import Dash


def made_of(app: Dash) -> str:
    """Return what tells the pages of a program from another's: what they ask, their scripts and style."""
    asks = {
        output: [(one["id"], one["property"]) for one in (*wired["inputs"], *wired["state"])]
        for output, wired in sorted(app.callback_map.items())
    }
    told = hashlib.sha256(json.dumps(asks, sort_keys=True).encode())
    for file in sorted(Path(app.config.assets_folder).iterdir()):
        if file.is_file():
            told.update(file.name.encode() + file.read_bytes())
    return told.hexdigest()[:16]
