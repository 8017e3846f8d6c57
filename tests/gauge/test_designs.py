"""Studies told by their shape; what an unbalanced one cannot use is named."""

import numpy as np
import pytest

from cellmon.errors import NotEnoughData
from cellmon.gauge.designs import Design, laid_out


def crossed(parts=4, operators=("P", "Q"), trials=3):
    rows = [(f"b{p}", o, t + 1) for p in range(parts) for o in operators for t in range(trials)]
    part, operator, trial = (list(column) for column in zip(*rows, strict=True))
    return np.arange(len(rows), dtype=float), part, operator, trial


def lay(values, part, operator, trial, **more):
    return laid_out(values, part=part, operator=operator, trial=trial, **more)


def test_operators_make_it_crossed():
    found = lay(*crossed())
    assert found.design is Design.CROSSED
    assert found.values.shape == (4, 2, 3)
    assert found.values.ravel().tolist() == list(range(24))
    assert (found.left_out, found.notes) == ((), ())


def test_no_operators_make_it_automatic():
    values, part, _, trial = crossed(operators=("P",))
    found = lay(values, part, [None] * len(part), trial)
    assert found.design is Design.AUTOMATIC
    assert found.operators == ()
    assert found.notes == ()


def test_one_operator_is_used_and_said():
    found = lay(*crossed(operators=("P",)))
    assert found.design is Design.AUTOMATIC
    assert found.operators == ("P",)
    assert "one operator, P" in found.notes[0]


def test_a_single_part_is_a_master_repeated():
    found = lay([1.0, 3.0, 2.0], ["ring"] * 3, [None] * 3, [1, 3, 2], master=True)
    assert found.design is Design.MASTER
    assert found.values.ravel().tolist() == [1.0, 2.0, 3.0]


def test_the_order_of_rows_does_not_matter():
    values, part, operator, trial = crossed()
    mixed = np.random.default_rng(1).permutation(len(values))
    found = lay(values[mixed], *([list_[i] for i in mixed] for list_ in (part, operator, trial)))
    plain = lay(values, part, operator, trial)
    order = [plain.parts.index(p) for p in found.parts]
    people = [plain.operators.index(o) for o in found.operators]
    assert (found.values == plain.values[np.ix_(order, people, range(3))]).all()


def test_a_missing_trial_leaves_its_part_out_and_says_so():
    values, part, operator, trial = crossed(parts=6)
    keep = [i for i in range(len(values)) if not (part[i] == "b2" and operator[i] == "Q" and trial[i] == 3)]
    found = lay(values[keep], *([list_[i] for i in keep] for list_ in (part, operator, trial)))
    assert found.values.shape == (5, 2, 3)
    assert "b2" not in found.parts
    assert found.left_out == ("part b2: 2 of 3 trials by Q",)


def test_trials_are_dropped_where_that_keeps_more():
    values, part, operator, trial = crossed(parts=4)
    keep = [i for i in range(len(values)) if not (operator[i] == "Q" and trial[i] == 3 and part[i] != "b0")]
    found = lay(values[keep], *([list_[i] for i in keep] for list_ in (part, operator, trial)))
    assert found.values.shape == (4, 2, 2)
    assert found.left_out == ("5 readings beyond 2 trials of each part, the last of their cells",)


def test_an_operator_who_measured_little_is_left_out():
    values, part, operator, trial = crossed(parts=6, operators=("P", "Q", "R"))
    keep = [i for i in range(len(values)) if operator[i] != "R" or part[i] == "b0"]
    found = lay(values[keep], *([list_[i] for i in keep] for list_ in (part, operator, trial)))
    assert found.operators == ("P", "Q")
    assert found.left_out == ("operator R: 1 of 6 parts measured 3 times",)


def test_readings_that_are_no_number_are_counted():
    values, part, operator, trial = crossed()
    values[5] = np.nan
    found = lay(values, part, operator, trial)
    assert found.left_out[0] == "1 readings that are no number"
    assert np.isfinite(found.values).all()


def test_every_reading_is_used_or_counted():
    rng = np.random.default_rng(2)
    values, part, operator, trial = crossed(parts=8, operators=("P", "Q", "R"))
    for _ in range(50):
        keep = np.flatnonzero(rng.uniform(size=len(values)) < 0.85)
        found = lay(values[keep], *([list_[i] for i in keep] for list_ in (part, operator, trial)))
        assert np.isin(found.values, values[keep]).all()
        assert len(np.unique(found.values)) == found.values.size
        assert (found.values.size < len(keep)) == bool(found.left_out)


def test_nothing_measured_twice_is_refused():
    with pytest.raises(NotEnoughData):
        lay([1.0, 2.0], ["a", "b"], ["P", "P"], [1, 1])
    with pytest.raises(NotEnoughData):
        lay([1.0], ["a"], ["P"], [1])


def test_unnamed_operators_count_as_one_more():
    values, part, operator, trial = crossed()
    found = lay(values, part, [None if o == "Q" else o for o in operator], trial)
    assert found.design is Design.CROSSED
    assert found.operators == ("P", "not named")
    assert "one operator more" in found.notes[0]
