"""A second person: what one proposes stands once another has signed it, where the sheet says so."""

from __future__ import annotations

import pytest

import cellmon
from cellmon.errors import CellmonError, NotAllowed, NotFound, WrongUsage
from cellmon.people import Role
from tests.small_cell import HEADER, SHEET, derived, new_cell, rows, write
from tests.store.conftest import new_database

WANTED = SHEET.replace("[store]", '[people]\nsecond_person = ["limits", "claims"]\n[store]')


on_each = pytest.mark.parametrize("url", ["sqlite", "postgresql"], indirect=True)


@pytest.fixture
def url(request) -> str:
    """A store: SQLite unless a test asks for each kind."""
    if getattr(request, "param", "sqlite") == "sqlite":
        return "sqlite:///cell.db"
    return new_database(request.getfixturevalue("postgres_url"))


@pytest.fixture
def cell(tmp_path, url):
    """A cell whose sheet wants a second person for limits and claims."""
    monitor = new_cell(tmp_path / "cell", url=url, sheet=WANTED)
    monitor.take([write(tmp_path, "rows.csv", HEADER, rows(80))])
    yield monitor
    monitor.close()


def limits_of(monitor):
    return {one.stream: one.in_force for one in monitor.baselines().baselines}


def waiting(monitor):
    return [one.id for one in monitor.proposals().proposals if one.state == "waits"]


@on_each
def test_limits_that_one_person_froze_hold_only_once_another_has_signed(cell, tmp_path):
    before, watched = limits_of(cell), derived(cell)
    found = cell.freeze(by="A. Weber", why="first quiet weeks")
    [proposal] = found.waiting
    assert limits_of(cell) == before and all(one.version == 0 for one in found.baselines)
    assert derived(cell) == watched, "what stood goes on watching"
    assert (
        proposal.sentence
        == f"{proposal.id}, limits of 6 streams, proposed by A. Weber: waits for a second name."
    )
    with pytest.raises(NotAllowed, match=r"A\. Weber proposed"):
        cell.sign(proposal.id, by=" a. WEBER ", why="it is fine")
    signed = cell.sign(proposal.id, by="B. Ito", why="windows looked at").proposals[0]
    assert (signed.state, signed.decided_by, signed.decided_why) == ("signed", "B. Ito", "windows looked at")
    stands = limits_of(cell)
    assert {(one.by, one.signed_by) for one in stands.values()} == {("A. Weber", "B. Ito")}
    alone = new_cell(tmp_path / "alone")
    alone.take([tmp_path / "rows.csv"])
    alone.freeze(by="A. Weber", why="first quiet weeks")
    assert derived(cell) == derived(alone), "signed limits watch as limits that one person froze"
    assert cell.check(rebuild=True).sound
    alone.close()


def test_a_refusal_has_a_reason_and_ends_a_proposal(cell):
    [proposal] = cell.freeze(by="A. Weber", why="new stones", spindle="S1").waiting
    with pytest.raises(WrongUsage, match="a name and a reason"):
        cell.sign(proposal.id, by="B. Ito", why=" ", refuse=True)
    told = cell.sign(proposal.id, by="B. Ito", why="window too short", refuse=True).proposals[0]
    assert told.sentence.endswith("proposed by A. Weber: refused by B. Ito: window too short.")
    with pytest.raises(WrongUsage, match=r"refused by B\. Ito"):
        cell.sign(proposal.id, by="C. Mora", why="all the same")
    with pytest.raises(NotFound, match="no proposal P99"):
        cell.sign("P99", by="B. Ito", why="-")
    [own] = cell.freeze(by="A. Weber", why="again", spindle="S1").waiting
    assert cell.sign(own.id, by="A. Weber", why="taken back", refuse=True).proposals[-1].state == "refused"


def test_limits_that_were_frozen_since_overtake_an_older_proposal(cell):
    [first] = cell.freeze(by="A. Weber", why="first", spindle="S1").waiting
    second = cell.freeze(by="B. Ito", why="second", spindle="S1").waiting[-1]
    cell.sign(second.id, by="A. Weber", why="better window")
    assert cell.proposals().proposals[0].state == "overtaken"
    with pytest.raises(WrongUsage, match="overtaken"):
        cell.sign(first.id, by="C. Mora", why="late")


@on_each
def test_only_one_of_two_who_sign_at_once_signs(cell):
    [proposal] = cell.freeze(by="A. Weber", why="first").waiting
    other = cellmon.open_cell(cell.folder)
    said = []
    for monitor, name in ((cell, "B. Ito"), (other, "C. Mora")):
        try:
            monitor.sign(proposal.id, by=name, why="looked at")
        except CellmonError as late:
            said.append(str(late))
    assert len(said) == 1 and "signed by B. Ito" in said[0]
    assert {one.version for one in cell.baselines().baselines} == {1}
    other.close()


def test_where_there_are_accounts_only_those_who_decide_propose_and_sign(cell):
    for name, role in (("A. Weber", Role.DECIDE), ("B. Ito", Role.DECIDE), ("K7", Role.ANSWER)):
        cell.add_person(name, role=role, shared=False, password=None, by="A. Weber")
    cell.add_person("Tablet", role=Role.LOOK, shared=True, password="long enough to keep", by="A. Weber")
    for name in ("Nobody Known", "K7", "Tablet"):
        with pytest.raises(NotAllowed):
            cell.freeze(by=name, why="first")
    [proposal] = cell.freeze(by="a. weber", why="first").waiting
    for name in ("Nobody Known", "K7", "Tablet", "A. WEBER"):
        with pytest.raises(NotAllowed):
            cell.sign(proposal.id, by=name, why="fine")
    assert waiting(cell) == [proposal.id]
    cell.sign(proposal.id, by="B. Ito", why="fine")
    assert waiting(cell) == []


@on_each
def test_figures_are_signed_by_two_and_no_longer_once_they_changed(cell, tmp_path):
    asked = {"spindle": "S1", "feature": "diameter"}
    [row] = cell.capability(**asked).capability
    assert (row.signature.state, row.signature.by) == ("nobody", None)
    assert "Not signed by a second person" in row.signature.sentence
    [row] = cell.sign_capability(by="A. Weber", why="for the customer", **asked).capability
    assert row.signature.state == "waits" and "Not signed by a second person; P" in row.signature.sentence
    with pytest.raises(NotAllowed):
        cell.sign(row.signature.proposal, by="A. Weber", why="mine")
    cell.sign(row.signature.proposal, by="B. Ito", why="checked")
    [row] = cell.capability(**asked).capability
    assert (row.signature.state, row.signature.by, row.signature.signed_by) == (
        "signed",
        "A. Weber",
        "B. Ito",
    )
    [other] = cell.capability(spindle="S2", feature="diameter").capability
    assert other.signature.state == "nobody"
    cell.take([write(tmp_path, "more.csv", HEADER, rows(90)[-80:])])
    [row] = cell.capability(**asked).capability
    assert (row.signature.state, row.signature.signed_by) == ("changed", None)


def test_the_journal_holds_proposal_signature_and_what_held_before(cell):
    [proposal] = cell.freeze(by="A. Weber", why="first", spindle="S1", feature="diameter").waiting
    cell.sign(proposal.id, by="B. Ito", why="looked at")
    cell.freeze(by="A. Weber", why="second", spindle="S1", feature="diameter")
    answer = cell.journal()
    proposed, signed, frozen, again = answer.entries
    assert answer.whole and [e.kind for e in answer.entries] == ["propose", "sign", "freeze", "propose"]
    assert proposed.about == f"{proposal.id}: limits of 1 stream"
    assert signed.before == proposed.after and signed.after["hash"] == proposed.hash
    [stood] = proposed.before.values()
    [held] = again.before.values()
    assert stood["centre"] != pytest.approx(0.0, abs=1e-12) and held["centre"] == frozen.after["centre"]
    assert (frozen.by, frozen.after["proposed_by"], frozen.after["proposal"]) == (
        "B. Ito",
        "A. Weber",
        proposal.id,
    )


def test_without_the_word_in_the_sheet_one_person_freezes_and_signs(tmp_path):
    monitor = new_cell(tmp_path / "cell")
    monitor.take([write(tmp_path, "rows.csv", HEADER, rows(80))])
    assert monitor.capability().capability[0].signature is None
    assert monitor.freeze(by="A. Weber", why="first").waiting == ()
    assert {one.signed_by for one in limits_of(monitor).values()} == {None}
    row = monitor.sign_capability(by="A. Weber", why="for the customer").capability[0]
    assert row.signature.state == "signed" and row.signature.sentence.startswith("Signed by A. Weber, ")
    assert monitor.proposals().proposals == ()
    monitor.close()


def test_a_sheet_that_no_longer_wants_a_second_person_is_adopted_by_name_like_any_change(cell):
    sheet = cell.folder / "cell.toml"
    sheet.write_text(
        sheet.read_text(encoding="utf-8").replace('["limits", "claims"]', "[]"), encoding="utf-8"
    )
    again = cellmon.open_cell(cell.folder)
    assert len(again.freeze(by="A. Weber", why="alone", spindle="S1").waiting) == 1, "not yet in force"
    again.adopt(by="A. Weber", why="too few people at night")
    assert again.journal().entries[-1].kind == "adopt"
    assert again.proposals().proposals[0].state == "overtaken"
    again.freeze(by="A. Weber", why="alone", spindle="S1")
    assert again.journal().entries[-1].kind == "freeze"
    again.close()
