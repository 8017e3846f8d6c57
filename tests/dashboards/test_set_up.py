"""The set-up sheet on page Bore: what was typed and what the sheet says, cautions before figures."""

from __future__ import annotations

import pytest

from cellmon.errors import WrongUsage
from cellmon.monitor.setup import SetupRequest
from dashboards.pages import set_up
from tests.monitor.hand_cell import hand_cell


@pytest.fixture(scope="module")
def cell(tmp_path_factory):
    return hand_cell(tmp_path_factory.mktemp("set-up"))


def test_figures_are_read_with_point_or_comma_and_what_is_left_open_is_not_asked():
    given = {**dict.fromkeys(set_up.GIVEN), "strokes_per_min": " 60,5 ", "overrun_bottom_mm": "0"}
    asked = set_up.request_of(given, None)
    assert asked == SetupRequest(strokes_per_min=60.5, overrun_bottom_mm=0.0)
    for name, text in (("stone_mm", "0"), ("angle_deg", "wide"), ("rated_rpm", "-300"), ("stock_um", "inf")):
        with pytest.raises(WrongUsage, match="is not a figure to work with"):
            set_up.request_of({name: text}, None)


def test_cautions_come_first_then_what_the_library_answers(cell):
    given = {"stone_mm": "70", "length_mm": "140", "strokes_per_min": "60", "angle_deg": "45"}
    shown = [str(one) for one in set_up.show(cell, given, None)]
    answer = cell.setup(set_up.request_of(given, None))
    places = [
        next(i for i, one in enumerate(shown) if words in one)
        for words in (
            answer.cautions[0],
            answer.cautions[-1],
            answer.sentence,
            answer.speeds[0].name,
            answer.steps[0],
        )
    ]
    assert places == sorted(places) and places[0] == 0
    assert f"Bore {cell.sheet.parts[0].diameter.nominal:g} mm" in answer.sentence, "the sheet's own diameter"
    assert "Stroke 1" in " ".join(shown)


def test_what_cannot_be_worked_out_is_said_in_a_sentence(cell):
    (said,) = set_up.show(cell, {"angle_deg": "wide"}, None)
    assert "Crosshatch wanted" in said.children
