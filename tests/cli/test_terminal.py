"""Tables: aligned always, fitted where there is a terminal, nothing lost where there is none."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from cellmon.cli.terminal import clean, figure, table, text

COLUMNS = (text("stream"), figure("mean um"), text("by", spare=True), text("what", flexible=True))


def test_figures_stand_right_and_words_left():
    lines = table(COLUMNS[:2], [["S1 bore 1", "+11.7"], ["S1", None]])
    assert lines == [
        "stream     mean um",
        "---------  -------",
        "S1 bore 1    +11.7",
        "S1               -",
    ]


def test_no_rows_no_lines():
    assert table(COLUMNS, []) == []


def test_without_a_terminal_nothing_is_cut():
    long = "a" * 300
    assert table(COLUMNS, [["S1", "1", "Ada", long]])[2].endswith(long)


def test_flexible_columns_are_cut_before_spare_ones_go():
    row = ["S1", "1", "Ada", "a" * 60]
    lines = table(COLUMNS, [row], width=60)
    assert max(map(len, lines)) == 60
    assert lines[2].endswith("...")
    assert "Ada" in lines[2]
    assert "Ada" not in table(COLUMNS, [row], width=36)[2]


@given(st.lists(st.lists(st.text(), min_size=4, max_size=4), min_size=1, max_size=4), st.integers(52, 120))
def test_any_text_gives_one_line_a_row_that_fits(rows, width):
    narrow = [[row[0][:9], row[1][:9], row[2], row[3]] for row in rows]
    lines = table(COLUMNS, narrow, width=width)
    assert len(lines) == len(rows) + 2
    assert all(len(line) <= width for line in lines)
    assert all(line.isprintable() for line in lines)


@given(st.text())
def test_clean_text_is_printable_and_keeps_its_length(words):
    assert clean(words).isprintable()
    assert len(clean(words)) == len(words)
