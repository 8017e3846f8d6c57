"""Nor does a line of an answer that is full: stones, studies, plans, set-ups, blocks, traces, pairs."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from cellmon import words
from cellmon.cli.budgets import alarms_lines
from cellmon.cli.compared import compare_lines
from cellmon.cli.fit import fit_lines
from cellmon.cli.gauges import gauge_lines, study_lines
from cellmon.cli.run_length import run_length_lines
from cellmon.cli.setup import setup_lines
from cellmon.cli.setups import first_bores_lines
from cellmon.cli.showing import Look
from cellmon.cli.signalled import signal_lines, signals_lines
from cellmon.cli.stone_plans import plan_lines
from cellmon.cli.stones import set_lines, stones_lines
from cellmon.cli.stories import hold_lines, part_lines
from cellmon.cli.together import joint_lines
from cellmon.cli.traces import part_lines as traced_lines
from cellmon.cli.traces import traces_lines
from cellmon.cli.trusted import trust_lines
from cellmon.monitor.run_length_charts import ChartAsked
from cellmon.monitor.run_lengths import run_lengths
from cellmon.monitor.setup import SetupRequest, setup_sheet
from cellmon.monitor.stone_plan import PlanRequest
from tests.compare_answers import compare_answer
from tests.dashboards.test_words_seen import bracketed, sentences_of
from tests.gauge_answers import gauge_answer
from tests.joint_answers import joint_answer, trust_answer
from tests.monitor.test_fit import FIT, MATING, mates, pistons
from tests.monitor.test_traces import POINTS, TRACED, three_lobes
from tests.monitor.test_traces import lines as traced
from tests.part_answers import story_answer
from tests.small_cell import HEADER, new_cell, rows, write
from tests.stone_answers import plan, stones_answer

from .conftest import SIZE, ZONE, alarms_answer, first_bores_answer, hold_answer, signals_answer
from .test_words_said import bare

AT = datetime(2026, 10, 22, 16, 5, tzinfo=UTC)
LOOK = Look(zone=ZONE, um=1, width=None)
GIVEN = {"aaaa", "bbbb", "cccc", "chip", "mark", "station"}
"""Ids of signals, what a person answered, how a stone lies in its holder, a file's name: nobody's to say."""


def all_of(answer: Any) -> list[str]:
    return signals_lines(answer, LOOK, last=2, withdrawn=False) + [
        line for s in answer.signals for line in signal_lines(replace(answer, signals=(s,)), LOOK)
    ]


ASKED = PlanRequest(rate=500.0, stock=2.0, service_level=0.98)
BORE = SetupRequest(diameter_mm=80.0, length_mm=120.0, stone_mm=60.0, strokes_per_min=60.0, stock_um=40.0)
CASES: dict[str, tuple[Callable[[], Any], Callable[[Any], Sequence[str]]]] = {
    "signals": (signals_answer, all_of),
    "alarms": (alarms_answer, lambda a: alarms_lines(a, LOOK)),
    "first bores": (first_bores_answer, lambda a: first_bores_lines(a, LOOK)),
    "hold": (hold_answer, lambda a: hold_lines(a, LOOK)),
    "part": (
        lambda: story_answer(AT),
        lambda a: part_lines(a, LOOK, planes=("top", "middle", "bottom"), directions=("x", "y")),
    ),
    "stones": (stones_answer, lambda a: stones_lines(a, LOOK, last=1) + set_lines(a, LOOK)),
    "plan": (lambda: plan(asked=ASKED), lambda a: plan_lines(a, LOOK, last=1)),
    "gauge": (lambda: gauge_answer(AT, sheet=3), lambda a: gauge_lines(a, LOOK) + study_lines(a, LOOK)),
    "joint": (lambda: joint_answer(AT - timedelta(hours=8), AT), lambda a: joint_lines(a, LOOK)),
    "trust": (lambda: trust_answer(SIZE, AT, skewed=True), lambda a: trust_lines(a, LOOK)),
    "compare": (lambda: compare_answer(AT, SIZE, sheet=3), lambda a: compare_lines(a, LOOK)),
    "run-length": (
        lambda: run_lengths(ChartAsked(chart="mean", shifts=(1.5,), after=5, subgroups=25)),
        lambda a: run_length_lines(a, width=None),
    ),
    "setup": (lambda: setup_sheet(BORE), lambda a: setup_lines(a, width=None)),
}


@pytest.fixture(scope="module", autouse=True)
def _in_brackets() -> Iterator[None]:
    words.speak(bracketed())
    yield
    words.speak({})


def outside(lines_: Sequence[str], given: Sequence[str] = ()) -> str:
    """Return the lines with words outside the brackets; `given` are sentences an answer was made to say."""
    found = []
    for line in lines_:
        left = line
        for sentence in given:
            left = left.replace(sentence, " ")
        if words_ := [w for w in bare(left) if w not in GIVEN]:
            found.append(f"{line}  ->  {words_}")
    return "\n".join(found)


@pytest.mark.parametrize("name", CASES)
def test_an_answer_made_by_hand(name):
    make, shown = CASES[name]
    answer = make()
    assert not outside(shown(answer), sorted(sentences_of(answer), key=len, reverse=True))


def test_pairs_and_traces_of_a_cell(tmp_path):
    iron = 'length_mm = 100.0\nmaterial = "grey cast iron"'
    sheet = TRACED.replace("[store]", FIT).replace("length_mm = 100.0", iron)
    monitor = new_cell(tmp_path / "cell", sheet=sheet)
    words.speak(bracketed())  # opening a cell speaks its own language
    monitor.take(
        [
            write(tmp_path, "sizes.csv", HEADER, rows(20)),
            write(tmp_path, "pistons.csv", MATING, pistons(mates(30))),
            write(tmp_path, "traced.csv", POINTS, traced(three_lobes)),
        ]
    )
    fit, traces = monitor.fit(pairs=True, at_c=80.0), monitor.traces()
    assert fit.pairing and traces.bores
    printed = [fit_lines(fit, LOOK, last=5), traces_lines(traces, LOOK, last=1), traced_lines(traces, LOOK)]
    monitor.close()
    assert not outside([line for lines_ in printed for line in lines_])
