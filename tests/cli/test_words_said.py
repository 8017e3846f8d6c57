"""Every word on the terminal comes from the catalogue: in a language of brackets none stands without them."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator

import pytest

import cellmon
from cellmon import words
from cellmon.cli.main import main
from cellmon.monitor.rule_sets import BY_NAME
from cellmon.records import EventKind
from tests.dashboards.test_words_seen import DAYS, KINDS, NAMES, SAID, UNITS, WORD, bracketed
from tests.small_cell import CHECKS, EVENTS, HEADER, SHEET, checks, events, new_cell, rows, write

GIVEN = {*BY_NAME, *EventKind, "T-squared", "MEWMA", "PART-1"}
"""Names of rule sets, charts and events, as the sheet and the files have them."""
ID = re.compile(r"\b[A-Z]-[0-9a-f]{6,}\b")
PEOPLE = {"early", "late", "night", "csv", "rows", "events", "checks", "cellmon", "Ada", "finish"}
"""What the people of a cell wrote: its shifts, its files, its operation, who answered."""


@pytest.fixture(scope="module")
def brackets() -> dict[str, str | tuple[str, str]]:
    return bracketed()


@pytest.fixture(scope="module")
def cell(tmp_path_factory, brackets) -> Iterator[cellmon.Monitor]:
    folder = tmp_path_factory.mktemp("terminal-said")
    opened = new_cell(folder / "cell", sheet=SHEET)
    words.speak(brackets)  # opening a cell speaks its own language
    read = rows(130, seed=3, jump_at=110)
    opened.take(
        [
            write(folder, "events.csv", EVENTS, events()),
            write(folder, "checks.csv", CHECKS, checks()),
            write(folder, "rows.csv", HEADER, [*read, read[-1].replace("50.0", "50.O")]),
        ]
    )
    opened.respond(opened.signals().signals[0].id, by="Ada", cause="⟦stones worn⟧", action="⟦new stones⟧")
    yield opened
    words.speak({})


def bare(text: str) -> list[str]:
    """Return the words of a text that stand outside every pair of brackets."""
    while SAID.search(text):
        text = SAID.sub(" ", text)
    text = ID.sub(" ", text)
    for name in sorted(KINDS | GIVEN, key=len, reverse=True):
        text = text.replace(name, " ")
    return [w for w in WORD.findall(text) if w.lower() not in NAMES and w not in UNITS | DAYS | PEOPLE]


@pytest.fixture
def printed(cell, monkeypatch, capsys):
    """Run a command on the cell, and return what it prints outside the brackets."""
    monkeypatch.setattr(cellmon, "open_cell", lambda *_, **__: cell)

    def run(*argv: str) -> list[str]:
        main(argv)
        said = capsys.readouterr()
        return [
            f"{line}  ->  {found}" for line in (said.out + said.err).splitlines() if (found := bare(line))
        ]

    return run


COMMANDS = (
    "state",
    "shifts",
    "stream --spindle S1 --bore 1 --feature diameter",
    "stream --spindle S1 --bore 1 --feature diameter --pair single",
    "signals --all",
    "alarms",
    "first-bores",
    "capability",
    "joint --spindle S1 --bore 1",
    "baseline",
    "baseline --check",
    "flags",
    "aside",
    "files",
    "check",
    "journal --verify",
    "gauge",
    "stones",
    "people",
    "sign",
    "audits",
    "part B0050",
    "fit",
    "traces",
    "compare --spindles S1 S2",
)


@pytest.mark.parametrize("command", COMMANDS)
def test_nothing_is_printed_outside_the_catalogue(printed, command):
    found = printed(*command.split())
    assert not found, "\n".join(found)


REFUSED = (
    "signals S-1 --open",
    "signals S-1",
    "capability --by Ada",
    "respond S-1 --by Ada",
    "hold S-1 --to B0050",
    "first-bores --release S1",
    "baseline --freeze",
    "sign --refuse",
    "people add Ada",
    "people code Ada --role look",
    "aside --text a",
    "take nowhere.csv --kind rows",
    "take {here} --kind nothing",
    "export nothing --to csv",
    "export part --to csv",
    "export bores --to docx",
    "words xx",
    "demo --host example.org",
    "new {here} --from nowhere.csv",
    "new {folder} --hand",
    "log gauge-zeroed --gauge G1 --value 4 --by Ada --look",
    "log gauge-zeroed --gauge G9 --value 4 --by Ada",
    "bore B0050",
)


@pytest.mark.parametrize("command", REFUSED)
def test_nor_where_it_refuses(printed, command, tmp_path, monkeypatch):
    monkeypatch.setattr("sys.stdin", io.StringIO("⟦Bench⟧\nnothing\n"))
    found = printed(*command.format(here=__file__, folder=tmp_path / "new").split())
    assert not found, "\n".join(found)
