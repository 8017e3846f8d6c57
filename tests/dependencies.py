"""What each distribution that is installed is there for, from what distributions say of themselves."""

from __future__ import annotations

import re
import tomllib
from importlib import metadata
from pathlib import Path

from packaging.requirements import Requirement

ROOT = Path(__file__).resolve().parent.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
BUILD = ("hatchling", "editables")
"""What makes the package of a checkout; pip would fetch it by itself, past the pins."""
WHY = {
    "numpy": "arrays, in which all arithmetic is done",
    "scipy": "distributions, special functions, optimisers",
    "pandas": "tables at the edges: exports, studies, clocks of zones",
    "pyarrow": "reading and writing Parquet, CSV and JSON lines",
    "python-calamine": "reading XLSX",
    "xlsxwriter": "writing XLSX",
    "reportlab": "writing PDF",
    "pydantic": "checking the cell sheet",
    "orjson": "JSON in and out",
    "sqlalchemy": "one way of asking SQLite and PostgreSQL, with bound values",
    "plotly": "figures",
    "dash": "pages",
    "dash-ag-grid": "tables in pages",
    "flask-compress": "smaller pages on the way",
    "waitress": "the web server",
    "tzdata": "time zones where the system has none",
    "babel": "numbers and dates of a language",
    "watchfiles": "seeing a file come into the inbox",
    "psycopg": "PostgreSQL, the extra `postgres`",
    "lxml": "writing QIF, the extra `qif`",
    "paho-mqtt": "MQTT, the extra `live`",
    "dask": "studies over several machines, the extra `scale`",
    "pytest": "runs the tests",
    "pytest-xdist": "runs tests side by side",
    "hypothesis": "draws examples",
    "playwright": "drives Chromium in tests",
    "axe-playwright-python": "looks for barriers on pages in tests",
    "ruff": "style and order of the code",
    "mypy": "types",
    "pandas-stubs": "types of pandas",
    "scipy-stubs": "types of scipy",
    "pypdf": "reads PDF in tests",
    "atheris": "coverage-guided fuzzing",
    "hatchling": "builds the package",
    "editables": "lets a checkout be installed in place",
}
"""Why we chose a distribution; the others come with one of these."""


def key_of(name: str) -> str:
    """Return by what names of distributions are compared.

    References
    ----------
    Python Packaging User Guide, "Names and normalization".
    """
    return re.sub(r"[-_.]+", "-", name).lower()


def asked_for() -> dict[str, list[Requirement]]:
    """Return what the project asks for itself, by what it is used for."""
    project = PROJECT["project"]
    extras = project["optional-dependencies"]
    of_extras = [text for name, texts in extras.items() if name != "test" for text in texts]
    return {
        "run time": [Requirement(text) for text in project["dependencies"]],
        "an extra": [Requirement(text) for text in of_extras],
        "tests": [Requirement(text) for text in extras["test"]],
        "building": [Requirement(text) for text in BUILD],
    }


def reached(roots: list[Requirement]) -> dict[str, set[str]]:
    """Return every distribution that some requirements bring here, and by which of them."""
    found: dict[str, set[str]] = {}

    def walk(one: Requirement, root: str, seen: set[tuple[str, frozenset[str]]]) -> None:
        key = (key_of(one.name), frozenset(one.extras))
        if key in seen or (one.marker is not None and not one.marker.evaluate({"extra": ""})):
            return
        seen.add(key)
        found.setdefault(key[0], set()).add(root)
        for text in metadata.requires(one.name) or ():
            need = Requirement(text)
            wanted = [{"extra": extra} for extra in ("", *one.extras)]
            if need.marker is None or any(need.marker.evaluate(extra) for extra in wanted):
                need.marker = None
                walk(need, root, seen)

    for root in roots:
        walk(root, key_of(root.name), set())
    return found


def licence_of(name: str) -> str:
    """Return the licence a distribution names, as it names it, in a few words."""
    about = metadata.metadata(name)
    said = about.get("License-Expression") or ""
    kinds = [c.rpartition(":: ")[2] for c in about.get_all("Classifier", []) if c.startswith("License ::")]
    first = (about.get("License") or "").strip().splitlines()
    return said or ", ".join(kinds) or (first[0][:60] if first else "not named")
