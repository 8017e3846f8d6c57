"""The monitor binds questions: one line gives a method with the terms and the words of what answers it."""

from __future__ import annotations

import inspect

import pytest

from cellmon.monitor import Monitor
from cellmon.monitor.opened import question
from cellmon.monitor.questions import Questions
from dashboards.kept import QUESTIONS
from tests.small_cell import new_cell

BOUND = {name: m for name, m in vars(Questions).items() if hasattr(m, "__wrapped__")}


@pytest.mark.parametrize("name", sorted(BOUND))
def test_a_question_takes_what_its_answer_takes_after_the_view(name):
    first, *rest = inspect.signature(BOUND[name].__wrapped__).parameters.values()
    assert first.name == "view"
    assert BOUND[name].__doc__
    for term in rest:  # positional terms, such as the signal of a hold list, need no default
        assert (
            term.default is not inspect.Parameter.empty
            or term.kind is term.POSITIONAL_OR_KEYWORD
            or (name == "joint")
        ), f"{term.name} of {name} must be given, though it is a choice"


def test_a_question_is_asked_of_the_cell_as_it_stands_at_the_call(tmp_path):
    class Asking(Monitor):
        twice = question(lambda: lambda view, times: times * len(view.sheet.parts))

    plain = new_cell(tmp_path / "cell")
    plain.close()
    asking = Asking.open(plain.folder)
    assert type(asking) is Asking
    assert asking.twice(3) == asking.twice(times=3) == 3 * len(asking.sheet.parts)
    asking.close()


def test_what_pages_keep_is_asked_of_the_monitor_and_only_reads():
    own = {name for name in vars(Monitor) if not name.startswith("_")}
    assert {name for name in QUESTIONS if not callable(getattr(Monitor, name, None))} == set()
    assert not QUESTIONS & own, "what a person does is never kept"
