"""Which streams audits and findings make, by the sheet alone, and how often a point of each is planned."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from cellmon.sheet import Part, Sheet

AUDIT, FINDING = "audit", "finding"
"""Scopes of families: a feature that another instrument measures, and a share of bores."""
FINDINGS = "findings"
FINDINGS_PLANNED = 4
"""Kinds of finding that have a share of the false alarms for each spindle: the sheet names none."""


def audit_families(
    part: Part, part_number: str, routed: Sequence[tuple[str | None, tuple[str, ...]]], sheet: Sheet
) -> Iterator[dict[str, Any]]:
    """Yield what a family of the budget is made of: one audit of each spindle and shift is planned.

    The sheet has no figure for it, and what is measured in fact never changes a limit.
    """
    points = shifts_per_week(sheet)
    for spindle, bores in routed:
        if not bores:
            continue
        place = {"part_number": part_number, "spindle": spindle, "points": points}
        for feature in part.audited:
            yield {
                **place,
                "feature": feature,
                "scope": AUDIT,
                "streams": len(bores),
                "detectors": ("level",),
            }
        yield {
            **place,
            "feature": FINDINGS,
            "scope": FINDING,
            "streams": FINDINGS_PLANNED,
            "detectors": ("single",),
        }


def shifts_per_week(sheet: Sheet) -> float:
    """Return the shifts worked in a week; 7 where the sheet names none."""
    return float(sum(len(s.days) for s in sheet.shifts) if sheet.shifts else 7)
