"""Commands about files: every count shown, every status as agreed."""

from __future__ import annotations

import pytest

from .conftest import file_taken


# Exit status: 3 some rows set aside; 4 nothing in a file could be read; the highest that applies.
@pytest.mark.parametrize(
    ("files", "status"),
    [
        ([file_taken()], 0),
        ([file_taken(taken=0, known=10)], 0),
        ([file_taken(aside=1)], 3),
        ([file_taken(), file_taken(aside=2)], 3),
        ([file_taken(taken=0, known=0, aside=4)], 4),
        ([file_taken(taken=0, known=0, kind=None)], 4),
        ([file_taken(aside=1), file_taken(taken=0, known=0, kind=None), file_taken()], 4),
    ],
)
@pytest.mark.parametrize("argv", [["take", __file__], ["aside", "--retry"]])
def test_the_status_is_the_highest_that_applies(run, monitor, files, status, argv):
    monitor.files = tuple(files)
    assert run(*argv).status == status
    assert run(*argv, "--json").status == status


def test_the_counts_of_the_sentence_add_up(run, monitor):
    monitor.files = (file_taken(taken=5, known=3, aside=2), file_taken(taken=1, known=0, aside=0))
    first = run("take", __file__).out.splitlines()[0]
    assert first == "2 files with 11 rows: 6 taken, 3 already known, 2 set aside; 0 new signals."


def test_rows_set_aside_are_shown_without_what_a_terminal_obeys(run, monitor):
    monitor.files = (file_taken(aside=12),)
    out = run("take", __file__).out
    assert "\x1b" not in out
    assert "not-a-number" in out
    assert "and 2 more; cellmon aside lists all" in out


def test_a_file_that_cannot_be_read_is_named_with_why(run, monitor):
    monitor.files = (file_taken(taken=0, known=0, kind=None),)
    assert "early.csv: no header that fits" in run("take", __file__).out


def test_no_file_is_taken_when_one_is_missing(run, monitor):
    ran = run("take", __file__, "nowhere.csv")
    assert ran.status == 2
    assert ran.err == "cellmon: no such file: nowhere.csv; nothing was taken\n"
    assert monitor.calls == []


def test_kind_and_unit_reach_the_monitor(run, monitor):
    run("take", __file__, "--kind", "stock", "--unit", "in")
    _, (paths,), options = monitor.calls[-1]
    assert [str(p) for p in paths] == [__file__]
    assert (options["kind"], options["unit"]) == ("stock", "in")


def test_progress_is_silent_in_a_pipe(run, monitor):
    run("take", __file__)
    progress = monitor.calls[-1][2]["progress"]
    progress("taking early.csv")
    assert run("take", __file__).err == ""


def test_aside_and_flags_say_what_waits(run):
    assert run("aside").out.splitlines()[0] == "1 row waits of 1 set aside: 1 contradicts."
    assert run("flags").out.splitlines()[0] == "1 doubt waits of 1: 1 routing."
    assert "cellmon correct f1" in run("flags", "--open").out
