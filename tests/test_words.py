"""Words: one catalogue of all that people see, and a language that a site lays over it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime
from pathlib import Path

import pytest

from cellmon import local, words
from cellmon.errors import NOT_ENOUGH, FileUnreadable, NotEnoughData
from cellmon.export.catalogue import write_words
from cellmon.intake.catalogue import read_catalogue
from cellmon.monitor.language import file_of, speak_as
from tests.make_catalogue import ROOT, SHIPPED, catalogue_text
from tests.outside import NOT_SAID, made_up, not_said, outside

TITLE = "Gauge zero or master is off"
EMPTY, SAID = f'msgid "{TITLE}"\nmsgstr ""', f'msgid "{TITLE}"\nmsgstr "Nullpunkt"'


@pytest.fixture(autouse=True)
def _english_again() -> Iterator[None]:
    yield
    words.speak({})
    local.write_as("en")


def test_the_catalogue_that_ships_is_the_one_of_the_code():
    # python -m tests.make_catalogue remakes it
    assert SHIPPED.read_text(encoding="utf-8") == catalogue_text()


PAPERS = ("*paper.py", "*drawing.py", "*book.py", "calendar.py")
FILES = [
    *(ROOT / "dashboards").rglob("*.py"),
    *(f for p in PAPERS for f in (ROOT / "cellmon/export").glob(p)),
    *(ROOT / "cellmon/cli").glob("*.py"),
]
MODULES = sorted(str(file.relative_to(ROOT)) for file in FILES)


@pytest.mark.parametrize("file", MODULES)
def test_no_literal_stands_outside(file):
    # tests.outside says what it looks for, and what it does not
    source = (ROOT / file).read_text(encoding="utf-8")
    found = [one for one in outside(source, file=file) if not not_said(file, one.text)]
    assert not found, f"{file}: say it through cellmon.words, or list it in tests/outside.py"


@pytest.mark.parametrize("file", MODULES)
def test_a_text_is_a_literal_and_its_values_are_put_in_later(file):
    assert made_up((ROOT / file).read_text(encoding="utf-8")) == []


def test_what_is_listed_as_not_said_is_there():
    for file, texts in NOT_SAID.items():
        source = (ROOT / file).read_text(encoding="utf-8")
        found = [one.text for one in outside(source, file=file)]
        for text in texts:
            assert any(one == text or one.startswith(text.removesuffix("…")) for one in found), (file, text)


@pytest.mark.parametrize(
    ("source", "texts"),
    [
        ('html.H2("What the limits rest on")', ["What the limits rest on"]),
        ('html.P(f"{count} bores left out")', ["{} bores left out"]),
        ('WORDS = {"one": "a day of it"}', ["a day of it"]),
        ('html.P(say("What the limits rest on"), className="told of")', []),
        ('say("{what} it was", what="not this one")', ["not this one"]),
        ('def f():\n    """Return a sentence of words."""', []),
        ('parser.add_argument("--by", help="who decides", metavar="NAME")', []),
        ('raise argparse.ArgumentTypeError(f"{text!r} is not a number")', []),
        ('raise WrongUsage("leave out one")', ["leave out one"]),
        ('text("mean um", spare=True)', ["mean um"]),
    ],
)
def test_literals_with_words_are_found(source, texts):
    assert [one.text for one in outside(source)] == texts


def test_headings_of_the_terminal_are_said_as_its_tables_are_printed():
    source = 'table((text("mean um"), figure("what it is", spare=True)), [["no heading"]])'
    assert [one.text for one in outside(source, file="cellmon/cli/listings.py")] == ["no heading"]


def po(folder: Path, text: str) -> Path:
    path = file_of(folder, "de")
    path.parent.mkdir(exist_ok=True)
    path.write_text(
        'msgid ""\nmsgstr "Content-Type: text/plain; charset=UTF-8\\n"\n\n' + text, encoding="utf-8"
    )
    return path


def test_a_text_is_said_in_the_language_of_the_site_and_else_in_english(tmp_path):
    po(tmp_path, 'msgid "{count} bores of {spindle}"\nmsgstr "{spindle}: {count} Bohrungen"\n')
    speak_as(tmp_path, "de")
    assert words.say("{count} bores of {spindle}", count=3, spindle="S1") == "S1: 3 Bohrungen"
    assert words.say("not in the file") == "not in the file"


def test_one_and_many_have_a_text_each(tmp_path):
    po(
        tmp_path,
        'msgid "{count} signal waits"\nmsgid_plural "{count} signals wait"\n'
        'msgstr[0] "ein Signal wartet"\nmsgstr[1] "{count} Signale warten"\n',
    )
    speak_as(tmp_path, "de")
    said = [words.say_many("{count} signal waits", "{count} signals wait", n) for n in (1, 2)]
    assert said == ["ein Signal wartet", "2 Signale warten"]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('msgid "{count} bores"\nmsgstr "{zahl} Bohrungen"\n', "line 4"),
        ('msgid "{count} bores"\nmsgstr "Bohrungen"\n', "lacks count"),
        ('msgid "{count} bores"\nmsgstr "{count.__class__} Bohrungen"\n', "line 4"),
        ("what is this\n", "PO file"),
    ],
)
def test_a_file_that_would_break_a_sentence_is_refused_with_its_line(tmp_path, text, said):
    with pytest.raises(FileUnreadable, match=said):
        read_catalogue(po(tmp_path, text))


def test_the_file_of_a_language_keeps_what_it_says_when_brought_up_to_date(tmp_path):
    path = tmp_path / "words" / "de.po"
    made = write_words(path, "de")
    assert made.translated == 0
    assert made.texts > 0
    filled = path.read_text(encoding="utf-8").replace(EMPTY, SAID)
    path.write_text(filled, encoding="utf-8")
    again = write_words(path, "de")
    assert (again.texts, again.translated) == (made.texts, 1)
    assert read_catalogue(path) == {TITLE: "Nullpunkt"}


# Unicode CLDR 48, numbers and dates of German and of French, as Babel's own documentation prints them.
def test_numbers_and_dates_are_written_as_the_language_writes_them():
    local.write_as("de")
    assert local.number(12345.678, 1) == "12.345,7"
    assert local.number(-3.25, 1, sign=True) == "−3,2"
    assert local.day(date(2026, 10, 25)) == "So., 25. Okt."
    local.write_as("fr")
    assert local.number(1204.5, 1) == "1\u202f204,5"
    assert local.moment(datetime(2026, 10, 25, 5, 4)) == "dim. 25 oct. 05:04"


KEPT = "points of a trace: need at least 4, got 0"


def test_what_was_kept_in_english_is_said_with_its_values():
    words.speak({NOT_ENOUGH: "mindestens {need} {what}, da sind {got}", "points of a trace": "Punkte"})
    assert words.say_kept(KEPT, NOT_ENOUGH) == "mindestens 4 Punkte, da sind 0"
    assert words.say_kept("something else", NOT_ENOUGH) == "something else"
    words.speak({})
    assert words.say_kept(KEPT, NOT_ENOUGH) == KEPT


def test_what_is_kept_is_english_in_every_language():
    words.speak({NOT_ENOUGH: "zu wenig", "{count} signal waits": "ein Signal"})
    with words.in_english():
        assert str(NotEnoughData("points of a trace", need=4, got=0)) == KEPT
        assert words.say_many("{count} signal waits", "{count} signals wait", 1) == "1 signal waits"
    assert str(NotEnoughData("points of a trace", need=4, got=0)) == "zu wenig"


def test_doubled_braces_are_no_places(tmp_path):
    text = 'msgid "such as {{ {spindle} = 600 }}"\nmsgstr "wie {{ {spindle} = 600 }}"\n'
    found = read_catalogue(po(tmp_path, text))
    words.speak(found)
    assert words.say("such as {{ {spindle} = 600 }}", spindle="S1") == "wie { S1 = 600 }"
