"""The documents: nothing public, no command and no closed word is missing, and nothing they name is gone."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

import cellmon
from cellmon.cli.main import COMMANDS
from cellmon.export.demo import make_demo
from cellmon.records import EventKind, Flag, Kind, Reason

ROOT = Path(__file__).resolve().parent.parent
DOCS = sorted((ROOT / "docs").glob("*.md"))
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", ROOT / "sample_runs" / "README.md", *DOCS]
TOPICS = ("stats", "bores", "charts", "capability", "gauge")


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


def test_every_command_is_described():
    page = text("commands.md")
    assert missing({command.name for command in COMMANDS}, page) == []
    headings = re.findall(r"^## (.+)$", page, flags=re.MULTILINE)
    words = {word for heading in headings for word in re.findall(r"\w+", heading)}
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
def test_figures_of_the_demo_are_those_of_the_demo(tmp_path):
    make_demo(tmp_path / "cell")
    monitor = cellmon.open_cell(tmp_path / "cell")
    cost, signals = monitor.state().alarms, monitor.signals().signals
    method, limits, start = (text(f"{name}.md") for name in ("method", "limits", "getting-started"))
    for words in (
        f"| charts | {cost.charts}:",
        f"| {cost.points_per_week:,.0f} |",
        f"means | {cost.mean_per_week:.0f} (",
        f"ranges | {cost.range_per_week:.0f} (",
        f"| together | {cost.per_week:.0f} |",
        f"freezing withdrew {sum(s.state == 'withdrawn' for s in signals)} of",
    ):
        assert words in method
    standing = [s for s in signals if s.state == "open"]
    assert f"{cost.per_week:.0f} false alarms expected, {len(standing)} signals stand" in limits
    assert f"{cost.per_week:.0f} false alarms a week" in start
    sizes = [sum(s.stream == one for s in standing) for one in {s.stream for s in standing} if size(one)]
    assert f"the four sizes {min(sizes)} to {max(sizes)}" in limits
    assert not any(row.claim == "supported" for row in monitor.capability().capability)
    named = set(re.findall(r"\b[SD]-[0-9a-f]{6,}\b", text("commands.md")))
    assert len(named) > 4
    assert named <= {s.id for s in signals} | {flag.id for flag in monitor.flags().flags}
    held = len(monitor.hold("S-04e716a746").parts)
    assert f"contain {held:,} parts" in text("commands.md") and f"holds {held:,} blocks" in limits
    monitor.close()


def size(stream: object) -> bool:
    return getattr(stream, "feature", "") == "diameter"
