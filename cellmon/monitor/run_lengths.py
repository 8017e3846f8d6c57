"""How long a chart runs until it calls, when nothing moves and after a shift, and limits for a length.

Needs no cell: it is asked about charts, not about bores.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial

from cellmon import __version__
from cellmon.charts.run_length.cusum import (
    cusum_limit,
    cusum_run_length,
    two_sided_cusum_limit,
    two_sided_cusum_run_length,
)
from cellmon.charts.run_length.distribution import RunLength, RunsTooLong, first_of, steady_state
from cellmon.charts.run_length.ewma import ewma_limit, ewma_run_length
from cellmon.charts.run_length.multivariate import mewma_limit, mewma_run_length, t2_limit, t2_run_length
from cellmon.charts.run_length.rules import rules_run_length
from cellmon.charts.run_length.shewhart import (
    individuals_run_length,
    mean_limit,
    mean_run_length,
    range_limit,
    range_run_length,
    sd_limit,
    sd_run_length,
)
from cellmon.charts.run_length.variance import (
    reference_for_ratio,
    variance_cusum_limit,
    variance_cusum_run_length,
)
from cellmon.errors import WrongUsage
from cellmon.monitor.rule_sets import BY_NAME
from cellmon.words import say, to_say

WANTED = 370.4
"""Points until a false alarm of means at three sigma."""
SHIFTS = (0.0, 0.5, 1.0, 1.5, 2.0, 3.0)
RATIOS = (1.0, 1.2, 1.5, 2.0)
MOST = 1e9
NO_STEADY = to_say("the chart runs too long for its steady state to be told")
NOT_STEADY = to_say("the steady state of several features is not computed here")
STEADY_MOST = 1e7
"""Longer runs have a steady state whose slowest decay is lost in rounding."""


@dataclass(frozen=True, kw_only=True)
class ChartAsked:
    """A chart and what is asked of it; lengths in standard deviations of a point.

    `arl` is the run length wanted when nothing moves, for which the limit is solved; else `limit` holds.
    """

    chart: str
    arl: float | None = None
    limit: float | None = None
    shifts: tuple[float, ...] = ()
    """Shifts of a mean, distances of several features, ratios of a spread."""
    size: int = 5
    """Bores in a subgroup."""
    weight: float = 0.1
    """Of the newest point."""
    reference: float = 0.5
    """Of a cumulative sum; of one of the variance, the ratio it is tuned for."""
    one_sided: bool = False
    head_start: float = 0.0
    """As a share of the limit."""
    features: int = 4
    rules: str = "zones-1956"
    charts: int = 1
    """So many independent ones side by side."""


@dataclass(frozen=True, kw_only=True)
class RunLengthAt:
    """Points from a change to the call, the calling one counted."""

    shift: float
    mean: float | None
    """From the start of the chart, on average."""
    p05: int | None
    p50: int | None
    p95: int | None
    steady: float | None
    """On average where the chart had long been running."""
    first_of_all: float | None
    """On average until the first of all charts calls; None where there is but one."""
    why_not: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class RunLengths:
    """What a chart does; `limit` is None where a rule set has none to choose."""

    cellmon: str
    chart: str
    limit: float | None
    unit: str
    """Of the limit."""
    of: str
    """What a shift is here."""
    under: str
    """What the figures hold under."""
    run_lengths: tuple[RunLengthAt, ...]


@dataclass(frozen=True, kw_only=True)
class _Chart:
    """How one kind of chart answers."""

    run: Callable[[ChartAsked, float, float], RunLength]
    """The chart asked for, its limit, a shift."""
    solve: Callable[[ChartAsked, float], float] | None
    usual: float | None
    """Limit without a wish; None: the one for `WANTED`."""
    unit: str
    of: str = to_say("shift of the mean, standard deviations of a point")
    lasting: bool = True
    """Whether the steady state is told."""


def _cusum(asked: ChartAsked, h: float, shift: float) -> RunLength:
    run = cusum_run_length if asked.one_sided else two_sided_cusum_run_length
    return run(asked.reference, h, shift=shift, head_start=asked.head_start * h)


def _cusum_limit(asked: ChartAsked, arl: float) -> float:
    solve = cusum_limit if asked.one_sided else two_sided_cusum_limit
    return solve(asked.reference, arl, head_start_share=asked.head_start)


def _tuned(asked: ChartAsked) -> float:
    return reference_for_ratio(asked.reference**2)


SPREAD = to_say("true spread over the usual one")
OF_MEANS = to_say("distance of the means, standard deviations of a point")
CHARTS: Mapping[str, _Chart] = {
    "mean": _Chart(
        run=lambda _, limit, shift: mean_run_length(limit, shift=shift),
        solve=lambda _, arl: mean_limit(arl),
        usual=3.0,
        unit=to_say("standard deviations of a point, either side"),
    ),
    "individuals": _Chart(
        run=lambda _, limit, shift: individuals_run_length(limit, moving_range=MOVING_RANGE, shift=shift),
        solve=None,
        usual=3.0,
        unit=to_say("standard deviations of a bore, either side; the moving range of two at 3.686 beside it"),
    ),
    "range": _Chart(
        run=lambda a, limit, ratio: range_run_length(a.size, ratio=ratio, limits=(0.0, limit)),
        solve=lambda a, arl: range_limit(a.size, arl),
        usual=None,
        unit=to_say("standard deviations of a bore, upper limit alone"),
        of=SPREAD,
    ),
    "sd": _Chart(
        run=lambda a, limit, ratio: sd_run_length(a.size, ratio=ratio, limits=(0.0, limit)),
        solve=lambda a, arl: sd_limit(a.size, arl),
        usual=None,
        unit=to_say("standard deviations of a bore, upper limit alone"),
        of=SPREAD,
    ),
    "ewma": _Chart(
        run=lambda a, limit, shift: ewma_run_length(a.weight, limit, shift=shift),
        solve=lambda a, arl: ewma_limit(a.weight, arl),
        usual=None,
        unit=to_say("standard deviations of the steady moving average, either side"),
    ),
    "cusum": _Chart(
        run=_cusum, solve=_cusum_limit, usual=None, unit=to_say("standard deviations of a point")
    ),
    "spread-cusum": _Chart(
        run=lambda a, limit, ratio: variance_cusum_run_length(_tuned(a), limit, a.size - 1.0, ratio=ratio**2),
        solve=lambda a, arl: variance_cusum_limit(_tuned(a), a.size - 1.0, arl),
        usual=None,
        unit=to_say("variances of a bore"),
        of=SPREAD,
    ),
    "t-squared": _Chart(
        run=lambda a, limit, distance: t2_run_length(a.features, limit, distance=distance),
        solve=lambda a, arl: t2_limit(a.features, arl),
        usual=None,
        unit=to_say("of T-squared"),
        of=OF_MEANS,
    ),
    "mewma": _Chart(
        run=lambda a, limit, distance: mewma_run_length(a.features, a.weight, limit, distance=distance),
        solve=lambda a, arl: mewma_limit(a.features, a.weight, arl),
        usual=None,
        unit=to_say("of the moving average's T-squared"),
        of=OF_MEANS,
        lasting=False,
    ),
    "rules": _Chart(
        run=lambda a, _, shift: rules_run_length(BY_NAME[a.rules].tests, shift=shift),
        solve=None,
        usual=None,
        unit="",
    ),
}
"""The charts that can be asked about, by name."""
MOVING_RANGE = 3.686


def run_lengths(asked: ChartAsked) -> RunLengths:
    """Answer how long a chart runs, at its start and in steady state, and the limit for a wanted length.

    Raises
    ------
    WrongUsage
        For a chart, a rule set or a figure that cannot be, in words.
    """
    chart = _known(asked)
    try:
        limit = _limit(asked, chart)
        at_rest = 1.0 if chart.of == SPREAD else 0.0
        shifts = asked.shifts or (RATIOS if chart.of == SPREAD else SHIFTS)
        before = chart.run(asked, limit or 0.0, at_rest)
        found = tuple(_at(asked, chart.run(asked, limit or 0.0, x), before, x) for x in shifts)
    except ValueError as wrong:
        raise WrongUsage(f"{asked.chart}: {wrong}") from wrong
    return RunLengths(
        cellmon=__version__,
        chart=asked.chart,
        limit=limit,
        unit=say(chart.unit) if chart.unit else "",
        of=say(chart.of),
        under=say("points independent and normal, their mean and spread known"),
        run_lengths=found,
    )


def _known(asked: ChartAsked) -> _Chart:
    chart = CHARTS.get(asked.chart)
    if chart is None:
        known = ", ".join(CHARTS)
        raise WrongUsage(say("no chart {chart}; one of {known}", chart=repr(asked.chart), known=known))
    if asked.rules not in BY_NAME:
        known = ", ".join(BY_NAME)
        raise WrongUsage(say("no rule set {rules}; one of {known}", rules=repr(asked.rules), known=known))
    _limit_refused(asked, chart)
    if chart.of == SPREAD and asked.size < 2:
        raise WrongUsage(say("a spread needs subgroups of two bores or more"))
    if asked.charts < 1:
        raise WrongUsage(say("at least one chart"))
    if chart.of == SPREAD and asked.chart == "spread-cusum" and not asked.reference > 1:
        raise WrongUsage(say("--reference above 1: the ratio of spreads that the sum is tuned for"))
    return chart


def _limit_refused(asked: ChartAsked, chart: _Chart) -> None:
    """Refuse a wanted run length beside a limit, where none is solved for, or beyond reach."""
    if asked.arl is None:
        return
    if asked.limit is not None:
        raise WrongUsage(say("either --limit or --arl"))
    if chart.solve is None:
        raise WrongUsage(say("{chart} has no limit to solve", chart=asked.chart))
    if not 1 < asked.arl <= MOST:
        raise WrongUsage(
            say(
                "a wanted run length above 1 and up to {most}, not {arl}",
                most=f"{MOST:.0e}",
                arl=f"{asked.arl:g}",
            )
        )


def _limit(asked: ChartAsked, chart: _Chart) -> float | None:
    if asked.limit is not None:
        return asked.limit
    if chart.solve is None:
        return chart.usual
    if asked.arl is None and chart.usual is not None:
        return chart.usual
    return chart.solve(asked, WANTED if asked.arl is None else asked.arl)


def _at(asked: ChartAsked, run: RunLength, before: RunLength, shift: float) -> RunLengthAt:
    """Return one shift's run lengths; those that double precision cannot tell are None."""
    why_not: dict[str, str] = {}

    def told(name: str, ask: Callable[[], float]) -> float | None:
        try:
            return ask()
        except (RunsTooLong, ValueError) as wrong:
            why_not[name] = str(wrong)
            return None

    mean = told("mean", lambda: run.mean)
    points = [
        told(name, partial(run.quantile, q)) for name, q in (("p05", 0.05), ("p50", 0.5), ("p95", 0.95))
    ]
    lasts = CHARTS[asked.chart].lasting
    known = mean is not None and lasts and before.mean < STEADY_MOST
    steady = told("steady", lambda: steady_state(before, run).mean) if known else None
    if not known and mean is not None:
        why_not["steady"] = say(NO_STEADY if lasts else NOT_STEADY)
    several = told("first_of_all", lambda: first_of(run, asked.charts)) if asked.charts > 1 else None
    p05, p50, p95 = (None if p is None else int(p) for p in points)
    return RunLengthAt(
        shift=shift,
        mean=mean,
        p05=p05,
        p50=p50,
        p95=p95,
        steady=steady,
        first_of_all=several,
        why_not=why_not,
    )
