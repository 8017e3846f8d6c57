"""The command `gauge`: what it prints of checks, studies, budget and decisions."""

from __future__ import annotations

import pytest


def test_the_listing_begins_with_the_sentence_and_the_caution(run):
    out = run("gauge").out
    lines = out.splitlines()
    assert lines[0].startswith("Yes: G1 last read its master")
    assert lines[1].startswith("Advice only")


def test_every_part_of_the_answer_is_printed(run):
    out = run("gauge").out
    for words in (
        "zero, as found within 1 um",
        "um a day",
        "error across the tolerance",
        "444",
        "B1 to B111",
        "Study G1-crossed of G1: parts crossed with operators, 90 readings.",
        "left out: part T7: 2 of 3 trials by Q",
        "read in steps of 0.1 um, 0.4 % of the tolerance (fine enough)",
        "not good enough",
        "need at least 2, got 1",
        "3 rows of study files wait aside",
        "G1 less G2 on the 40 bores both measured",
        "1.645 standard uncertainties",
        "G2 was never seen on a master.",
        "not known: budget: it has read no size",
    ):
        assert words in out, words
    zones = next(line for line in out.splitlines() if line.startswith("diameter  0.61"))
    assert zones.split()[2:] == ["1.00", "+1.0", "+23.0", "-1.0", "+25.0"]


def test_one_study_is_printed_in_full(run, monitor):
    out = run("gauge", "--study", "G1-crossed").out
    assert ("gauge", (), {"study": "G1-crossed"}) in monitor.calls
    assert "variance of one reading" in out and "pooled into the repeats" in out
    assert "uncertainty of one reading" in out


def test_the_document_holds_every_figure_with_its_interval(run):
    document = run("gauge", "--json").document
    [first, _] = document["gauges"]
    assert first["checks"]["drift_um_per_day"]["low"] is not None
    assert document["studies"][0]["features"][0]["of_tolerance"]["value"] == pytest.approx(8.75)
    assert document["gauges"][1]["why_not"] == {"budget": "it has read no size"}
    assert document["rule"]["zones"][0]["conforms_from_um"] == 1.0
    assert len(document["agreements"][0]["first_um"]) == 40
