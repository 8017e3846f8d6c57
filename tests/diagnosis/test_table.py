"""The table of causes: what is packaged, what a site's file may say, and in which words it is refused."""

from __future__ import annotations

import re
import tomllib
from importlib.resources import files

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cellmon.diagnosis import packaged_table, read_table
from cellmon.diagnosis.evidence import CAUTION
from cellmon.errors import SheetRefused

PACKAGED = packaged_table()
SIGN = {"feature": "taper", "kind": "level", "seen": 0.9, "otherwise": 0.1}
CAUSE = {
    "id": "loose-belt",
    "title": "Loose belt",
    "usual": 1.0,
    "source": "our own log",
    "check_first": "The belt.",
    "correction": "Tighten it.",
    "caution": "Locked out, by a qualified person.",
    "signs": [SIGN],
}
SCORING = {"none_of_these": 1.0, "temper": 0.5, "unexplained": 0.5, "least_weight": 0.0, "shown": 3}


def mistakes(given, **how) -> list[str]:
    with pytest.raises(SheetRefused) as refused:
        read_table(given, **how)
    return [str(mistake) for mistake in refused.value.mistakes]


# trade: every kind of cause that a honing cell's people name has its row, and each signed one its mirror
@pytest.mark.parametrize(
    ("one", "other", "feature"),
    [
        ("stroke-high", "stroke-low", "taper"),
        ("barrel", "hourglass", "barrel"),
        ("overcompensated-wear", "uncompensated-wear", "size"),
        ("hot-parts", "draught", "size"),
        ("tilted-gauge", "dirt-or-burr", "size"),
        ("glazing", "soft-stone", "cycle_s"),
    ],
)
def test_a_signed_cause_has_its_mirror(one, other, feature):
    rows = {row.id: row for row in PACKAGED.causes}

    def ways(cause):
        return {s.direction for s in rows[cause].signs if feature in s.features and s.speaks_for}

    assert "up" in ways(one) and "down" not in ways(one)
    assert "down" in ways(other) and "up" not in ways(other)


def test_every_cause_says_where_it_is_from_and_how_to_stay_whole():
    for row in PACKAGED.causes:
        assert row.source and len(PACKAGED.caution(row)) > 40, row.id


HANDS_ON = re.compile(
    r"\b(stones?|tool|stroke|float|spindle|expander|dress|true|clamps?|pads)\b", re.IGNORECASE
)
KEPT_SAFE = re.compile(
    r"locke?d? out|lock the machine out|standstill|qualified|authorised|the machine's own limits"
)


def test_advice_about_tool_stones_or_clamps_carries_its_caution():
    for row in PACKAGED.causes:
        if HANDS_ON.search(f"{row.check_first} {row.correction}") and row.id not in CHECKED_ON_PAPER:
            assert KEPT_SAFE.search(PACKAGED.caution(row)), row.id


CHECKED_ON_PAPER = {"exchanged-spindles", "unlogged-reroute", "swapped-planes"}
"""Causes whose check and correction are done on the log, away from the machine."""

FORBIDDEN = re.compile(
    r"reach in|enter the machine|climb|bypass|override|defeat|disable|bridge|remove the guard|open the guard"
    r"|\bjust\b|re-?run|run it again|exceed|beyond (its|the) limit|while (it|the tool) (runs|turns)",
    re.IGNORECASE,
)


def test_no_advice_sends_a_person_into_the_machine_past_a_guard_or_over_a_limit():
    for row in PACKAGED.causes:
        text = " ".join([row.title, row.check_first, row.correction, PACKAGED.caution(row)])
        assert not FORBIDDEN.search(text), (row.id, FORBIDDEN.search(text))
    assert "qualified people" in CAUTION and "Stop if unsure" in CAUTION


def test_the_rule_for_words_would_catch_bad_advice():
    assert FORBIDDEN.search("Just re-run the part") and FORBIDDEN.search("Bypass the door switch")
    assert HANDS_ON.search("Dress the set") and not KEPT_SAFE.search("Mind your fingers.")


def test_a_whole_table_of_a_site_is_read():
    table = read_table({"scoring": SCORING, "causes": [CAUSE]})
    assert [row.id for row in table.causes] == ["loose-belt"]
    assert table.causes[0].signs[0].feature == ("taper",)


def test_a_file_over_the_packaged_table_adds_replaces_and_leaves_out():
    mine = {
        "scoring": {"shown": 2},
        "leave_out": ["banana"],
        "causes": [CAUSE, {**CAUSE, "id": "glazing", "also": ["dust"]}],
    }
    table = read_table(mine, over=PACKAGED)
    ids = [row.id for row in table.causes]
    assert len(ids) == len(PACKAGED.causes) and "banana" not in ids and ids[-1] == "loose-belt"
    glazing = next(row for row in table.causes if row.id == "glazing")
    assert table.caution(glazing).endswith(PACKAGED.cautions["dust"])
    assert table.scoring.shown == 2 and table.scoring.temper == PACKAGED.scoring.temper


def test_an_empty_file_over_the_packaged_table_is_the_packaged_table():
    assert read_table({}, over=PACKAGED) == PACKAGED


def test_every_mistake_is_told_at_once_by_its_key():
    bad = {
        "scoring": {**SCORING, "temper": 2.0},
        "causes": [
            {**CAUSE, "usual": -1, "also": ["nowhere"]},
            {**CAUSE, "id": "Two Words", "signs": [{**SIGN, "seen": 1.0}, {"seen": 0.5, "otherwise": 0.1}]},
            {**CAUSE, "id": "no-caution", "caution": ""},
            {**CAUSE, "id": "only-a-log", "signs": [{"event": "rerouted", "seen": 0.5, "otherwise": 0.1}]},
            {**CAUSE, "id": "odd", "signs": [{**SIGN, "kind": "sideways", "colour": "red"}]},
            CAUSE,
            CAUSE,
            "not a table",
        ],
        "leave_out": ["unheard-of"],
        "colours": {},
    }
    told = mistakes(bad, over=PACKAGED)
    for key in (
        "colours: found a section",
        "scoring.temper: found 2.0",
        "causes.loose-belt.usual: found -1",
        "causes.Two Words.id: found 'Two Words', expected small letters",
        "causes.Two Words.signs.1.seen: found 1.0",
        "causes.Two Words.signs.2: found",
        "causes.no-caution.caution: found ''",
        "causes.only-a-log: found",
        "causes.odd.signs.1.kind.1: found 'sideways'",
        "causes.odd.signs.1.colour: found 'red', expected no such key here",
        "causes.loose-belt: found this id twice",
        "causes.8: found 'not a table'",
        "leave_out: found 'unheard-of'",
    ):
        assert any(one.startswith(key) for one in told), (key, told)


def test_a_caution_that_is_named_must_exist():
    assert mistakes({"scoring": SCORING, "causes": [{**CAUSE, "also": ["nowhere"]}]})[0].startswith(
        "causes.loose-belt.also: found 'nowhere'"
    )


def test_a_table_without_a_cause_or_scoring_is_refused():
    assert mistakes({"scoring": SCORING}) == ["causes: found none, expected at least one cause"]
    assert "scoring.temper: found nothing, expected a value" in mistakes({"causes": [CAUSE]})


leaf = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5)
branch = leaf | st.lists(leaf, max_size=3) | st.dictionaries(st.sampled_from(["id", "signs", "usual"]), leaf)
plain = branch | st.lists(branch, max_size=3)


@settings(deadline=None)
@given(st.dictionaries(st.sampled_from(["scoring", "cautions", "causes", "leave_out", "x"]), plain))
def test_whatever_a_file_holds_it_is_read_or_refused(given):
    try:
        read_table(given, over=PACKAGED)
    except SheetRefused as refused:
        assert refused.mistakes


def test_the_packaged_file_is_part_of_the_package():
    text = files("cellmon.diagnosis").joinpath("causes.toml").read_text(encoding="utf-8")
    assert {cause["id"] for cause in tomllib.loads(text)["causes"]} == {row.id for row in PACKAGED.causes}
