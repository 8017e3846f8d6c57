"""The documents: nothing public, no command and no closed word is missing, and nothing they name is gone."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import numpy as np
import pytest

from cellmon.cli.main import COMMANDS
from cellmon.drift.spread_watch import SPREAD_K
from cellmon.drift.watch import LEVEL_K
from cellmon.monitor.judge.budget import level_limits, log_rate, spread_limits
from cellmon.records import EventKind, Flag, Kind, Reason

ROOT = Path(__file__).resolve().parent.parent
DOCS = sorted((ROOT / "docs").glob("*.md"))
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", ROOT / "sample_runs" / "README.md", *DOCS]
TOPICS = (
    "stats",
    "bores",
    "charts",
    "drift",
    "diagnosis",
    "capability",
    "gauge",
    "fits",
    "setup",
    "stones",
    "sizing",
)


def text(name: str) -> str:
    return (ROOT / "docs" / name).read_text(encoding="utf-8")


def functions(path: Path) -> set[str]:
    """Return the names of the functions that a file defines at its top level."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}


def missing(words: set[str], page: str) -> list[str]:
    """Return the words that do not stand on a page in the type of code."""
    code = set(re.findall(r"`([^`]+)`", page))
    return sorted(words - code)


@pytest.mark.parametrize("topic", TOPICS)
def test_every_public_function_has_its_source(topic):
    paths = list((ROOT / "cellmon" / topic).glob("*.py"))
    public = {name for path in paths for name in functions(path) if not name.startswith("_")}
    assert public
    assert missing(public, text("sources.md")) == []


@pytest.mark.parametrize("topic", TOPICS)
def test_every_module_is_named_with_its_tests(topic):
    page = text("sources.md")
    for path in (ROOT / "cellmon" / topic).glob("*.py"):
        if functions(path):
            assert f"`{path.relative_to(ROOT)}`" in page


def test_every_test_that_is_named_exists_in_the_files_of_its_section():
    for section in text("sources.md").split("\n## ")[1:]:
        named = set(re.findall(r"`(test_\w+)`", section))
        files = [ROOT / name for name in re.findall(r"`(tests/\w+/test_\w+\.py)`", section)]
        assert named and files, section[:40]
        there = set().union(*(functions(path) for path in files))
        assert named <= there, (section[:40], named - there)


def test_every_test_that_stops_a_threat_exists():
    for line in text("security.md").splitlines():
        last = "tests/dashboards/test_people.py"
        named = re.findall(r"`(test_\w+)`(?: in `(tests/[\w/]+\.py)`)?", line)
        for test, file in named:
            assert test in functions(ROOT / (file or last)), (test, file)
    assert text("security.md").count("`test_") > 20


def test_every_command_is_described():
    page = text("commands.md")
    assert missing({command.name for command in COMMANDS}, page) == []
    headings = re.findall(r"^## (.+)$", page, flags=re.MULTILINE)
    words = {word for heading in headings for word in re.findall(r"[\w-]+", heading)}
    assert {command.name for command in COMMANDS} <= words


@pytest.mark.parametrize("words", [Kind, EventKind, Reason, Flag], ids=lambda words: words.__name__)
def test_every_word_of_a_closed_list_is_explained(words):
    assert missing({word.value for word in words}, text("files.md")) == []


def anchors(path: Path) -> set[str]:
    """Return the anchors of a page's headings, as web viewers make them."""
    headings = re.findall(r"^#+ (.+)$", path.read_text(encoding="utf-8"), flags=re.MULTILINE)
    plain = [re.sub(r"[^\w\- ]", "", heading.lower()) for heading in headings]
    return {heading.replace(" ", "-") for heading in plain}


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_every_link_and_picture_leads_somewhere(page):
    for link in re.findall(r"\]\(([^)\s]+)\)", page.read_text(encoding="utf-8")):
        if link.startswith(("http://", "https://")):
            continue
        name, _, anchor = link.partition("#")
        target = (page.parent / name).resolve() if name else page
        assert target.exists(), link
        assert ROOT in target.parents, link
        if anchor:
            assert anchor in anchors(target), link


def test_every_picture_is_shown_and_none_is_large():
    shown = "".join(page.read_text(encoding="utf-8") for page in PAGES)
    pictures = list((ROOT / "docs" / "pictures").iterdir())
    assert pictures
    for picture in pictures:
        assert f"pictures/{picture.name}" in shown
        assert picture.stat().st_size < 250_000


# what the pages tell of the demo week, against the demo week
def test_figures_of_the_demo_are_those_of_the_demo(read_week):
    monitor = read_week
    signals = monitor.signals().signals
    standing = [s for s in signals if s.state == "open"]
    commands, limits, readme = text("commands.md"), text("limits.md"), (ROOT / "README.md").read_text("utf-8")
    price = next(r for r in monitor.state().alarms.rules if r.name == "mean-range").false_alarms_per_week
    assert f"would make {price:.0f} false alarms" in limits and f"{len(standing)} signals stand" in limits
    assert (
        f"have made {price:.0f} false alarms" in readme
        and f"the {len(standing)} signals that stand" in readme
    )
    for signal in standing:
        at = signal.change.at if signal.change else signal.raised_at
        first = f"{signal.causes[0].title} ({signal.causes[0].weight:.2f})" if signal.causes else "none "
        row = f"| {at:%a %H:%M} | {signal.words} | {first} |"
        assert row in limits, row
        assert row in readme, row
    for spindle in monitor.state().spindles:
        assert spindle.sentence in commands
        assert spindle.sentence in readme
    named = set(re.findall(r"\b[SD]-[0-9a-f]{6,}\b", commands))
    assert len(named) > 4
    assert named <= {s.id for s in signals} | {flag.id for flag in monitor.flags().flags}
    chip = next(
        s for s in standing if s.causes and s.causes[0].cause == "chipped-stone" and s.raised_at.day == 21
    )
    held = len({part.part for part in monitor.hold(chip.id).parts})
    assert f"contain {held:,} parts" in commands and f"holds {held:,} blocks" in limits
    assert not any(row.claim == "supported" for row in monitor.capability().capability)


def test_prices_of_the_rule_sets_are_those_of_the_demo_sheet(read_week):
    monitor = read_week
    answer, page = monitor.alarms(), text("alarms.md")
    for rule in answer.budget.rules:
        figures = f"{rule.run_length:,.0f} +{rule.false_alarms_per_week:,.0f} +no"
        assert re.search(f"{rule.name} +{rule.words} +{figures}", page), rule
    first = {d.detector: f"{d.run_length:,.0f}" for d in answer.families[0].detectors}
    assert f"a level in {first['level']} subgroups" in page and f"of a spread in {first['spread']}" in page
    assert f"of a single bore in {first['single']}." in page
    assert f"{answer.budget.streams} streams with {answer.budget.subgroups_per_week:,.0f} subgroups" in page


# the table of docs/alarms.md, by plain recursions apart from the code that watches
RUNS, MOST = 20_000, 4_000
DELAYS = {0.25: "330", 0.5: "74", 0.75: "37", 1.0: "21", 1.5: "10.6", 2.0: "6.4", 3.0: "3.1"}
WIDER = {1.2: "60", 1.5: "12.5", 2.0: "4.2"}
LEVEL_RATE = 1 / 48_917


def first_calls(draw, k, limits, *, runs, most):
    """Return when each run first calls, 0 where it did not within `most` subgroups; seeds in `draw`."""
    sums, alive, found = np.zeros((len(k), runs)), np.arange(runs), np.zeros(runs)
    for t in range(1, most + 1):
        sums = np.maximum(0.0, sums + draw(len(alive)) - k[:, None])
        called = (sums > limits[:, None]).any(axis=0)
        found[alive[called]] = t
        alive, sums = alive[~called], sums[:, ~called]
        if not len(alive):
            break
    return found


def of_level(shift, rng):
    def draw(n):
        z = rng.standard_normal(n) + shift
        return np.repeat([z, -z], 3, axis=0)

    return draw


def of_spread(ratio, rng):
    return lambda n: ratio**2 * rng.chisquare(4, n)[None, :] / 4


@pytest.mark.slow
def test_delays_on_the_page_are_those_of_a_simulation():
    rng, page = np.random.default_rng(303), text("alarms.md")
    level = np.tile(level_limits(log_rate(LEVEL_RATE)), 2), np.tile(LEVEL_K[:, 0], 2)
    spread = spread_limits(log_rate(LEVEL_RATE / 2), 4), SPREAD_K[:, 0]
    for kind, printed, (limits, k), still in (
        (of_level, DELAYS, level, 0.0),
        (of_spread, WIDER, spread, 1.0),
    ):
        for size, shown in printed.items():
            found = first_calls(kind(size, rng), k, limits, runs=RUNS, most=MOST)
            error = found.std() / np.sqrt(RUNS)
            half_a_digit = 0.05 if "." in shown else 0.5
            assert found.min() > 0
            assert found.mean() == pytest.approx(float(shown), abs=4 * error + half_a_digit), size
        never = first_calls(kind(still, rng), k, limits, runs=2_000, most=40_000)
        calls = int((never > 0).sum())
        mean = (never.sum() + 40_000 * (2_000 - calls)) / calls
        promised = 1 / LEVEL_RATE if kind is of_level else 2 / LEVEL_RATE
        assert mean == pytest.approx(promised, rel=0.03 + 3 / np.sqrt(calls)), kind
    assert f"| the detectors, simulated | {' | '.join(DELAYS.values())} |" in page
    assert f"| the detectors, simulated | {' | '.join(WIDER.values())} |" in page
