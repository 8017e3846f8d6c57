"""Gauge studies against the printed example, by simulation, and by shape."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cellmon.errors import NoSpread, NotEnoughData
from cellmon.gauge.study import (
    against_parts,
    automatic_study,
    crossed_study,
    master_study,
    share_of_tolerance,
)
from tests.gauge.test_components import rows, study_10x3x3, table


def drawn(rng, *, parts, operators, trials, sd):
    """Return a crossed study of known spreads: part, operator, interaction, repeats."""
    p, o, b, e = sd
    return (
        p * rng.standard_normal((parts, 1, 1))
        + o * rng.standard_normal((1, operators, 1))
        + b * rng.standard_normal((parts, operators, 1))
        + e * rng.standard_normal((parts, operators, trials))
    )


# AIAG, Measurement Systems Analysis, 4th ed., chapter III: interaction pooled
def test_the_printed_study_is_met():
    [row] = rows("gauge_studies.json", "gauge_anova")
    found = crossed_study(study_10x3x3())
    assert found.pooled and found.interaction is None
    sds = {"ev": found.repeatability, "av": found.reproducibility, "grr": found.gauge, "pv": found.part}
    whole = math.hypot(found.gauge.sd, found.part.sd)
    for name, spread in sds.items():
        for key, value in (
            (f"var_{name}", spread.sd**2),
            (f"sd_{name}", spread.sd),
            (f"pct_{name}", 100 * spread.sd / whole),
        ):
            assert value == pytest.approx(row["expected"][key], rel=0, abs=row["tol"][key]), key
            assert value == pytest.approx(row["recomputed"][key], rel=1e-6), key
    against = against_parts(found, generator=np.random.default_rng(1))
    assert 100 * against.of_study.value == pytest.approx(27.9, abs=0.051)
    assert against.categories.value == pytest.approx(4.86, abs=0.005)  # note of the row


def test_the_interaction_is_kept_where_it_shows():
    rng = np.random.default_rng(5)
    found = crossed_study(drawn(rng, parts=10, operators=3, trials=3, sd=(3.0, 0.3, 1.5, 0.3)))
    assert not found.pooled and found.interaction is not None
    assert found.interaction.low < 1.5 < found.interaction.high
    both = found.operator.sd**2 + found.interaction.sd**2
    assert found.reproducibility.sd**2 == pytest.approx(both, rel=1e-9)
    assert found.gauge.sd**2 == pytest.approx(both + found.repeatability.sd**2, rel=1e-9)


def test_without_operators_the_gauge_is_what_repeats():
    x = study_10x3x3()[:, 0, :]
    found = automatic_study(x)
    assert found.gauge.sd == pytest.approx(math.sqrt(x.var(axis=1, ddof=1).mean()))
    assert found.gauge == found.repeatability and found.reproducibility is None
    # one-way random model: (mean square between - within) / trials
    between = 3 * x.mean(axis=1).var(ddof=1)
    assert found.part.sd == pytest.approx(math.sqrt((between - found.gauge.sd**2) / 3))


def test_the_share_of_the_parts_is_exact_for_an_automatic_gauge():
    # one-way: the ratio of mean squares is F, so the limits of sigma_part^2 / sigma_gauge^2 are exact
    from scipy.stats import f

    x = study_10x3x3()[:, 0, :]
    found = automatic_study(x)
    ratio = dict(found.table)["part"].ms / dict(found.table)["repeats"].ms
    low, high = ((ratio / f.ppf(p, 9, 20) - 1) / 3 for p in (0.975, 0.025))
    against = against_parts(found, generator=np.random.default_rng(2), draws=200_000)
    assert against.categories.low == pytest.approx(1.41 * math.sqrt(low), rel=0.01)
    assert against.categories.high == pytest.approx(1.41 * math.sqrt(high), rel=0.01)


# e-Handbook 2.4.4.4, pooled level-1 standard deviation: sums of squares of five probes
def test_pooled_lines_add_squares_and_degrees_of_freedom():
    from cellmon.gauge.components import MeanSquare

    [row] = rows("gauge_studies.json", "pooled_sd_from_ss")
    total = MeanSquare(ss=row["inputs"]["ss"][0], df=row["inputs"]["df"][0])
    for ss, df in zip(row["inputs"]["ss"][1:], row["inputs"]["df"][1:], strict=True):
        total = total.pooled(MeanSquare(ss=ss, df=df))
    assert math.sqrt(total.ms) == pytest.approx(row["expected"], rel=0, abs=row["tol"])


# e-Handbook 2.4.4.3: spread of two runs for each of five wafers, and pooled: a study without operators
def test_the_runs_of_the_check_standards_are_an_automatic_study():
    [row] = rows("gauge_studies.json", "level3_by_wafer")
    read = [r for r in table("data/mpc61.csv") if float(r["probe"]) == row["inputs"]["probe"]]
    if not read:  # probes are numbered 1, 281, 283, 2062, 2362
        pytest.fail("the probe is not in the data")
    wafers = sorted({float(r["wafer"]) for r in read})
    means = [
        [
            np.mean([float(r["average"]) for r in read if float(r["wafer"]) == w and r["run"] == run])
            for run in ("1", "2")
        ]
        for w in wafers
    ]
    found = automatic_study(means)
    assert found.repeatability.sd == pytest.approx(row["expected"]["pooled"], rel=0, abs=row["tol"]["pooled"])
    each = [float(np.std(m, ddof=1)) for m in means]
    assert each == pytest.approx(row["expected"]["s3"], rel=0, abs=1.1e-4)


def test_one_master_gives_bias_and_repeatability():
    # e-Handbook 1.3.5.2 (memory of the formula): mean +- t s / sqrt n; t of 0.975 and 9 df is 2.262 in print
    x = np.array([0.1, 0.3, 0.2, 0.4, 0.0, 0.2, 0.3, 0.1, 0.2, 0.2])
    found = master_study(x, master=0.05)
    half = 2.262 * x.std(ddof=1) / math.sqrt(10)
    assert found.bias == pytest.approx(0.15)
    assert (found.bias_low, found.bias_high) == pytest.approx((0.15 - half, 0.15 + half), abs=2e-5)
    assert master_study(x, master=None).bias is None


def test_readings_that_never_differ_are_refused():
    with pytest.raises(NoSpread):
        crossed_study(np.ones((4, 3, 2)))
    with pytest.raises(NoSpread):  # 0.1 three times has a mean that is not quite 0.1
        crossed_study(np.repeat(0.1 * np.arange(1.0, 9.0).reshape(4, 2, 1), 3, axis=2))
    with pytest.raises(NoSpread):
        automatic_study(np.repeat(np.arange(5.0)[:, None], 3, axis=1))
    with pytest.raises(NoSpread):
        master_study([0.1, 0.1, 0.1], master=0.0)
    with pytest.raises(NotEnoughData):
        master_study([0.1], master=0.0)
    with pytest.raises(NotEnoughData):
        automatic_study(np.ones((5, 1)))


def test_a_share_of_the_tolerance_is_six_sigma_or_as_said():
    found = crossed_study(study_10x3x3())
    six = share_of_tolerance(found.gauge, 24.0)
    assert six.value == pytest.approx(6 * found.gauge.sd / 24)
    assert share_of_tolerance(found.gauge, 24.0, sigmas=5.15).value == pytest.approx(six.value * 5.15 / 6)
    with pytest.raises(ValueError):
        share_of_tolerance(found.gauge, 0.0)


@given(st.floats(0.01, 100), st.floats(-50, 50), st.integers(0, 2**32 - 1))
def test_another_unit_scales_every_spread_and_no_ratio(scale, shift, seed):
    x = drawn(np.random.default_rng(seed), parts=5, operators=2, trials=2, sd=(2.0, 0.5, 0.3, 0.4))
    one, other = crossed_study(x), crossed_study(scale * x + shift)
    assert one.pooled == other.pooled
    for name in ("repeatability", "reproducibility", "gauge", "part", "total"):
        mine, theirs = getattr(one, name), getattr(other, name)
        assert (theirs.sd, theirs.low, theirs.high) == pytest.approx(
            (scale * mine.sd, scale * mine.low, scale * mine.high), rel=1e-5, abs=1e-6 * scale
        )


COVERAGE = json.loads((Path(__file__).parent / "coverage.json").read_text())


def covered(rng, *, runs, parts, operators, trials, sd):
    """Return how often each interval of the same study, drawn anew, holds the true figure."""
    p, o, b, e = sd
    gauge = math.sqrt(o**2 + b**2 + e**2)
    true = {
        "repeatability": e,
        "reproducibility": math.hypot(o, b),
        "gauge": gauge,
        "part": p,
        "total": math.hypot(gauge, p),
        "of_study": gauge / math.hypot(gauge, p),
        "categories": 1.41 * p / gauge,
    }
    hits = dict.fromkeys(true, 0)
    for _ in range(runs):
        study = crossed_study(drawn(rng, parts=parts, operators=operators, trials=trials, sd=sd))
        against = against_parts(study, generator=rng, draws=2000)
        for name, value in true.items():
            one = getattr(study, name, None) or getattr(against, name)
            hits[name] += one.low <= value <= one.high
    return {name: n / runs for name, n in hits.items()}


# our own coverage of 95 % intervals: 2,000 studies each, seed 404; the figures stand in docs/gauge.md
@pytest.mark.slow
@pytest.mark.parametrize("row", COVERAGE, ids=lambda row: row["id"])
def test_intervals_cover_as_the_page_says(row):
    found = covered(
        np.random.default_rng(404),
        runs=2000,
        parts=row["parts"],
        operators=row["operators"],
        trials=row["trials"],
        sd=row["sd"],
    )
    page = (Path(__file__).parents[2] / "docs" / "gauge.md").read_text("utf-8")
    for name, share in row["covers"].items():
        error = math.sqrt(share * (1 - share) / 2000)
        assert found[name] == pytest.approx(share, abs=4 * error + 5e-4), name
    assert f"| {' | '.join(f'{100 * v:.1f}' for v in row['covers'].values())} |" in page


# the same in short: no interval of the gauge falls far below its confidence
def test_intervals_cover_in_short():
    found = covered(
        np.random.default_rng(7), runs=200, parts=10, operators=3, trials=3, sd=(3.0, 0.5, 0.3, 0.5)
    )
    assert all(share > 0.88 for share in found.values()), found
