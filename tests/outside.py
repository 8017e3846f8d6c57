"""Find literals with words that do not pass through `say`: python -m tests.outside FILES.

What is seen of a module is not known from its text. So every literal that reads like words is found, but
what stands where only a machine reads it: docstrings, names of classes, ids, file names, traces and styles.
"""

from __future__ import annotations

import ast
import re
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

WORDY = re.compile(r"[A-Za-z]{2,}[ ,.:;]+[A-Za-z(]{2,}|^[A-Z][a-z]+( |$)")
"""Two words beside each other, or one that begins a line."""
SAYERS = {"say", "say_many", "to_say"}
HEADINGS = {"text", "figure"}
"""On the terminal: columns of its tables, whose headings are said as they are printed."""
USAGE = {"COMMANDS", "OPTIONS"}
"""On the terminal: tables of what commands and options say of themselves, as UNSEEN_CALLS has it."""
UNSEEN = {"className", "id", "type", "style", "mode", "href", "rel", "kind", "symbol", "xref", "yref", "name"}
"""Arguments and keys whose text no person sees; the name of a trace is one, as no drawing has a legend."""
UNSEEN_CALLS = {
    "replace",
    "removeprefix",
    "removesuffix",
    "split",
    "startswith",
    "endswith",
    "getattr",
    "import_module",
    "compile",
    "cast",
    "TypeVar",
    "getLogger",
    "warning",
    "info",
    "strftime",
    "ClientsideFunction",
    # what a command says of its arguments, in English: it stands before a cell and its language are known
    "add_argument",
    "add_argument_group",
    "add_parser",
    "add_subparsers",
    "Parser",
    "ArgumentTypeError",
}
FILE = re.compile(r"[\w./-]+\.(css|js|json|ico|svg|toml)")
MARKUP = re.compile(r"<[^>]*>|\{%[^%]*%\}", re.DOTALL)


NOT_SAID: dict[str, tuple[str, ...]] = {
    # what stands in the head of a request or an answer, and is read by browsers
    "dashboards/gate.py": ("Forwarded", "default-src 'none'; …", "public, max-age=…"),
    "dashboards/sign_in.py": ("Strict",),
    "dashboards/readings.py": ('Bearer realm="cellmon"',),
    "dashboards/plain.py": ("Link", "Plain"),
    # names of traces: no drawing has a legend
    "dashboards/figures/last_bores.py": ("does not conform",),
    "dashboards/figures/stone_lines.py": ("since it was measured",),
    "dashboards/figures/ticks.py": ("does not conform", "bottom left", "bottom right"),
    # a symbol of the trade, and classes and fonts of the style sheet
    "dashboards/pages/claims_tables.py": ("Ppk",),
    "dashboards/pages/files_drop.py": ("drop over",),
    "dashboards/pages/parts.py": ("field wide",),
    "dashboards/theme.py": ("system-ui, …",),
    # symbols of the trade and what the formats of files ask for
    "cellmon/export/capability_book.py": ("Cp", "Cpk", "Pp", "Ppk", "yyyy-mm-dd hh:mm:ss"),
    "cellmon/export/stone_book.py": ("yyyy-mm-dd hh:mm:ss",),
    "cellmon/export/calendar.py": ("BEGIN:…", "END:…", "CALSCALE:GREGORIAN", "METHOD:PUBLISH", "TRANSP:…"),
    # of an option, in English: it stands before a cell and its language are known
    "cellmon/cli/typed.py": ("ISO 8601 (default: now)",),
    # measures for another program, in the English of its format
    "dashboards/watched_over.py": ("…",),
}
"""Literals that read like words and that no person sees, by their file; after a "…" anything may follow."""


@dataclass(frozen=True, kw_only=True)
class Literal:
    """A literal that reads like words; the places of its values stand as braces."""

    line: int
    text: str


def outside(source: str, *, file: str = "") -> list[Literal]:
    """Return the literals of a module that read like words and do not pass through the catalogue.

    Parameters
    ----------
    source : str
        Text of the module.
    file : str
        Where it stands under the root; a module of the terminal has headings and declares arguments.
    """
    tree = ast.parse(source)
    if "cellmon/cli/" in file:
        _of_terminal(tree)
    return sorted(_found(tree), key=lambda one: one.line)


def not_said(file: str, text: str) -> bool:
    """Return whether a literal of a file is on the list of those that nobody sees."""
    listed = NOT_SAID.get(file, ())
    return any(text == one or (one.endswith("…") and text.startswith(one[:-1])) for one in listed)


def made_up(source: str) -> list[Literal]:
    """Return the texts handed to `say` that are f-strings: no catalogue can know them."""
    calls = [n for n in ast.walk(ast.parse(source)) if isinstance(n, ast.Call)]
    texts = [c.args[0] for c in calls if getattr(c.func, "id", "") in SAYERS and c.args]
    return [Literal(line=t.lineno, text=ast.unparse(t)) for t in texts if isinstance(t, ast.JoinedStr)]


def _of_terminal(tree: ast.Module) -> None:
    """Leave out what is said elsewhere or not at all: headings, and what commands say of themselves."""
    tree.body = [node for node in tree.body if not _names(node) & USAGE]
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") in HEADINGS:
            node.args = node.args[1:]


def _names(node: ast.stmt) -> set[str]:
    targets = node.targets if isinstance(node, ast.Assign) else []
    return {one.id.lstrip("_") for one in targets if isinstance(one, ast.Name)}


def _found(node: ast.AST) -> Iterator[Literal]:
    if isinstance(node, ast.Constant | ast.JoinedStr):
        yield from _of_text(node)
        return
    for child in _seen(node):
        yield from _found(child)


def _of_text(node: ast.Constant | ast.JoinedStr) -> Iterator[Literal]:
    if isinstance(node, ast.Constant):
        text = node.value if isinstance(node.value, str) else ""
    else:
        values = [v.value for v in node.values if isinstance(v, ast.FormattedValue)]
        for value in values:
            yield from _found(value)
        text = "".join(str(v.value) if isinstance(v, ast.Constant) else "{}" for v in node.values)
    if WORDY.search(MARKUP.sub(" ", text).strip()) and not FILE.fullmatch(text):
        yield Literal(line=node.lineno, text=text)


def _seen(node: ast.AST) -> Iterator[ast.AST]:
    """Yield the parts of a node that may be seen by a person."""
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
        return  # a docstring
    if isinstance(node, ast.Call):
        yield from _of_call(node)
    elif isinstance(node, ast.AnnAssign):
        yield from [node.value] if node.value else []
    elif isinstance(node, ast.arguments):
        yield from [d for d in (*node.defaults, *node.kw_defaults) if d]
    elif isinstance(node, ast.Dict):
        yield from _of_dict(node)
    elif isinstance(node, ast.Subscript):
        yield node.value
    elif isinstance(node, ast.Compare):
        yield from (c for c in (node.left, *node.comparators) if not isinstance(c, ast.Constant))
    else:
        yield from ast.iter_child_nodes(node)


def _of_call(node: ast.Call) -> Iterator[ast.AST]:
    called = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
    yield node.func
    if called not in SAYERS | UNSEEN_CALLS:
        yield from node.args[called == "get" :]  # not the key
    if called not in UNSEEN_CALLS:
        yield from (k.value for k in node.keywords if not _unseen(k.arg, k.value))


def _of_dict(node: ast.Dict) -> Iterator[ast.AST]:
    for key, value in zip(node.keys, node.values, strict=True):
        if not _unseen(key.value if isinstance(key, ast.Constant) else None, value):
            yield value


def _unseen(name: object, value: ast.AST) -> bool:
    return name in UNSEEN and isinstance(value, ast.Constant | ast.JoinedStr | ast.IfExp)


if __name__ == "__main__":
    for path in sys.argv[1:]:
        for one in outside(Path(path).read_text(encoding="utf-8"), file=path):
            print(f"{path}:{one.line}: {one.text!r}")
