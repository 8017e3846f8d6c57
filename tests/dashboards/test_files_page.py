"""The Files page: a bad file is dropped, its rows are seen, one is corrected, and it is seen taken."""

from __future__ import annotations

import io
import json
import re
import zipfile
from base64 import b64encode
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from plotly.utils import PlotlyJSONEncoder

from cellmon.errors import NotSignedIn
from cellmon.monitor.row_words import flag_words, reason_words
from cellmon.people import Person, Role
from cellmon.records import Flag, Reason, Stream
from dashboards import asking
from dashboards.frame import pulse
from dashboards.kept import kept
from dashboards.pages import (
    files,
    files_doubt_words,
    files_doubts,
    files_drop,
    files_rows,
    files_sheet,
    freeze,
    leafing,
)
from tests.small_cell import HEADER, SHEET, new_cell, rows, write

GOOD = "B1,1,S1,2026-03-02T05:00:00Z,top,x,50.0010"
BAD = "B1,1,S1,2026-03-02T05:00:00Z,top,y,50.O012"
MENDED = "B1,1,S1,2026-03-02T05:00:00Z,top,y,50.0012"


@pytest.fixture
def monitor(tmp_path):
    return kept(new_cell(tmp_path / "cell"))


def dropped(raw: bytes) -> str:
    """Return a file as a browser sends it."""
    return f"data:text/csv;base64,{b64encode(raw).decode()}"


def table(*lines: str, header: str = HEADER) -> bytes:
    return ("\n".join([header, *lines]) + "\n").encode()


def drop(monitor, raw: bytes, name: str = "a.csv") -> files_drop.Handed:
    return files_drop.hand_over(monitor, [dropped(raw)], [name])


def words(what) -> str:
    """Return everything a person reads in a piece of the page."""
    found = json.loads(json.dumps(what, cls=PlotlyJSONEncoder))

    def texts(node):
        if isinstance(node, str):
            yield node
        elif isinstance(node, list):
            for one in node:
                yield from texts(one)
        elif isinstance(node, dict):
            props = node.get("props", {})
            yield from texts(props.get("children", props.get("options", [])))
            if "label" in node:
                yield node["label"]

    return " ".join(texts(found))


def test_a_bad_file_is_dropped_its_row_corrected_and_seen_taken(monitor):
    handed = drop(monitor, table(GOOD, BAD))
    assert words(handed.said[0]) == (
        "a.csv, readings: 2 rows, of which 1 taken, 0 already known, 1 set aside."
    )
    assert "A number was expected" in words(handed.said) and BAD in words(handed.said)
    assert handed.asks == []
    sentence, _, _, _ = files.show(monitor, None)
    assert "1 file came on" in sentence and "1 row set aside waits." in sentence
    lead, listed, no_newer, no_older = files_rows.show(monitor, 0, None)
    assert lead == (
        "1 row waits; what waits counts nowhere. A number was expected, or its comma can be read two ways: 1."
    )
    assert (no_newer, no_older) == (True, True)
    assert "a.csv, line 3" in words(listed) and BAD in words(listed)
    row = str(monitor.aside().rows[0].id)
    facts, form = files_rows.show_row(monitor, row)
    assert "decimal point" in words(facts) and form == {}
    assert files_rows.text_of(monitor, row) == BAD
    assert files_rows.take(monitor, row, MENDED, "", "an O for a 0", "", None) == "Say who says so."
    assert files_rows.take(monitor, row, MENDED, "", " ", "R. Hale", None).startswith("Say why")
    refused = files_rows.take(monitor, row, BAD, "", "an O for a 0", "R. Hale", None)
    assert refused.startswith("Line 3 of a.csv cannot be used so: A number was expected")
    assert files_rows.take(monitor, row, MENDED, "", "an O for a 0", "R. Hale", None) == (
        "Taken as R. Hale wrote it; the row as it was stands beside it."
    )
    assert files_rows.show(monitor, 0, row)[0] == "No row set aside waits."
    facts, form = files_rows.show_row(monitor, row)
    assert form == files_rows.UNSEEN
    assert BAD in words(facts) and MENDED in words(facts) and "R. Hale" in words(facts)
    told = words(files.show(monitor, None)[1])
    assert "a.csv, line 3 corrected" in told and "1 wait" not in told


def test_html_in_a_row_is_text_and_nothing_else(monitor):
    nasty = '<img src=x onerror="alert(1)">,1,S1,noon,top,x,<b>50</b>'
    drop(monitor, table(GOOD, nasty), "<script>alert(1)</script>.csv")
    row = str(monitor.aside().rows[0].id)
    for shown in (
        files_rows.show(monitor, 0, row),
        files_rows.show_row(monitor, row),
        files.show(monitor, None),
    ):
        kinds = json.dumps(shown, cls=PlotlyJSONEncoder)
        assert "dangerously_allow_html" not in kinds and '"type": "Markdown"' not in kinds
    assert "<b>50</b>" in words(files_rows.show_row(monitor, row))


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (b"", "a.csv: is empty. Nothing was taken."),
        (b"%PDF-1.7", "a.csv: is a PDF, not a table. Nothing was taken."),
        (b"\x00\x01\x02" * 50, "Nothing was taken."),
        (b"who,knows\n1,2\n", "no kind of file has this header"),
    ],
)
def test_what_is_no_table_is_refused_in_a_sentence(monitor, raw, said):
    assert said in words(drop(monitor, raw).said)
    assert monitor.files().total == 0


def test_a_workbook_that_unpacks_to_too_much_is_refused(monitor):
    packed = io.BytesIO()
    with (
        zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as book,
        book.open("xl/worksheets/sheet1.xml", "w", force_zip64=True) as sheet,
    ):
        for _ in range(420):
            sheet.write(b" " * 1024 * 1024)
    assert len(packed.getvalue()) < 1_000_000
    assert "unpacks to more than 400 MB" in words(drop(monitor, packed.getvalue(), "bomb.xlsx").said)


def test_a_drop_that_is_too_large_is_refused_before_it_is_read(monitor):
    content = "data:text/csv;base64," + "A" * (60 * 1024 * 1024 * 4 // 3)
    handed = files_drop.hand_over(monitor, [content], ["big.csv"])
    assert words(handed.said) == "That is more than 32 MB at a time, so nothing was taken."
    assert monitor.files().total == 0


@pytest.mark.parametrize("content", ["", "data:", "data:text/csv;base64,%%%", "data:text/csv;base64,QUJ"])
def test_what_did_not_arrive_whole_is_said_so_and_does_not_stop_the_others(monitor, content):
    handed = files_drop.hand_over(monitor, [content, dropped(table(GOOD))], ["torn.csv", "whole.csv"])
    assert "whole.csv, readings: 1 row, of which 1 taken" in words(handed.said)
    assert "torn.csv" in words(handed.said)


def test_a_name_with_folders_is_only_a_name(monitor, tmp_path):
    drop(monitor, table(GOOD), "../../../outside.csv")
    assert monitor.files().files[0].file == "outside.csv"
    assert not list(tmp_path.rglob("outside.csv"))


def test_a_kind_in_doubt_is_asked_in_place_and_taken_as_answered(monitor):
    raw = table(
        "B1,1,2026-03-02T05:00:00Z,scratch,2,Rz,3.1", header="part,bore,at,finding,count,characteristic,value"
    )
    handed = drop(monitor, raw)
    assert handed.asks[0]["choices"] == ["characteristics", "findings"]
    words_, options, _, style = files_drop.question(handed.asks)
    assert words_ == "What does a.csv hold?" and style == {} and len(options) == 2
    given = ([dropped(raw)], ["a.csv"])
    for wrong in (None, "readings"):
        again = files_drop.answer(monitor, wrong, handed.asks, *given)
        assert again.asks == handed.asks and monitor.files().total == 0
    done = files_drop.answer(monitor, "findings", handed.asks, *given)
    assert "1 taken" in words(done.said) and done.asks == []
    assert files_drop.question(done.asks)[-1] == {"display": "none"}


def test_a_unit_in_doubt_is_asked_in_place_and_its_rows_wait_no_longer(monitor):
    raw = table("B1,1,S1,2026-03-02T05:00:00Z,top,x,1.96854")
    handed = drop(monitor, raw)
    assert "all set aside, because the sizes fit another unit: in or um" in words(handed.said)
    assert handed.asks[0]["about"] == "unit"
    done = files_drop.answer(monitor, "in", handed.asks, [dropped(raw)], ["a.csv"])
    assert "1 taken" in words(done.said) and done.asks == []
    assert monitor.aside(waiting=True).rows == ()


@pytest.mark.parametrize("asks", [None, [], [{"place": 7, "name": "a", "about": "unit", "choices": ["in"]}]])
def test_an_answer_to_a_file_that_is_gone_is_a_sentence(monitor, asks):
    handed = files_drop.answer(monitor, "in", asks, [dropped(b"x")] if asks else None, ["a.csv"])
    assert words(handed.said)
    assert monitor.files().total == 0


def test_waiting_rows_are_taken_again_and_what_came_in_is_said(monitor):
    drop(monitor, table(GOOD, BAD))
    assert files_rows.retry(monitor) == "None of the waiting rows can be used yet."


def test_a_row_and_a_doubt_that_do_not_exist_are_a_sentence(monitor):
    assert "no row 99 was set aside" in words(files_rows.show_row(monitor, "99"))
    assert "no flag D-x" in words(files_doubts.show_doubt(monitor, "D-x"))
    assert files_rows.take(monitor, None, "x", "", "y", "z", None) == "Choose a row first."


def doubted(monitor, tmp_path):
    """Take blocks some of which the wrong spindle honed; return the doubts that wait."""
    lines = [r.replace(",S1,", ",S2,") if r[:5] in ("B0003", "B0004") else r for r in rows(6)]
    monitor.take([write(tmp_path, "a.csv", HEADER, lines)])
    return [f for f in monitor.flags().flags if f.state == "open"]


def test_a_doubt_is_shown_with_what_was_read_and_decided_by_name(monitor, tmp_path):
    waiting = doubted(monitor, tmp_path)
    lead, options, listed, *_ = files_doubts.show(monitor, None, 0, None)
    assert lead.startswith(f"{len(waiting)} doubts wait.")
    assert [o["value"] for o in options] == ["all", "routing"]
    assert options[1]["label"] == f"read as a bore of another spindle ({len(waiting)})", "a few words"
    assert "B0003 bore 1, S2" in words(listed)
    one = waiting[0]
    facts, form, accept, alike = files_doubts.show_doubt(monitor, one.id)
    assert form == accept == {} and "count it to spindle S1" in words(facts)
    assert "µm from nominal" in words(facts) and "a.csv, line" in words(facts)
    assert "1 more like it" in alike[0]["label"]
    assert files_doubts.decide(monitor, one.id, [], "", "R. Hale", None, accept=True) == "Say why."
    said = files_doubts.decide(monitor, one.id, [], "typed wrong", "R. Hale", None, accept=True)
    assert said.startswith(f"{one.part} bore 1: accepted, by R. Hale; the row stands")
    assert files_doubts.show_doubt(monitor, one.id)[1] == files_doubts.UNSEEN
    left = [f.id for f in monitor.flags().flags if f.state == "open"]
    assert sorted(left) == sorted(f.id for f in waiting if f.id != one.id)
    assert monitor.check(rebuild=True).sound


def test_a_reading_that_was_left_out_says_so_and_one_never_read_says_that(monitor, tmp_path):
    waiting = doubted(monitor, tmp_path)[0]
    story = monitor.part(waiting.part)
    mine = next(m for m in story.measurements if (m.bore, m.at) == (waiting.bore, waiting.at))
    holed = replace(mine, um=np.where(np.arange(mine.um.size).reshape(mine.um.shape), mine.um, np.nan))
    told = SimpleNamespace(part=lambda serial: SimpleNamespace(measurements=[holed]))
    assert "not read" in words(files_doubt_words.as_read(told, waiting))
    accepted = words(files_doubt_words.as_read(told, replace(waiting, state="accepted")))
    assert "left out" in accepted and "nan" not in accepted


def test_limits_older_than_a_change_lead_to_where_they_are_frozen_anew():
    stream = Stream(part_number="A", spindle="S1", bore="1", feature="diameter")
    one = SimpleNamespace(streams=[stream] * 14, sentence="These limits rest on bores up to Monday.")
    said = files_sheet.old_limits(SimpleNamespace(sentence="Two are old.", old=[one]))
    links = re.findall(r"/stream\?[^']*", str(said))
    assert len(links) == files_sheet.STREAMS_SHOWN and links[0].endswith(f"#{freeze.FOLDED}")
    assert "spindle=S1&bore=1" in links[0] and " and 2 more" in words(said)


def test_doubts_alike_are_decided_together_each_in_the_journal(monitor, tmp_path):
    waiting = doubted(monitor, tmp_path)
    said = files_doubts.decide(
        monitor, waiting[0].id, ["alike"], "S2 honed it", "R. Hale", None, accept=False
    )
    assert said.endswith("So was 1 more like it.")
    assert files_doubts.show(monitor, None, 0, None)[0] == "No measurement is doubted."
    assert {f.state for f in monitor.flags().flags} == {"kept"}
    with monitor._store.reading() as session:
        assert len(session.decisions("correct")) == len(waiting)
    assert monitor.check(rebuild=True).sound


def test_lists_go_on_by_twenty_and_keep_their_order(monitor):
    bad = [BAD.replace("B1", f"B{i}") for i in range(50)]
    drop(monitor, table(GOOD, *bad))
    assert leafing.step(0, older=True) == 20 and leafing.step(15, older=False) == 0
    pages = [files_rows.show(monitor, skip, None) for skip in (0, 20, 40)]
    assert [len(p[1].children) for p in pages] == [20, 20, 10]
    assert [p[3] for p in pages] == [False, False, True]
    assert "a.csv, line 3" in words(pages[0][1]) and "a.csv, line 52" in words(pages[2][1])


def test_a_sheet_that_is_not_in_force_is_told_and_adopted_by_name(monitor, tmp_path):
    assert "The sheet on disk is in force" in words(files_sheet.show(monitor)[0])
    drop(monitor, table(*rows(3)))
    text = SHEET.replace("{url}", "sqlite:///cell.db").replace("upper = 50.010", "upper = 50.012")
    (tmp_path / "cell" / "cell.toml").write_text(text, encoding="utf-8")
    told, seen, form, _ = files_sheet.show(monitor)
    assert "differs in 1 place from version 1" in words(told) and "50.012" in words(told) and form == {}
    assert files_sheet.adopt(monitor, seen, "", "R. Hale", None) == "Say why."
    assert "look again" in files_sheet.adopt(monitor, "other", "drawing B", "R. Hale", None)
    assert files_sheet.adopt(monitor, seen, "drawing B", "R. Hale", None) == (
        "Sheet version 2 is in force, by R. Hale."
    )
    (tmp_path / "cell" / "cell.toml").write_text("[cell", encoding="utf-8")
    told, _, form, _ = files_sheet.show(monitor)
    assert "cannot be used; version 2 stays in force" in words(told) and form == files_sheet.UNSEEN


def test_a_sheet_written_anew_moves_what_open_pages_ask_for_and_what_was_kept(monitor, tmp_path):
    drop(monitor, table(*rows(3)))
    page, path = kept(monitor), tmp_path / "cell" / "cell.toml"
    before, notes = pulse(page)["change"], monitor.check().differs
    assert (pulse(page)["change"], notes) == (before, ())
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("upper = 50.010", "upper = 50.0125"), encoding="utf-8")
    changed = pulse(page)["change"]
    assert changed != before and changed < 2**53, "a browser counts so far"
    assert "50.0125" in str(page.check().differs), "asked without looking at the file by hand"
    path.write_text("[cell", encoding="utf-8")
    assert pulse(page)["change"] not in (before, changed)
    assert "50.0125" in str(page.check().differs), "the last good one stays in its place"
    path.unlink()
    assert page.state().sheet == 1
    path.write_text(text, encoding="utf-8")
    assert pulse(page)["gone"] is None and page.check().differs == ()


def test_every_reason_and_every_flag_is_told_in_plain_words():
    for word in (*Reason, *Flag):
        found = reason_words(word) if word in set(Reason) else flag_words(word)
        assert found.means.endswith(".") and found.helps.endswith("."), word
        assert "-" not in str(word) or str(word) not in found.means
    assert reason_words("of-another-program").means == "of-another-program."


class TabletDoor:
    """Of two people with codes, Ada said hers last."""

    def names(self):
        return ("Ada", "Ben")

    def tapped(self, one):
        return None

    def tap(self, one, name, code, *, lightly):
        if code != "4071" and not (lightly and name == "Ada"):
            raise NotSignedIn(f"This is not the code of {name}.")
        return Person(name=name, role=Role.ANSWER)


@pytest.fixture
def at_a_tablet():
    person = Person(name="Tablet", role=Role.LOOK, shared=True)
    one = asking.Asking(person=person, ticket="t", address="a", door=TabletDoor())
    with asking.as_asked_by(one):
        yield


def test_on_a_shared_tablet_a_drop_waits_for_a_name_and_its_code(monitor, at_a_tablet):
    door, given = asking.asked(monitor), ([dropped(table(GOOD))], ["a.csv"])
    waits = files_drop.hand_over(door, *given, "Ben", "")
    assert "Say the code of Ben." in words(waits.said)
    assert [one["about"] for one in waits.asks] == [files_drop.WHO]
    assert "a.csv" in files_drop.question(waits.asks)[0]
    wrong = files_drop.answer(door, None, waits.asks, *given, "Ben", "1111")
    assert "not the code of Ben" in words(wrong.said)
    assert wrong.asks and not monitor.files().files
    done = files_drop.answer(door, None, wrong.asks, *given, "Ben", "4071")
    assert "1 taken" in words(done.said)
    assert not done.asks and len(monitor.files().files) == 1


def test_on_a_shared_tablet_what_is_asked_of_a_drop_is_answered_without_the_code_again(monitor, at_a_tablet):
    raw = table(GOOD.replace("50.0010", "1.96854"))
    door, given = asking.asked(monitor), ([dropped(raw)], ["a.csv"])
    handed = files_drop.hand_over(door, *given, "Ada", "4071")
    assert [one["about"] for one in handed.asks] == [files_drop.UNIT]
    asking.ask_as(replace(asking.asking(), acting=None))
    assert "not the code" in words(files_drop.answer(door, "in", handed.asks, *given, "Ben", "").said)
    assert "1 taken" in words(files_drop.answer(door, "in", handed.asks, *given, "Ada", "").said)


def test_on_a_shared_tablet_rows_are_taken_again_in_somebodys_name(monitor, at_a_tablet):
    door = asking.asked(monitor)
    assert files_rows.retry(door, None, "") == "Say who says so."
    assert "waiting rows" in files_rows.retry(door, "Ada", "4071")


def test_a_row_that_contradicts_another_is_corrected_from_what_it_says_and_in_its_unit(tmp_path):
    cell = new_cell(tmp_path / "cell")
    first = "B1,1,S1,2026-03-02T05:00:00Z,top,x,50.0010"
    other = first.replace("0010", "0030")
    cell.take([write(tmp_path, "a.csv", HEADER, [first]), write(tmp_path, "b.csv", HEADER, [other])])
    [row] = cell.aside().rows
    shown = str(files_rows.show_row(cell, str(row.id)))
    assert other in shown and "1.0 µm stands" in shown
    assert files_rows.text_of(cell, str(row.id)) == other, "nobody writes it whole"
    inch = "B1,1,S1,2026-03-02T05:07:00Z,top,x,1.96856"
    refused = files_rows.take(cell, str(row.id), inch, "", "time mistyped", "R. Hale", None)
    assert "fits another unit than its own (in or um)" in refused
    taken = files_rows.take(cell, str(row.id), inch, "in", "time mistyped", "R. Hale", None)
    assert taken.startswith("Taken as R. Hale wrote it")
    cell.close()
