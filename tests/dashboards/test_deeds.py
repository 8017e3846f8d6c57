"""What a page says of a deed where the store failed, and how many deeds may wait for it."""

from __future__ import annotations

import threading
from types import SimpleNamespace

import pytest

from cellmon.errors import NothingKept, PerhapsKept, StoreRefused
from cellmon.monitor import press
from cellmon.records import Flag
from dashboards import deeds
from dashboards.asking import NEEDS
from dashboards.kept import QUESTIONS, kept
from dashboards.pages import written
from tests.monitor.test_corrections import doubted_cell


@pytest.fixture
def cell(tmp_path):
    made = doubted_cell(tmp_path, Flag.SWAPPED_PLANES)
    yield made
    made.close()


def test_what_was_kept_and_could_not_be_read_again_is_not_called_refused(cell, monkeypatch):
    doubt = cell.flags().flags[0].id

    def away(*_: object, **__: object) -> None:
        raise StoreRefused("the store cell.db failed: server closed the connection")

    with monkeypatch.context() as patch:
        patch.setattr(type(cell), "flag", away)
        with pytest.raises(PerhapsKept) as told:
            kept(cell).correct(doubt, accept=False, by="R. Hale", why="measured again")
    assert str(told.value) == (
        "the store cell.db failed: server closed the connection. "
        "It is not known whether this was kept: look before you do it again."
    )
    assert [one.why for one in cell.journal().entries if one.subject == doubt] == ["measured again"]


def test_what_a_press_is_known_to_have_kept_is_called_kept_and_taken_out_of_its_form(cell, monkeypatch):
    doubt = cell.flags().flags[0].id

    def away(*_: object, **__: object) -> None:
        raise StoreRefused("the store cell.db failed: server closed the connection")

    with monkeypatch.context() as patch, press.named("a" * 32):
        patch.setattr(type(cell), "flag", away)
        with pytest.raises(
            PerhapsKept, match=r"^this was kept; what became of it cannot be read: the store"
        ) as told:
            kept(cell).correct(doubt, accept=False, by="R. Hale", why="measured again")
        assert isinstance(written.kept_anyway(written.as_sentence(str(told.value))), written.Kept)
    assert not isinstance(written.kept_anyway("Say why."), written.Kept)
    assert [one.why for one in cell.journal().entries if one.subject == doubt] == ["measured again"]


def test_what_failed_before_it_was_kept_says_that_nothing_was(cell):
    doubt, store = cell.flags().flags[0].id, cell.folder / "cell.db"
    store.rename(cell.folder / "away.db")
    with pytest.raises(NothingKept, match=r"^nothing was kept: the store .* is not there$"):
        kept(cell).correct(doubt, accept=False, by="R. Hale", why="measured again")
    (cell.folder / "away.db").rename(store)
    kept(cell).correct(doubt, accept=False, by="R. Hale", why="measured again")


def test_a_few_deeds_wait_for_the_store_and_one_more_is_told_at_once(monkeypatch):
    monkeypatch.setattr(deeds, "PATIENCE_S", 0.05)
    begun, go = threading.Semaphore(0), threading.Event()

    def respond(*_: object) -> str:
        begun.release()
        assert go.wait(30)
        return "done"

    monitor = kept(SimpleNamespace(respond=respond, last_change=lambda: 1))
    waiting = [threading.Thread(target=monitor.respond) for _ in range(deeds.MOST)]
    for one in waiting:
        one.start()
    assert all(begun.acquire(timeout=30) for _ in waiting)
    with pytest.raises(NothingKept, match="5 others wait until another program has written"):
        monitor.respond()
    assert monitor.last_change() == 1, "who asks does not wait"
    go.set()
    for one in waiting:
        one.join(30)
    assert monitor.respond() == "done"


def test_nothing_is_both_asked_and_done():
    assert not QUESTIONS & set(NEEDS)
