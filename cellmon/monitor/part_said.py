"""Sentences about one block that are said alike where it is told: traces, doubts, hold lists left out."""

from __future__ import annotations

from cellmon import lengths
from cellmon.monitor.flags import FlagRow
from cellmon.monitor.part import PartStory
from cellmon.monitor.part_bores import PartMeasurement
from cellmon.monitor.traced_bore import BoreTraces
from cellmon.records.words import feature_words
from cellmon.words import say, say_many, to_say

DECIDED = {
    "open": to_say("waits for a decision"),
    "accepted": to_say("accepted"),
    "kept": to_say("kept as read"),
}


def trace_words(bore: BoreTraces) -> str:
    """Return what one traced bore says, with its verdicts."""
    said = [bore.sentence]
    for figure in bore.figures:
        value = figure.value_um if figure.value_um is not None else figure.reported_um
        if value is None:
            continue
        name = feature_words(figure.feature)
        limits = [say(figure.used or "")]
        if figure.upper_um is not None:
            limits.append(say("at most {limit}", limit=lengths.bare(figure.upper_um, None)))
        if figure.lower_um is not None:
            limits.append(say("at least {limit}", limit=lengths.bare(figure.lower_um, None)))
        verdict = "" if figure.verdict is None else f": {say(figure.verdict.value)}"
        size = lengths.said(value, 2)
        said.append(f"{name[:1].upper()}{name[1:]} {size} ({', '.join(limits)}){verdict}.")
    return " ".join(said)


def doubt_words(m: PartMeasurement, doubt: FlagRow) -> str:
    """Return a doubt about a bore, and what became of it."""
    values = {
        "bore": m.bore,
        "gauge": m.gauge,
        "doubt": doubt.words,
        "state": say(DECIDED[doubt.state]),
    }
    if not doubt.by:
        return say("Bore {bore}, {gauge}: {doubt}; {state}.", **values)
    decided = to_say("Bore {bore}, {gauge}: {doubt}; {state} by {by}: {why}.")
    return say(decided, by=doubt.by, why=doubt.why, **values)


def older_lists(story: PartStory) -> str:
    """Return on how many hold lists more a block stands than are named; empty where all are."""
    rest = story.on_lists_count - len(story.on_lists)
    if rest <= 0:
        return ""
    return say_many(
        "And on {count} older hold list; `cellmon signals` lists its signal.",
        "And on {count} older hold lists; `cellmon signals` lists their signals.",
        rest,
    )
