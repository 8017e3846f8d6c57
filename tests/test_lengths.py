"""Lengths as people want them said."""

from __future__ import annotations

import threading

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cellmon import lengths, local
from cellmon.lengths import Shown
from cellmon.words import in_english

# International yard and pound (1959), as NIST SP 811 (2008), appendix B.8 prints it: inch to metre 2.54 E-02,
# in bold, which means exactly; microinch to micrometre 2.54 E-02. So 0.0001 in is 2.54 µm.
INCH_MM, MICROINCH_UM = 25.4, 2.54e-2


def test_the_inch_is_that_of_the_standard():
    assert lengths.MM_PER_IN == INCH_MM and pytest.approx(100 * MICROINCH_UM) == lengths.UM_PER_TENTH


# 3.2 / 2.54 = 1.2598, 12 / 2.54 = 4.7244, 87.312 / 25.4 = 3.437480: by hand.
@pytest.mark.parametrize(
    ("how", "deviation", "size"),
    [
        (Shown.MM, "+3.2 µm", "87.312 mm"),
        (Shown.INCH, "+1.26 × 0.0001 in", "3.43748 in"),
        (Shown.BOTH, "+3.2 µm (+1.26 × 0.0001 in)", "87.312 mm (3.43748 in)"),
    ],
)
def test_a_length_is_said_as_it_is_wanted(how, deviation, size):
    with lengths.shown_in(how):
        assert (lengths.said(3.2, sign=True), lengths.size_said(87.312)) == (deviation, size)


def test_a_limit_keeps_the_digits_that_count():
    assert (lengths.bare(4.0, None), lengths.bare(0.1, None)) == ("4", "0.1")
    with lengths.shown_in(Shown.INCH):
        assert (lengths.bare(12.0, None), lengths.size(15.0, None)) == ("4.724", "0.5906")


def number_of(text: str) -> float:
    return float(text.replace(local.MINUS, "-").replace(",", ""))


@given(st.floats(-5000, 5000), st.integers(0, 3))
def test_inches_lose_nothing_that_micrometres_say(um, digits):
    with lengths.shown_in(Shown.INCH):
        back = number_of(lengths.bare(um, digits)) * 100 * MICROINCH_UM
    assert back == pytest.approx(um, rel=0, abs=0.5 * 10**-digits)


@given(st.floats(0.001, 2000), st.integers(1, 5))
def test_nor_do_sizes(mm, digits):
    with lengths.shown_in(Shown.INCH):
        back = number_of(lengths.size(mm, digits)) * INCH_MM
    assert back == pytest.approx(mm, rel=0, abs=0.5 * 10**-digits)


def test_what_is_no_length_stays_as_it_is():
    with lengths.shown_in(Shown.INCH):
        assert (lengths.of(25.4, "s"), lengths.unit_of("s"), lengths.unit_of("%", spoken=True)) == (
            "25.4",
            "s",
            "%",
        )


def test_what_is_kept_is_kept_in_micrometres():
    with lengths.shown_in(Shown.INCH), in_english():
        assert lengths.said(3.2) == "3.2 µm"


def test_a_choice_holds_for_its_own_thread():
    """Two browsers are answered side by side, each in its own unit."""
    heard, both = {}, threading.Barrier(2)

    def answer(how: Shown) -> None:
        lengths.show_in(how)
        both.wait()
        heard[how] = lengths.unit()

    threads = [threading.Thread(target=answer, args=(how,)) for how in (Shown.MM, Shown.INCH)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert heard == {Shown.MM: "µm", Shown.INCH: "0.0001 in"} and lengths.unit() == "µm"
