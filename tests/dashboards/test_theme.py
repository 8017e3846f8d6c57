"""Colours that can be read, words for numbers, and a style sheet that holds no other colours."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import dashboards
from dashboards import theme

ASSETS = Path(dashboards.__file__).parent / "assets"
CSS = (ASSETS / "cellmon.css").read_text(encoding="utf-8")
COLOUR = re.compile(r"#[0-9a-f]{6}\b|rgba\([^)]*\)")
VARIABLE = re.compile(rf"--([a-z-]+): ({COLOUR.pattern});")
OKABE_ITO = {"#000000", "#e69f00", "#56b4e9", "#009e73", "#f0e442", "#0072b2", "#d55e00", "#cc79a7"}


def luminance(colour: str) -> float:
    """Return the relative luminance (WCAG 2.2, definition of 'relative luminance')."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio (WCAG 2.2, definition of 'contrast ratio')."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_contrast_of_black_and_white_is_the_published_21_to_1():
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0, abs=1e-9)


DRESSES = {"light": {colour: colour for colour in theme.NIGHT}, "dark": theme.NIGHT}


# WCAG 2.2, success criterion 1.4.3: text 4.5 to 1; 1.4.11: what carries meaning 3 to 1.
@pytest.mark.parametrize("dress", DRESSES.values(), ids=DRESSES)
@pytest.mark.parametrize("ground", [theme.PAPER, theme.SHADE, theme.ALLOWED])
@pytest.mark.parametrize("text", [theme.INK, theme.SOFT])
def test_words_can_be_read_on_every_ground(text, ground, dress):
    assert contrast(dress[text], dress[ground]) >= 4.5


@pytest.mark.parametrize("dress", DRESSES.values(), ids=DRESSES)
@pytest.mark.parametrize("mark", [theme.ATTENTION, theme.NOTE, theme.INK, theme.LINE])
def test_marks_stand_out_from_the_ground_they_are_drawn_on(mark, dress):
    assert contrast(dress[mark], dress[theme.PAPER]) >= 3.0
    assert mark == theme.LINE or contrast(dress[mark], dress[theme.INSIDE]) >= 3.0


@pytest.mark.parametrize("dress", DRESSES.values(), ids=DRESSES)
def test_attention_is_told_by_two_colours_of_okabe_and_ito(dress):
    assert {dress[theme.ATTENTION], dress[theme.NOTE]} <= OKABE_ITO


def test_every_colour_has_one_partner_at_night_so_a_figure_can_go_there_and_back():
    ours = {v for v in vars(theme).values() if isinstance(v, str) and COLOUR.fullmatch(v)}
    assert ours == set(theme.NIGHT)
    assert len(set(theme.NIGHT.values())) == len(theme.NIGHT)
    assert not set(theme.NIGHT) & set(theme.NIGHT.values())


def test_the_style_sheet_holds_the_same_pairs_as_variables_and_no_other_colour():
    light, dark = (dict(VARIABLE.findall(part)) for part in re.split(r'data-dress="dark"', CSS))
    for name, value in vars(theme).items():
        if isinstance(value, str) and COLOUR.fullmatch(value):
            variable = name.lower().replace("_", "-")
            assert (light[variable], dark[variable]) == (value, theme.NIGHT[value])
    assert set(COLOUR.findall(CSS)) <= {*theme.NIGHT, *theme.NIGHT.values()}
    assert "@import" not in CSS
    assert "url(" not in CSS


def test_the_script_that_dresses_knows_every_variable():
    script = (ASSETS / "dress.js").read_text(encoding="utf-8")
    names = set(re.findall(r'"([a-z-]+)"', script.split("NAMES = [")[1].split("]")[0]))
    assert names == {name for name, _ in VARIABLE.findall(CSS.split("data-dress")[0])}


def test_a_figure_keeps_its_zoom_only_while_the_same_is_asked():
    drawn = theme.figure([], height=300)
    assert theme.asked(drawn, "S1", "two")["layout"]["uirevision"] == "S1 two"
    assert "uirevision" not in drawn["layout"]


@pytest.mark.parametrize(
    ("value", "said"), [(4.25, "+4.2"), (-0.5, "−0.5"), (0.04, "0.0"), (-0.04, "0.0"), (None, "unknown")]
)
def test_a_deviation_is_said_with_its_sign(value, said):
    assert theme.um(value) == said
