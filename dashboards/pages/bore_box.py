"""What can be typed at the bore, and one figure that is asked for."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Mode(StrEnum):
    """What is typed now."""

    FOUND = "as-found"
    SIGN = "sign"
    ROUND = "round"
    LEFT = "as-left"
    MEASURED = "measured"
    EVENT = "event"
    STONES = "stones"
    CHECK = "gauge-check"
    DONE = "done"


@dataclass(frozen=True, kw_only=True)
class Box:
    """One figure that is asked for: `default` is what Enter alone takes, None where a figure is needed.

    `plane` names the row it stands in, "" the first; of a cell event it is asked `only` where one of these
    happened, of all where none is named.
    """

    name: str
    kind: str
    label: str
    default: str | None = None
    hint: str = ""
    plane: str = ""
    direction: str = ""
    only: tuple[str, ...] = ()
