"""Distribution-time models recognised from processes that were made by them."""

import numpy as np
import pytest

from cellmon.capability.models import Estimator, Movement, TimeModel, recognise
from cellmon.errors import NotEnoughData

K, N = 60, 5
LABELS = np.repeat(np.arange(K), N)
WEAR = (4 * (np.arange(K) % 20) / 20)[:, None]  # four standard deviations between dressings
UNSTEADY = (1 + 1.5 * (np.arange(K) % 30 > 15))[:, None]

MADE = {
    TimeModel.A1: lambda rng: rng.normal(size=(K, N)),
    TimeModel.A2: lambda rng: rng.gamma(2, size=(K, N)),
    TimeModel.B: lambda rng: UNSTEADY * rng.normal(size=(K, N)),
    TimeModel.C1: lambda rng: rng.normal(size=(K, 1)) + rng.normal(size=(K, N)),
    TimeModel.C2: lambda rng: 2 * rng.gamma(1, size=(K, 1)) + rng.normal(size=(K, N)),
    TimeModel.C3: lambda rng: WEAR + rng.normal(size=(K, N)),
    TimeModel.C4: lambda rng: WEAR + 0.9 * rng.normal(size=(K, 1)) + rng.normal(size=(K, N)),
    TimeModel.D: lambda rng: WEAR + UNSTEADY * rng.normal(size=(K, N)),
}


@pytest.mark.parametrize("model", TimeModel)
def test_a_process_is_recognised_by_what_it_does(model):
    rng = np.random.default_rng(12)
    found = [recognise(MADE[model](rng).ravel(), LABELS).model for _ in range(60)]
    assert np.mean([one == model for one in found]) >= 0.8


def test_what_follows_from_the_model():
    rng = np.random.default_rng(5)
    constant = recognise(MADE[TimeModel.A1](rng).ravel(), LABELS)
    assert (constant.movement, constant.estimator) == (Movement.CONSTANT, Estimator.MOMENTS)
    assert constant.between_share == 0
    worn = recognise(MADE[TimeModel.C3](rng).ravel(), LABELS)
    assert (worn.movement, worn.estimator) == (Movement.MODELLED, Estimator.QUANTILES)
    assert worn.between_share == pytest.approx(16 / 12 / (1 + 16 / 12), abs=0.1)  # uniform over 4 sd
    assert worn.sentence.startswith("C3: location moves with time")
    assert recognise(MADE[TimeModel.D](rng).ravel(), LABELS).movement is Movement.NOT_PREDICTABLE


def test_unit_and_origin_do_not_matter():
    x = MADE[TimeModel.C4](np.random.default_rng(8)).ravel()
    plain, moved = recognise(x, LABELS), recognise(300 + 7 * x, LABELS)
    assert moved.model == plain.model
    assert moved.location_p == pytest.approx(plain.location_p, rel=1e-6)


def test_bores_in_any_row_order_keep_their_subgroups():
    x = MADE[TimeModel.C3](np.random.default_rng(8)).ravel()
    order = np.random.default_rng(1).permutation(x.size)
    assert recognise(x[order], LABELS[order]).between_share == pytest.approx(
        recognise(x, LABELS).between_share
    )


def test_few_subgroups_are_refused():
    with pytest.raises(NotEnoughData, match="20"):
        recognise(np.random.default_rng(1).normal(size=95), np.repeat(np.arange(19), 5))
    with pytest.raises(ValueError, match="every bore"):
        recognise([1.0, 2.0], [1])
