"""How long a chart runs until it calls, when nothing moves and after a shift, and limits for a length.

Needs no cell: it is asked about charts, not about bores.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial

from cellmon import __version__
from cellmon.charts.run_length.distribution import (
    RunLength,
    RunsTooLong,
    after_change,
    first_of,
    steady_state,
)
from cellmon.charts.run_length.estimated import (
    baseline_of,
    estimated_run,
    guarded_width,
    run_length_quantile,
    widened,
)
from cellmon.charts.run_length.shewhart import mean_run_length
from cellmon.errors import WrongUsage
from cellmon.monitor.rule_sets import BY_NAME
from cellmon.monitor.run_length_charts import CHARTS, SPREAD, Chart, ChartAsked
from cellmon.words import say, to_say

WANTED = 370.4
"""Points until a false alarm of means at three sigma."""
MOST_SKEWED, MOST_QUIET = 4.0, 100_000
SHIFTS = (0.0, 0.5, 1.0, 1.5, 2.0, 3.0)
RATIOS = (1.0, 1.2, 1.5, 2.0)
MOST = 1e9
NO_STEADY = to_say("the chart runs too long for its steady state to be told")
NOT_STEADY = to_say("a change that comes later is not computed here for several features, or skewed points")
UNDER = to_say("points independent and normal, their mean and spread known")
UNDER_SKEW = to_say("points independent, of a gamma law of skewness {skew}, their mean and spread known")
STEADY_MOST = 1e7
"""Longer runs have a steady state whose slowest decay is lost in rounding."""


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
    after_quiet: float | None
    """On average where the change came after the quiet points asked for; None where none were."""
    first_of_all: float | None
    """On average until the first of all charts calls; None where there is but one."""
    why_not: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class EstimatedLimits:
    """What means do whose limits were estimated: each cell gets its own run length, few the promised one."""

    subgroups: int
    size: int
    one_in: float
    """One false call in so many points, over all cells."""
    p05: float
    p95: float
    """Nine cells in ten run between these on average."""
    width_as_promised: float
    """With which all cells together call as seldom as with limits known."""
    width_for_nine_in_ten: float
    """With which nine cells in ten run as long as with limits known, or longer."""


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
    estimated: EstimatedLimits | None = None


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
        estimated = _estimated(asked, limit or 0.0)
    except ValueError as wrong:
        raise WrongUsage(f"{asked.chart}: {wrong}") from wrong
    return RunLengths(
        cellmon=__version__,
        chart=asked.chart,
        limit=limit,
        unit=say(chart.unit) if chart.unit else "",
        of=say(chart.of),
        under=say(UNDER_SKEW if asked.skew else UNDER, skew=f"{asked.skew:g}"),
        run_lengths=found,
        estimated=estimated,
    )


def _known(asked: ChartAsked) -> Chart:
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
    if asked.skew and (asked.chart != "ewma" or not 0 < asked.skew <= MOST_SKEWED or asked.arl is not None):
        raise WrongUsage(
            say("--skew is of an ewma with a --limit, above 0 and up to {most}", most=f"{MOST_SKEWED:g}")
        )
    if asked.subgroups is not None and asked.chart != "mean":
        raise WrongUsage(say("--subgroups is of means, whose limits were estimated from so many"))
    if asked.after < 0 or asked.after > MOST_QUIET:
        raise WrongUsage(say("--after from 0 to {most}", most=f"{MOST_QUIET}"))
    if chart.of == SPREAD and asked.chart == "spread-cusum" and not asked.reference > 1:
        raise WrongUsage(say("--reference above 1: the ratio of spreads that the sum is tuned for"))
    return chart


def _limit_refused(asked: ChartAsked, chart: Chart) -> None:
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


def _limit(asked: ChartAsked, chart: Chart) -> float | None:
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
    lasts = CHARTS[asked.chart].lasting and not asked.skew
    known = mean is not None and lasts and before.mean < STEADY_MOST
    steady = told("steady", lambda: steady_state(before, run).mean) if known else None
    if not known and mean is not None:
        why_not["steady"] = say(NO_STEADY if lasts else NOT_STEADY)
    later = asked.after and lasts
    quiet = told("after_quiet", lambda: after_change(before, run, at=asked.after).mean) if later else None
    several = told("first_of_all", lambda: first_of(run, asked.charts)) if asked.charts > 1 else None
    p05, p50, p95 = (None if p is None else int(p) for p in points)
    return RunLengthAt(
        shift=shift,
        mean=mean,
        p05=p05,
        p50=p50,
        p95=p95,
        steady=steady,
        after_quiet=quiet,
        first_of_all=several,
        why_not=why_not,
    )


def _estimated(asked: ChartAsked, width: float) -> EstimatedLimits | None:
    """Return what limits from so many subgroups do; None where they are taken as known."""
    if asked.subgroups is None:
        return None
    base, known = baseline_of(asked.subgroups, asked.size), mean_run_length(width).mean
    return EstimatedLimits(
        subgroups=asked.subgroups,
        size=asked.size,
        one_in=1 / estimated_run(base, width=width).chance,
        p05=run_length_quantile(base, 0.05, width=width),
        p95=run_length_quantile(base, 0.95, width=width),
        width_as_promised=widened(base, chance=1 / known),
        width_for_nine_in_ten=guarded_width(base, arl=known),
    )
