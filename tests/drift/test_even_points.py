"""Fixed points spread evenly, against scipy's."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import qmc

from cellmon.drift.even_points import even_points


# scipy.stats.qmc.Sobol (its own table of Joe and Kuo's direction numbers), an independent implementation.
@pytest.mark.parametrize("columns", [1, 2, 7, 50, 70, 80])
@pytest.mark.parametrize("bits", [1, 5, 9, 12])
def test_points_are_those_of_scipy_to_the_last_bit(bits, columns):
    wanted = qmc.Sobol(columns, scramble=False).random_base2(bits)
    assert np.array_equal(even_points(bits, columns), wanted)


def test_every_column_has_one_point_in_each_equal_part():
    points = np.sort(even_points(9, 70), axis=0)
    assert np.array_equal(points, np.repeat(np.arange(512)[:, None] / 512, 70, axis=1))


@pytest.mark.parametrize(("bits", "columns"), [(0, 2), (31, 2), (9, 0), (9, 81)])
def test_what_the_table_does_not_hold_is_refused(bits, columns):
    with pytest.raises(ValueError, match="1 to 80 columns"):
        even_points(bits, columns)
