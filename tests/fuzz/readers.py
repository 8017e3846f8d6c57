"""The readers under coverage-guided fuzzing (atheris, which drives libFuzzer), in a process of its own.

    python -m tests.fuzz.readers TARGET,TARGET FOLDER KEPT -runs=25000 -seed=97

Each target is fuzzed in a process of its own, split off once all is imported: making the program ready to
be watched takes 5 s. libFuzzer's own options follow; it writes what reached new code into FOLDER/TARGET,
begins from there and KEPT/TARGET, and what it says goes to FOLDER/TARGET.txt.
"""

from __future__ import annotations

import logging
import os
import string
import sys
import tempfile
import warnings
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import atheris

with atheris.instrument_imports(include=["cellmon", "dashboards.readings"]):
    import cellmon.intake.mating
    import cellmon.intake.readings
    import cellmon.intake.rows
    import cellmon.intake.tables
    import cellmon.intake.typed
    import cellmon.intake.workbook  # noqa: F401
    from cellmon.errors import CellmonError, FileUnreadable, SheetRefused
    from cellmon.intake import parse_sheet, read_bytes
    from cellmon.intake.broker import Message
    from cellmon.intake.catalogue import read_catalogue_text
    from cellmon.intake.store_line import with_store
    from cellmon.monitor.listen import Listener
    from cellmon.monitor.take import FileTaken, SetAside, not_read
    from dashboards import readings

from flask import Flask, request

from cellmon.records import Reason
from cellmon.tokens import May
from tests.intake.conftest import SHEET, is_accounted_for

CELL = parse_sheet(SHEET).sheet
BESIDE_OTHERS = (Reason.CONTRADICTS, Reason.UNIT_DOUBT)
"""Why a row may be set aside because of those it came with."""
SERVER = Flask("fuzzed")
FOLDER = tempfile.TemporaryDirectory(prefix="fuzzed-")


def table(data: bytes) -> None:
    """Read a table of any format: every row is taken, refused or a repeat, or a sentence says why not."""
    try:
        found = read_bytes(data, CELL, name="fuzzed")
    except FileUnreadable as refused:
        assert "\n" not in str(refused)
        return
    is_accounted_for(found)


def sheet(data: bytes) -> None:
    """Read a cell sheet, and change the one line that a program may change."""
    text = data.decode("utf-8", "replace")
    try:
        parse_sheet(text)
        changed = with_store(text, "sqlite:///other.db")
    except (SheetRefused, CellmonError):
        return
    assert parse_sheet(changed).sheet.judging() == parse_sheet(text).sheet.judging()


def catalogue(data: bytes) -> None:
    """Read a site's words: what was read can be said with the values it was written for."""
    try:
        found = read_catalogue_text(data, name="fuzzed.po")
    except FileUnreadable:
        return
    for said in found.values():
        for text in (said,) if isinstance(said, str) else said:
            names = {name: "1" for _, name, _, _ in string.Formatter().parse(text) if name}
            text.format(**names)


class Taker:
    """Stands in for a monitor: reads what is handed over as the intake does, and keeps nothing."""

    read = 0
    """Rows that were kept or repeat another, or were set aside for what came with them."""

    def with_token(self, given: str) -> Any:
        return SimpleNamespace(name="Station", may=May.READINGS)

    def take_bytes(self, raw: bytes, *, name: str, kind: str | None = None, unit: str | None = None) -> Any:
        try:
            found = read_bytes(raw, CELL, name=name, kind=kind, unit=unit)
        except FileUnreadable as refused:
            return SimpleNamespace(files=(not_read(name, str(refused), 0.0),))
        is_accounted_for(found)
        unread = [r for r in found.refused if r.reason not in BESIDE_OTHERS]
        self.read += found.rows - len(unread)
        aside = tuple(SetAside(line=r.line, reason=r.reason, text=r.text) for r in found.refused)
        counts = {"taken": found.rows - found.repeated - len(aside), "known": found.repeated}
        none = {"flagged": 0, "bores": 0, "signals": 0, "seconds": 0.0}
        file = FileTaken(
            file=name, kind=found.kind, rows=found.rows, set_aside=aside, **counts, **none, notes=found.notes
        )
        return SimpleNamespace(files=(file,))


class Heard:
    """Stands in for a broker that has some messages; notes which are done."""

    topic, why_away = "line/readings", None

    def __init__(self, payloads: list[bytes]) -> None:
        self._sent = [Message(topic=self.topic, payload=p, number=i) for i, p in enumerate(payloads)]
        self.acknowledged: list[int] = []

    def heard(self, *, most: int) -> list[Message]:
        return self._sent

    def done(self, message: Message) -> None:
        self.acknowledged.append(message.number)


def message(data: bytes) -> None:
    """Hear messages, those of one header together: each is done once, and none hides rows of another."""
    payloads = data.split(b"\x1e")
    together, each = Taker(), Taker()
    heard = Heard(payloads)
    for said in Listener(Path(FOLDER.name), heard, lambda _: together).listen():
        assert "\n" not in said.words
    assert sorted(heard.acknowledged) == list(range(len(payloads)))
    for payload in payloads:
        for _ in Listener(Path(FOLDER.name), Heard([payload]), lambda _: each).listen():
            pass
    assert together.read >= each.read, f"{together.read} rows read together, {each.read} alone"
    for kept in (Path(FOLDER.name) / "set-aside").glob("*"):
        kept.unlink()


def posted(data: bytes) -> None:
    """Hand over rows as a program does: 200 with every row counted, or one sentence why not."""
    kinds = sorted(readings.ENDINGS)
    kind, body = (kinds[data[0] % len(kinds)], data[1:]) if data else (kinds[0], b"")
    headers = {"Authorization": "Bearer token"}
    with SERVER.test_request_context(
        "/readings", method="POST", data=body, content_type=kind, headers=headers
    ):
        answer = readings.Desk(Taker(), None).answer(request)
    told = answer.get_json()
    if answer.status_code == 200:
        assert told["rows"] == told["taken"] + told["known"] + told["set_aside"]
    else:
        assert answer.status_code in (400, 413, 415, 422) and "\n" not in told["error"]


TARGETS: dict[str, Callable[[bytes], None]] = {
    "table": table,
    "sheet": sheet,
    "catalogue": catalogue,
    "message": message,
    "posted": posted,
}


def fuzz(name: str, folder: Path, kept: Path, options: list[str]) -> None:
    """Fuzz one target with libFuzzer's options; libFuzzer ends the process."""
    said = os.open(folder / f"{name}.txt", os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    os.dup2(said, sys.stderr.fileno())
    (folder / name).mkdir(exist_ok=True)
    atheris.Setup([sys.argv[0], str(folder / name), str(kept / name), *options], TARGETS[name])
    atheris.Fuzz()


def main() -> int:
    """Fuzz targets one after the other, each split off this process; return how many broke."""
    logging.disable(logging.CRITICAL)
    warnings.simplefilter("ignore")
    names, folder, kept, *options = sys.argv[1:]
    broken = 0
    for name in names.split(","):
        child = os.fork()
        if child == 0:
            fuzz(name, Path(folder), Path(kept), options)
            os._exit(1)  # never reached: libFuzzer ends the process
        broken += os.waitpid(child, 0)[1] != 0
    return broken


if __name__ == "__main__":
    sys.exit(main())
