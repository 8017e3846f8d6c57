"""The arrows of the house: every import is read, and one that points the wrong way fails."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
TOPICS = ("bores", "charts", "drift", "capability", "stones", "gauge", "fits", "sizing", "setup", "diagnosis")
EDGES = ("intake", "store")
LEVEL_2 = (*TOPICS, "simulate", *EDGES)


def package_of(module: str) -> str:
    """Return the room of the house a module belongs to."""
    parts = module.split(".")
    if parts[0] == "dashboards":
        return "figures" if parts[1:2] == ["figures"] else "theme" if parts[1:2] == ["theme"] else "pages"
    if len(parts) == 1:
        return "door"
    if parts[1] == "__main__":
        return "cli"
    known = (*LEVEL_2, "stats", "monitor", "export", "cli")
    return parts[1] if parts[1] in known else "level 0"


ALLOWED = {
    "level 0": set(),
    "stats": {"level 0"},
    **{topic: {"level 0", "stats"} for topic in LEVEL_2},
    "monitor": {"level 0", "stats", "door", *LEVEL_2},
    "export": {"level 0", "monitor", "door", "simulate"},  # simulate: the files of a simulated run
    "theme": {"level 0"},
    "figures": {"level 0", "monitor", "theme"},
    "pages": {"level 0", "monitor", "theme", "figures", "export", "door"},
    "cli": {"level 0", "monitor", "export", "pages", "door"},
    "door": {"monitor"},
}


def modules() -> Iterator[tuple[str, Path]]:
    """Yield every module of the program by its dotted name."""
    for top in ("cellmon", "dashboards"):
        for path in sorted((ROOT / top).rglob("*.py")):
            name = ".".join(path.relative_to(ROOT).with_suffix("").parts)
            yield name.removesuffix(".__init__"), path


MODULES = list(modules())
NAMES = frozenset(name for name, _ in MODULES)


@dataclass(frozen=True, kw_only=True)
class Read:
    """What one file imports and calls."""

    imports: tuple[ast.Import | ast.ImportFrom, ...]
    called: frozenset[str]


@cache
def read(path: Path) -> Read:
    """Return what a file imports and calls; each is read once for all tests here."""
    nodes = list(ast.walk(ast.parse(path.read_text(encoding="utf-8"))))
    return Read(
        imports=tuple(n for n in nodes if isinstance(n, ast.Import | ast.ImportFrom)),
        called=frozenset(ast.unparse(n.func) for n in nodes if isinstance(n, ast.Call)),
    )


def imports(path: Path) -> Iterator[tuple[int, str]]:
    """Yield every module of ours that a file imports, anywhere in it, with the line."""
    for node in read(path).imports:
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield node.lineno, alias.name
        elif node.module and not node.level:
            for name in (f"{node.module}.{alias.name}" for alias in node.names):
                yield node.lineno, name if name in NAMES else node.module


def named(path: Path) -> Iterator[tuple[int, str]]:
    """Yield every module that an import statement of a file names, with the line."""
    for node in read(path).imports:
        names = [a.name for a in node.names] if isinstance(node, ast.Import) else [node.module or ""]
        for name in names:
            yield node.lineno, name


@pytest.mark.parametrize(("name", "path"), MODULES, ids=[name for name, _ in MODULES])
def test_every_import_points_down(name, path):
    mine = package_of(name)
    for line, other in imports(path):
        if not other.startswith(("cellmon", "dashboards")):
            continue
        theirs = package_of(other)
        version_only = theirs == "door" and mine in ("cli", "export")
        assert theirs == mine or theirs in ALLOWED[mine] or version_only, (
            f"{path.name}:{line} {name} -> {other}"
        )


def test_the_rule_would_catch_a_wrong_arrow():
    assert "intake" not in ALLOWED["bores"]
    assert "charts" not in ALLOWED["capability"]
    assert "store" not in ALLOWED["cli"]
    assert package_of("cellmon.store.engine") == "store"
    assert package_of("cellmon.units") == "level 0"


def test_only_the_store_knows_sql():
    for name, path in MODULES:
        if package_of(name) == "store":
            continue
        for line, other in named(path):
            assert not other.startswith(("sqlalchemy", "sqlite3", "psycopg")), (
                f"{name}:{line} imports {other}"
            )


def test_nothing_runs_text_as_code_unpickles_or_starts_programs():
    modules = {"pickle", "marshal", "shelve", "yaml", "subprocess", "ctypes", "dill", "cloudpickle"}
    calls = {"eval", "exec", "compile", "__import__", "os.system", "os.popen", "np.load", "pd.read_pickle"}
    for name, path in MODULES:
        imported = {other.split(".")[0] for _, other in named(path)}
        assert not imported & modules and not read(path).called & calls, name


def test_nothing_of_the_program_reads_the_answer_key():
    for name, path in MODULES:
        text = path.read_text(encoding="utf-8")
        assert "answers/" not in text and '/ "answers"' not in text, name


def test_topics_ask_no_clock_draw_nothing_and_open_nothing():
    banned = {"datetime.now", "time.time", "np.random.default_rng", "numpy.random"}
    for name, path in MODULES:
        if package_of(name) in (*TOPICS, "stats"):
            called = read(path).called
            assert not called & (banned | {"open"}), (name, called & banned)


def test_the_top_level_is_what_it_should_be():
    wanted = {
        "README.md",
        "DEVELOPERS.md",
        "pyproject.toml",
        "cellmon",
        "dashboards",
        "tests",
        "sample_runs",
        "docs",
    }
    found = {p.name for p in ROOT.iterdir() if not p.name.startswith(".")}
    assert wanted <= found
    assert found - wanted <= {"cellmon-demo", "__pycache__"}, "only the card's files stand at top level"
