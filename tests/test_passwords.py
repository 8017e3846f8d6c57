"""What is kept of passwords and codes, against published hashes."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cellmon import passwords
from cellmon.errors import WrongUsage
from cellmon.passwords import check_code, check_password, fits, hashed
from cellmon.people import Role, as_name, key_of

# passlib's documentation, "passlib.hash.scrypt": the hashes of "password" printed there as examples
PUBLISHED = (
    "$scrypt$ln=16,r=8,p=1$aM15713r3Xsvxbi31lqr1Q$nFNh2CVHVjNldFVKDHDlm4CbdRSCdEBsjjJxD+iCs5E",
    "$scrypt$ln=8,r=8,p=1$WKs1xljLudd6z9kbY0wpJQ$yCR4iDZYDKv+iEJj6yHY0lv/epnfB6f/w1EbXrsJOuQ",
)


@pytest.mark.parametrize("kept", PUBLISHED)
def test_hashes_of_another_library_are_checked_alike(kept):
    assert fits("password", kept)
    assert not fits("Password", kept)


# OWASP Password Storage Cheat Sheet (repository OWASP/CheatSheetSeries, read 2026-11-27), least for scrypt:
# N = 2^16 with r = 8 and p = 1, or 2^15 and p = 2, "equivalent in the defense they provide"
def test_a_hash_costs_at_least_what_is_recommended_and_says_what_it_cost():
    kept = hashed("one quiet spindle")
    log_n, r, p = map(int, re.match(r"\$scrypt\$ln=(\d+),r=(\d+),p=(\d+)\$", kept).groups())
    assert log_n >= 15 and r >= 8 and p * 2**log_n >= 2 * 2**15
    assert fits("one quiet spindle", kept) and not fits("one quiet spindl", kept)
    assert "one quiet spindle" not in kept


@pytest.fixture
def quick(monkeypatch):
    monkeypatch.setattr(passwords, "LOG_N", 2)
    passwords._nobodys.cache_clear()
    yield
    passwords._nobodys.cache_clear()


def test_the_same_password_is_never_kept_alike(quick):
    assert len({hashed("one quiet spindle") for _ in range(20)}) == 20


def test_nobody_has_no_password(quick):
    assert not fits("", None) and not fits("anything", None)


def test_a_letter_written_in_two_ways_is_one_letter(quick):
    assert fits("stra\u00dfe u\u0308ber alles", hashed("stra\u00dfe \u00fcber alles"))


@pytest.mark.parametrize(
    "kept",
    [
        "",
        "one quiet spindle",
        "$scrypt$",
        "$scrypt$ln=4,r=8,p=1$$",
        "$scrypt$ln=0,r=8,p=1$AAAA$AAAA",
        "$scrypt$ln=30,r=8,p=1$AAAA$AAAA",
        "$scrypt$ln=20,r=999,p=999$AAAA$AAAA",
        "$scrypt$ln=4,r=0,p=1$AAAA$AAAA",
        PUBLISHED[1] + "\n",
        PUBLISHED[1].replace("scrypt", "md5"),
    ],
)
def test_what_is_no_hash_of_ours_fits_nothing(kept):
    assert not fits("password", kept)


@settings(max_examples=60)
@given(st.text(max_size=40), st.text(max_size=40))
def test_only_what_was_hashed_fits(one, other):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(passwords, "LOG_N", 2)
        kept = hashed(one)
    assert fits(one, kept)
    import unicodedata

    same = unicodedata.normalize("NFKC", one) == unicodedata.normalize("NFKC", other)
    assert fits(other, kept) is same


@pytest.mark.parametrize("password", ["", "short", "aaaaaaaaaaaa", "ada decidesx", "x" * 1025])
def test_a_password_that_is_guessed_at_once_is_refused(password):
    with pytest.raises(WrongUsage):
        check_password(password, name="Ada Decides")


@pytest.mark.parametrize(
    "password", ["three warm gauges", "no capitals needed", "ada decides nothing", "0" * 7 + "abc"]
)
def test_a_few_words_will_do(password):
    check_password(password, name="Ada Decides")


@pytest.mark.parametrize(
    "code", ["", "123", "1234", "4321", "0000", "123456789", "12a4", "١٢٣٥", " 4071", "4071\n"]
)
def test_a_code_that_is_tried_first_or_is_no_code_is_refused(code):
    with pytest.raises(WrongUsage):
        check_code(code)


@pytest.mark.parametrize("code", ["4071", "00017", "99998888"])
def test_a_code_is_four_to_eight_digits(code):
    check_code(code)


@pytest.mark.parametrize("name", ["", " ", "a" * 61, "a\x00b", "<b>", 'a"b', "a\u202eb", "a/b"])
def test_what_is_no_name_is_refused(name):
    with pytest.raises(WrongUsage):
        as_name(name)


def test_names_are_told_apart_as_people_do():
    assert as_name(" Zo\u0065\u0308  B. ") == "Zo\u00eb B."
    assert key_of("ZO\u00cb b.") == key_of("Zoe\u0308  B.")
    assert key_of("Ada") != key_of("Ade")


def test_each_role_may_what_those_before_it_may():
    assert [[a.covers(b) for b in Role] for a in Role] == [
        [True, False, False],
        [True, True, False],
        [True, True, True],
    ]
