"""Correction to 20 degrees against worked values."""

import json
from pathlib import Path

import numpy as np
import pytest

from cellmon.bores.temperature import correction_um, size_at_20

ROWS = [
    c
    for c in json.loads((Path(__file__).parents[1] / "checks/bore_geometry.json").read_text())["checks"]
    if c["quantity"] == "thermal"
]


# ISO 1 reference temperature; the rows carry their derivation
@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["id"])
def test_size_at_20_and_growth_agree_with_the_rows(row):
    g = row["inputs"]
    found = size_at_20(
        g["d_mm"],
        part_c=g["T_part"],
        part_expansion=g["alpha_part"],
        master_c=g.get("T_standard", 20.0),
        master_expansion=g.get("alpha_standard", 0.0),
    )
    assert float(found) == pytest.approx(row["expected"]["d20"], rel=0, abs=row["tol"]["d20"])
    grown = correction_um(g["d_mm"], g["T_part"], 20.0, part_expansion=g["alpha_part"], master_expansion=0.0)
    assert -float(grown) == pytest.approx(row["expected"]["growth_um"], rel=0, abs=row["tol"]["growth_um"])


# worked by hand from the comparator formula at 87.3 mm: part 26, steel ring 22; grey iron 11, cast Al 21 e-6
@pytest.mark.parametrize(("expansion", "high"), [(11e-6, 3.75), (21e-6, 8.99)])
def test_a_warm_part_reads_high_by_the_worked_value(expansion, high):
    found = correction_um(87.3, 26.0, 22.0, part_expansion=expansion, master_expansion=11.5e-6)
    assert float(found) == pytest.approx(-high, abs=0.006)


def test_the_comparator_formula_is_the_quotient_to_first_order():
    part_c, master_c = 26.0, 22.0
    first = correction_um(87.3, part_c, master_c, part_expansion=21e-6, master_expansion=11.5e-6)
    quotient = size_at_20(
        87.3, part_c=part_c, part_expansion=21e-6, master_c=master_c, master_expansion=11.5e-6
    )
    assert float(first) == pytest.approx((float(quotient) - 87.3) * 1000, abs=0.002)


def test_a_gauge_zeroed_on_warm_parts_is_right_at_those_temperatures():
    kwargs = {
        "part_expansion": 11e-6,
        "master_expansion": 11.5e-6,
        "zeroed_part_c": 26.0,
        "zeroed_master_c": 23.0,
    }
    found = correction_um(87.3, [26.0, 27.0, np.nan, 26.0], [23.0, 23.0, np.nan, np.nan], **kwargs)
    assert found == pytest.approx([0.0, -0.9603, 0.0, 0.0], abs=1e-9)


def test_nominals_and_temperatures_broadcast():
    found = correction_um(
        np.array([80.0, 90.0]), np.array([[20.0], [30.0]]), 20.0, part_expansion=1e-5, master_expansion=0.0
    )
    assert found == pytest.approx(np.array([[0, 0], [-8, -9]]))
