"""What waits for a second person, on the pages: a line, and a form that signs or refuses."""

from __future__ import annotations

import pytest

from cellmon.errors import NotAllowed
from cellmon.export.capability_book import write_capability_book
from cellmon.export.capability_paper import capability_head, capability_leaves
from cellmon.export.paper import pdf
from cellmon.people import Person, Role
from cellmon.records import stream_names
from dashboards import asking
from dashboards.pages import claims, claims_signed, freeze, parts, saving, second
from dashboards.pages.written import Kept
from tests.monitor.test_second_person import WANTED
from tests.small_cell import HEADER, new_cell, rows, write

STREAM = "spindle=S1&bore=1&feature=diameter"


@pytest.fixture
def monitor(tmp_path):
    """A cell whose sheet wants a second person."""
    opened = new_cell(tmp_path / "cell", sheet=WANTED)
    opened.take([write(tmp_path, "rows.csv", HEADER, rows(80))])
    yield opened
    opened.close()


def words(children) -> str:
    """Return all text of some components."""
    if isinstance(children, list | tuple):
        return " ".join(map(words, children))
    return children if isinstance(children, str) else words(getattr(children, "children", None) or "")


def test_nothing_is_seen_until_something_waits(monitor):
    assert second.show(monitor, "limits", None) == [[], [], None, {"display": "none"}]
    query = parts.stream_query(monitor.streams()[0])
    said = freeze.freeze(monitor, query, "all", "first quiet weeks", "A. Weber")
    assert "proposed by A. Weber: waits for a second name." in said
    assert said.endswith("Until then the limits in force go on watching.")
    lines, options, chosen, style = second.show(monitor, "limits", None)
    assert "waits for a second name" in words(lines) and "first quiet weeks" in words(lines)
    named = stream_names([one.stream for one in monitor.proposals().proposals[0].changes])
    assert all(name in words(lines) for name in named) and " to " in words(lines[1]), "what it changes"
    assert "waits for a second name" in words(second.elsewhere(monitor)), "and page Signals leads there"
    assert ([o["value"] for o in options], style) == ([chosen], {})
    assert second.show(monitor, "claims", None)[0] == []


def test_the_form_signs_or_refuses_and_says_why_it_does_not(monitor):
    query = parts.stream_query(monitor.streams()[0])
    freeze.freeze(monitor, query, "all", "first quiet weeks", "A. Weber")
    [_, _, chosen, _] = second.show(monitor, "limits", None)
    asked = "Say which one, who signs or refuses it, and why."
    assert second.decide(monitor, chosen, " ", "B. Ito", None, refuse=False) == asked
    assert second.decide(monitor, None, "looked at", "B. Ito", None, refuse=False) == asked
    own = second.decide(monitor, chosen, "mine", "A. Weber", None, refuse=False)
    assert own == f"A. Weber proposed {chosen}; another person signs it."
    assert second.decide(monitor, chosen, "looked at", "B. Ito", None, refuse=False).endswith(
        "signed by B. Ito."
    )
    told = words(freeze.show(monitor, query))
    assert "signed by B. Ito" in told
    assert stream_names(monitor.streams()[:1])[0] in told, "of which stream"
    freeze.freeze(monitor, query, "all", "again", "A. Weber")
    [_, _, chosen, _] = second.show(monitor, "limits", None)
    said = second.decide(monitor, chosen, "too soon", "B. Ito", None, refuse=True)
    assert said.endswith("refused by B. Ito: too soon.")


def test_where_another_person_decided_what_was_chosen_no_other_is_chosen_in_its_place(monitor):
    for why in ("first", "second"):
        monitor.freeze(by="A. Weber", why=why)
    older, newer = (one.id for one in monitor.proposals().proposals)
    assert second.show(monitor, "limits", None)[2] == newer, "at first the newest"
    monitor.sign(newer, by="B. Ito", why="looked at", refuse=True)
    [_, options, chosen, _] = second.show(monitor, "limits", newer)
    assert [one["value"] for one in options] == [older]
    assert not chosen
    assert second.decide(monitor, chosen, "fine", "C. Mora", None, refuse=False).startswith("Say which one")
    assert second.show(monitor, "limits", chosen)[2] == chosen, "nor a moment later"


def test_whoever_only_answers_signs_nothing(monitor):
    door = asking.asked(monitor)
    [proposal] = monitor.freeze(by="A. Weber", why="first").waiting
    for role, refused in ((Role.ANSWER, True), (Role.LOOK, True), (Role.DECIDE, False)):
        who = asking.Asking(person=Person(name="B. Ito", role=role), ticket="t", address="", door=None)
        with asking.as_asked_by(who):
            assert len(door.proposals().proposals) == 1
            if refused:
                with pytest.raises(NotAllowed):
                    door.sign(proposal.id, by="B. Ito", why="fine")
                with pytest.raises(NotAllowed):
                    door.sign_capability(by="B. Ito", why="fine")
            else:
                with pytest.raises(NotAllowed, match="in the name of"):
                    door.sign(proposal.id, by="C. Mora", why="fine")
                door.sign(proposal.id, by="B. Ito", why="fine")


def text_of(monitor, tmp_path) -> str:
    from pypdf import PdfReader

    answer = monitor.submission(feature="diameter")
    path = tmp_path / "paper.pdf"
    path.write_bytes(pdf(capability_leaves(answer), head=capability_head(answer)))
    return " ".join(" ".join(page.extract_text().split()) for page in PdfReader(path).pages)


def test_page_paper_and_tables_say_that_no_second_person_signed_until_one_has(monitor, tmp_path):
    from cellmon.export.tables import capability_table

    zone = parts.zone_of(monitor)
    query = parts.stream_query(claims.answer_of(monitor, "diameter").capability[0].stream)
    assert "Not signed by a second person" in words(claims.show_stream(monitor, "diameter", query)[1])
    assert "Not signed by a second person" in text_of(monitor, tmp_path)
    said = claims_signed.sign(monitor, "diameter", "for the customer", "A. Weber")
    assert "Signed by A. Weber" in said and "Not signed by a second person" in said
    assert "Not signed by a second person; P" in text_of(monitor, tmp_path)
    column = dict(saving.columns_of(capability_table(monitor.capability(), zone=zone)))["signature"]
    assert all("Not signed by a second person" in one for one in column)
    [_, _, chosen, _] = second.show(monitor, "claims", None)
    second.decide(monitor, chosen, "checked", "B. Ito", None, refuse=False)
    page, paper = words(claims.show_stream(monitor, "diameter", query)[1]), text_of(monitor, tmp_path)
    for found in (page, paper):
        assert "Not signed" not in found and "and by B. Ito" in found
    book = write_capability_book(monitor.submission(feature="diameter"), tmp_path / "book.xlsx", zone=zone)
    from python_calamine import CalamineWorkbook

    sheets = CalamineWorkbook.from_path(book)
    figures = {str(row[0]): row[1] for row in sheets.get_sheet_by_index(1).to_python() if row}
    assert "and by B. Ito" in figures["signature"]


def test_of_two_who_press_freeze_on_the_same_page_the_second_hears_of_the_first(tmp_path):
    alone = new_cell(tmp_path / "alone")
    alone.take([write(tmp_path, "rows.csv", HEADER, rows())])
    query = parts.stream_query(alone.streams()[0])
    mean = parts.stream_query(next(one for one in alone.pooled() if one.bore is None))
    _, looked = freeze.show(alone, query)
    assert isinstance(freeze.freeze(alone, query, "all", "quiet", "A. Weber", looked=looked), Kept)
    said = freeze.freeze(alone, query, "all", "quiet too", "B. Ito", looked=looked)
    assert "A. Weber decided this already" in said and not isinstance(said, Kept)
    notice, looked = freeze.show(alone, mean)
    assert "frozen with every stream" in words(notice)
    assert isinstance(freeze.freeze(alone, mean, "all", "seen, anew", "B. Ito", looked=looked), Kept)
    alone.close()
