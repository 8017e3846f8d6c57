"""A cell in another language: what is kept is the same, and what is answered is said."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from babel.messages.pofile import read_po, write_po

import cellmon
from cellmon import local, words
from cellmon.monitor import Monitor
from cellmon.monitor.check import fingerprint
from cellmon.records import Flag
from tests.make_catalogue import catalogue_text
from tests.monitor.busy_cell import BUSY_EVENTS, BUSY_HEADER, BUSY_SHEET, busy_checks, busy_events, busy_rows
from tests.small_cell import CHECKS, new_cell, write

LANGUAGE = 'name = "Busy cell"\nlanguage = "de"'


@pytest.fixture(autouse=True)
def _english_again() -> Iterator[None]:
    yield
    words.speak({})
    local.write_as("en")


@pytest.fixture(scope="module")
def marked() -> bytes:
    """Return a file of words that says every English text between marks."""
    catalogue = read_po(io.StringIO(catalogue_text()), locale="de")
    for message in catalogue:
        if message.id:
            one, *many = [message.id] if isinstance(message.id, str) else message.id
            message.string = tuple(f"<{text}>" for text in (one, *many)) if many else f"<{one}>"
    written = io.BytesIO()
    write_po(written, catalogue)
    return written.getvalue()


def busy(folder: Path, *, language: bytes | None = None) -> Monitor:
    """Return a cell with signals, doubts and a gauge found off, in English or in a language of a file."""
    sheet = BUSY_SHEET
    if language is not None:
        (folder / "cell" / "words").mkdir(parents=True)
        (folder / "cell" / "words" / "de.po").write_bytes(language)
        sheet = re.sub(r'^name = ".*"$', LANGUAGE, BUSY_SHEET, count=1, flags=re.MULTILINE)
        assert sheet != BUSY_SHEET
    monitor = new_cell(folder / "cell", sheet=sheet)
    rng = np.random.default_rng(11)
    monitor.take(
        [
            write(folder, "events.csv", BUSY_EVENTS, busy_events(rng, 24)),
            write(folder, "checks.csv", CHECKS, busy_checks(rng, 24)),
            write(folder, "rows.csv", BUSY_HEADER, busy_rows(rng, 110)),
        ]
    )
    return monitor


def derived(monitor: Monitor) -> dict[str, str]:
    """Return a hash of every derived table."""
    with monitor._store.reading() as session:
        return fingerprint(session)


def test_what_is_derived_is_the_same_in_every_language(tmp_path: Path, marked: bytes) -> None:
    english = busy(tmp_path / "english")
    kept, named = derived(english), [s.id for s in english.signals().signals]
    english.close()
    other = busy(tmp_path / "other", language=marked)
    assert derived(other) == kept
    assert [s.id for s in other.signals().signals] == named
    report = other.check(rebuild=True)
    assert report.sound
    assert report.rebuilt.startswith("<")
    other.close()


def test_a_change_of_language_needs_no_rebuild(tmp_path: Path, marked: bytes) -> None:
    busy(tmp_path, language=marked).close()
    sheet = tmp_path / "cell" / "cell.toml"
    sheet.write_text(sheet.read_text(encoding="utf-8").replace('"de"', '"en"'), encoding="utf-8")
    monitor = cellmon.open_cell(tmp_path / "cell")
    report = monitor.check(rebuild=True)
    assert report.rebuilt == "Derived tables equal what was recomputed from the facts."
    assert not any("<" in flag.words for flag in monitor.flags().flags)
    monitor.close()


def test_doubts_and_signals_that_were_kept_in_english_are_said(tmp_path: Path, marked: bytes) -> None:
    monitor = busy(tmp_path, language=marked)
    flags, signals = monitor.flags().flags, monitor.signals().signals
    assert {Flag.ROUTING, Flag.ZERO_SUSPECT} <= {flag.flag for flag in flags}
    assert all(flag.words.startswith("<") for flag in flags)
    assert all(flag.proposal.startswith("<") for flag in flags if flag.proposal)
    assert signals
    for signal in signals:
        assert signal.words.startswith("<"), signal.words
        assert signal.detector.startswith("<"), signal.detector
        assert all(cause.title.startswith("<") and cause.why.startswith("<") for cause in signal.causes)
    monitor.close()


def test_every_sentence_of_the_pages_is_said(tmp_path: Path, marked: bytes) -> None:
    monitor = busy(tmp_path, language=marked)
    answers = [
        monitor.shifts(),
        monitor.seismograph(),
        monitor.trust(),
        monitor.limits_age(),
        *monitor.now().spindles,
    ]
    assert not [a.sentence for a in answers if not a.sentence.startswith("<")]
    assert monitor.alarms().budget.sentence.startswith("<")
    monitor.close()
