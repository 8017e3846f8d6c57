"""Words beside points: the most important first, none over another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from dashboards import theme

LETTER_PX, LINE_PX, RING_PX = 7.7, 17.0, 7.0


@dataclass(frozen=True, kw_only=True)
class Label:
    """Words wanted beside a point; `px` and `py` say where it lies in pixels, y upwards."""

    text: str
    x: Any
    y: float
    px: float
    py: float
    weight: float
    strong: bool = True


@dataclass(frozen=True)
class _Box:
    left: float
    right: float
    bottom: float
    top: float

    def meets(self, other: _Box) -> bool:
        return not (
            self.right < other.left
            or other.right < self.left
            or self.top < other.bottom
            or other.top < self.bottom
        )


def place(
    labels: Sequence[Label], *, width: float, height: float, most: int = 12, yref: str = "y"
) -> list[Any]:
    """Return annotations for as many labels as fit, heaviest first, over no other point or word."""
    taken = [_Box(one.px - RING_PX, one.px + RING_PX, one.py - RING_PX, one.py + RING_PX) for one in labels]
    placed: list[Any] = []
    for label in sorted(labels, key=lambda one: -one.weight):
        if len(placed) == most:
            break
        for ax, ay in _offsets(len(label.text) * LETTER_PX, label.px, width):
            box = _box(label, ax, ay)
            if box.left < 0 or box.right > width or box.bottom < 0 or box.top > height:
                continue
            if not any(box.meets(other) for other in taken):
                taken.append(box)
                placed.append(_annotation(label, ax, ay, yref))
                break
    return placed


def _offsets(length: float, px: float, width: float) -> list[tuple[float, float]]:
    sides = (1, -1) if px + length + 20 < width else (-1, 1)
    return [(side * 13, rise) for rise in (16, -16, 32, -32) for side in sides]


def _box(label: Label, ax: float, ay: float) -> _Box:
    length = len(label.text) * LETTER_PX
    left = label.px + ax if ax > 0 else label.px + ax - length
    middle = label.py + ay
    return _Box(left, left + length, middle - LINE_PX / 2, middle + LINE_PX / 2)


def _annotation(label: Label, ax: float, ay: float, yref: str) -> Any:
    return theme.word(
        f"<b>{label.text}</b>" if label.strong else label.text,
        label.x,
        label.y,
        yref=yref,
        showarrow=True,
        arrowhead=0,
        arrowwidth=0.8,
        arrowcolor=theme.SOFT,
        ax=ax,
        ay=-ay,
        standoff=5,
        xanchor="left" if ax > 0 else "right",
        bgcolor=theme.VEIL,
        borderpad=0,
        font={"size": 12, "color": theme.INK},
    )
