"""What the falling lines and the calendar of stones are drawn from."""

from __future__ import annotations

from datetime import date
from itertools import pairwise

import numpy as np
import pytest
from scipy.stats import invgauss

from cellmon.monitor.stone_picture import StonePicture
from cellmon.monitor.stones.kinds import SetLife
from cellmon.monitor.stones.lines import SetLine
from cellmon.stones.life import Worn, remaining_life
from cellmon.stones.prior import WearPrior
from tests.monitor.test_stones import cell
from tests.small_cell import new_cell, write
from tests.stones.cells import EVENTS, MEASURED, STONE_SHEET, measured_rows

CLOSED = '[planning]\nclosed = ["2026-01-27", "2026-02-02"]'
CHIPPED_AT = np.datetime64("2026-01-07T05:00:00")


@pytest.fixture(scope="module")
def picture(tmp_path_factory) -> StonePicture:
    sheet = STONE_SHEET.replace("[planning]", CLOSED)
    monitor, _ = cell(tmp_path_factory.mktemp("picture") / "cell", seed=1, sheet=sheet)
    return monitor.stone_picture()


def line(picture: StonePicture, name: str) -> SetLine:
    return next(one for one in picture.lines if one.stone_set == name)


def test_every_set_has_a_line_and_only_those_that_go_on_a_fan(picture):
    assert len(picture.lines) == 10
    assert [one.stone_set for one in picture.lines if one.fan is not None] == ["A8", "A9"]
    assert all(one.now_bores is None for one in picture.lines if one.state == "ended")


def test_a_fan_ends_where_the_answer_says_that_nothing_is_left(picture):
    for one in picture.stones.sets[:2]:
        fan, left = line(picture, one.stone_set).fan, one.remaining_bores
        ends = [edge[-1] - one.bores_since_fit for edge in (fan.p05, fan.p50, fan.p95)]
        assert ends == pytest.approx([left.p05, left.p50, left.p95], abs=1.0)
        assert fan.left_um[-1] == pytest.approx(0.0, abs=1e-9)


def test_a_fan_begins_where_the_set_is_and_opens_as_it_falls(picture):
    for name in ("A8", "A9"):
        one = line(picture, name)
        fan = one.fan
        assert fan.left_um[0] == pytest.approx(one.now_left_um, rel=1e-6)
        assert (np.diff(fan.left_um) < 0).all()
        for edge in (fan.p05, fan.p50, fan.p95):
            assert (np.diff(edge) >= 0).all()
        assert (np.diff(fan.p95 - fan.p05) >= 0).all()
        moments = [at for at in fan.p50_at if at is not None]
        assert moments == sorted(moments)


# SciPy's inverse Gaussian distribution, an independent computation: bores to a depth d of a path with drift
# r and noise s a root bore have the mean d / r and the shape d**2 / s**2.
@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
def test_a_level_of_the_fan_is_a_first_passage(share):
    rate, noise, depth = 0.28, 1.5, 1400.0
    prior = WearPrior(
        centre=np.array([np.log(rate)]),
        spread=np.array([1e-5]),
        weight=np.ones(1),
        noise2=np.array([noise**2]),
        noise2_weight=np.ones(1),
        sets=9,
    )
    worn = Worn(depth_um=depth)
    whole = remaining_life(worn, prior)
    life = SetLife(life=whole, depth_um=depth, since_um=0.0, prior=prior, worn=worn, reading_um=0.0)
    found = life.until([share * depth], (0.05, 0.5, 0.95))[0]
    mean, shape = share * depth / rate, (share * depth / noise) ** 2
    exact = invgauss(mu=mean / shape, scale=shape).ppf([0.05, 0.5, 0.95])
    assert found == pytest.approx(exact, rel=1e-5)


def test_a_line_goes_through_its_rounds_and_dressings_lie_on_it(picture):
    one = line(picture, "A0")
    told = picture.stones.sets[[s.stone_set for s in picture.stones.sets].index("A0")]
    assert [r.bores for r in one.rounds] == [r.bores for r in told.rounds]
    assert [r.left_um + one.least_um for r in one.rounds] == pytest.approx(
        [r.thinnest_um for r in told.rounds]
    )
    at = np.interp([r.bores for r in one.rounds], one.bores, one.left_um)
    assert at == pytest.approx([r.left_um for r in one.rounds])
    assert all(r.half_um == pytest.approx(1.645 * 2.0, rel=0.2) for r in one.rounds)


def test_a_chip_falls_at_its_round_and_not_before(tmp_path):
    rng = np.random.default_rng(3)
    at = [np.datetime64("2026-01-05T05:00:00") + np.timedelta64(i, "D") for i in range(3)]
    bores = [0, 800, 1600]
    measured = measured_rows(rng, "C1", at, bores, rate=0.25)
    cut = [row for row in measured if row.startswith(f"{at[2]}Z,C1,3,bottom")]
    fields = cut[0].split(",")
    fields[4] = f"{float(fields[4]) - 0.4:.3f}"
    measured[measured.index(cut[0])] = ",".join(fields)
    events = [f"{at[0]}Z,stones-fitted,S1,C1,0,", f"{at[1]}Z,stones-dressed,S1,C1,,"]
    events += [f"{at[k]}Z,stones-removed,S1,C1,{bores[k]},{'other' if k == 1 else 'chipped'}" for k in (1, 2)]
    events += [f"{at[1] + np.timedelta64(60, 's')}Z,stones-fitted,S1,C1,800,"]
    monitor = new_cell(tmp_path / "cell", sheet=STONE_SHEET)
    monitor.take([write(tmp_path / "cell", "events.csv", EVENTS, events)])
    monitor.take([write(tmp_path / "cell", "measured.csv", MEASURED, measured)])
    (one,) = monitor.stone_picture().lines
    assert one.rounds[-1].jump == "chip"
    assert one.bores[-2:].tolist() == [1600.0, 1600.0]
    before, after = one.left_um[-2:]
    assert before - after == pytest.approx(400.0, abs=15.0)
    assert one.left_um[1] - before == pytest.approx(200.0, abs=15.0)  # plain wear up to then
    assert [(d.bores, round(d.left_um)) for d in one.dressings] == [(800.0, round(float(one.left_um[1])))]


def test_the_shifts_to_come_say_what_is_closed(picture):
    assert {s.date for s in picture.shifts if s.closed} == {date(2026, 1, 27), date(2026, 2, 2)}
    assert not any(s.worked for s in picture.shifts if s.closed)
    assert picture.shifts[0].starts <= picture.as_of < picture.shifts[0].ends
    assert picture.shifts[-1].starts <= picture.stones.plan.until <= picture.shifts[-1].ends
    assert all(a.ends == b.starts for a, b in pairwise(picture.shifts))


def test_a_cell_without_stones_is_drawn_as_such(tmp_path):
    empty = new_cell(tmp_path / "cell").stone_picture()
    assert empty.lines == ()
    assert empty.stones.sets == ()
