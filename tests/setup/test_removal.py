"""Work and wear against the worked example."""

import pytest

from cellmon.errors import WrongUsage
from cellmon.setup.removal import bores_per_set, stone_wear_um, strokes_needed, work_removed_mm3


# worked example, derived: 87.3 x 140 mm, 30 um on diameter, stone face 1680 mm2: 576 mm3 of work; stones
# that wear 15 um a bore have G about 23, those that wear 0.28 um about 1250
@pytest.mark.parametrize(("g", "wear"), [(23.0, 15.0), (1250.0, 0.28)])
def test_work_and_wear_are_those_worked(g, wear):
    work = work_removed_mm3(87.3, 140.0, stock_um=30.0)
    assert work == pytest.approx(576, abs=0.5)
    assert stone_wear_um(work, g_ratio=g, face_mm2=1680.0) == pytest.approx(wear, rel=0.03)


# worked example, derived: 0.275 um a bore, usable depth 2.4 mm: 8727 bores
def test_a_set_lasts_its_usable_depth():
    assert bores_per_set(2400.0, wear_um=0.275) == pytest.approx(8727, abs=0.5)


def test_strokes_are_whole_and_enough():
    assert strokes_needed(30.0, um_per_stroke=10.0) == 3
    assert strokes_needed(30.1, um_per_stroke=10.0) == 4
    with pytest.raises(WrongUsage):
        strokes_needed(30.0, um_per_stroke=0.0)
    with pytest.raises(WrongUsage):
        stone_wear_um(576.0, g_ratio=0.0, face_mm2=1680.0)
