"""Bores of a shift, typed one after another at the bore: which is next, and what was found of each."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

import numpy as np
from dash import dcc, html

from cellmon.errors import NotFound
from cellmon.monitor.bore.measured import TypedBore
from cellmon.monitor.part import PartStory
from cellmon.monitor.part_bores import PartMeasurement
from cellmon.records import Verdict
from cellmon.words import say, to_say
from dashboards import theme
from dashboards.figures.terms import term
from dashboards.pages.bore_box import Mode

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

GOES_ON, ENDS = (
    to_say(
        "Bore {bore} of {part}, honed on {spindle}, is kept: {verdict}, from {least} to {greatest}. "
        "Now bore {next}."
    ),
    to_say(
        "Bore {bore} of {part}, honed on {spindle}, is kept: {verdict}, from {least} to {greatest}. "
        "It is the last of the block: type the next serial."
    ),
)


def story_of(monitor: Monitor, part: str) -> PartStory | None:
    """Return what is known of a block; None where nothing was measured of it."""
    try:
        return monitor.part(part)
    except NotFound:
        return None


def next_bore(monitor: Monitor, part_number: str | None, bore: str) -> str | None:
    """Return the bore that is typed after this one; None after the last of a block."""
    bores = monitor.sheet.part(part_number).bores
    return next(iter(bores[bores.index(bore) + 1 :]), None)


def found_words(measurement: PartMeasurement) -> str:
    """Return how a bore was found: its verdict, or that it is doubted where that is why it has none."""
    if measurement.verdict is Verdict.UNDECIDED and any(one.state == "open" for one in measurement.doubts):
        return say("doubted, page Files decides")
    return term(measurement.verdict.value)


def kept_words(monitor: Monitor, typed: TypedBore) -> str:
    """Return what a bore that was just kept is, and what to type next."""
    last = [m for m in monitor.part(typed.part).measurements if m.bore == typed.bore][-1]
    following = next_bore(monitor, typed.part_number, typed.bore)
    return say(
        GOES_ON if following else ENDS,
        bore=typed.bore,
        part=typed.part,
        spindle=typed.spindle,
        verdict=found_words(last),
        least=theme.um_said(float(np.nanmin(last.um))),
        greatest=theme.um_said(float(np.nanmax(last.um))),
        next=following or "",
    )


def then(asks: Mapping[str, Any]) -> dict[str, Any]:
    """Return what is typed after a bore of a shift: nothing more of it; another bore, of a shift too."""
    return {"of": f"{asks['part']}|{asks['bore']}", "mode": Mode.DONE.value, "shift": True}


def moved_to(monitor: Monitor, asks: Mapping[str, Any]) -> str | None:
    """Return the query of the bore that is typed next; None after the last of a block."""
    following = next_bore(monitor, asks["part_number"], asks["bore"])
    if following is None:
        return None
    named = {"serial": asks["part"], "bore": following, "part_number": asks["part_number"]}
    return f"?{urlencode({name: value for name, value in named.items() if value})}"


def lead_of(part: str, bore: str, story: PartStory | None, *, done: bool) -> str:
    """Return what to do: read the bore, or what is known of the block once its last one was typed."""
    if done and story is not None:
        return story.sentence
    return say("Bore {bore} of {part}, as one of a shift: type what the gauge reads.", bore=bore, part=part)


def found_of(story: PartStory | None) -> dict[str, str]:
    """Return what was found of each bore of a block when it was last measured."""
    return {} if story is None else {m.bore: found_words(m) for m in story.measurements}


def whole_link(part: str) -> html.P:
    """Return the link to the block as it was read."""
    words = say("All of {part} as it was read", part=part)
    return html.P(dcc.Link(words, href=f"/part?{urlencode({'serial': part})}"), className="told")
