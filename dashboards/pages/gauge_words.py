"""What the page Gauge says in words and tables: a study, its masters, the budget, the rule."""

from __future__ import annotations

from typing import Any

from dash import html

from cellmon.monitor.answers import Estimate
from cellmon.monitor.gauge import Budget, GaugeAnswer, MasterChecks, StudyAnswer, StudyFeature, SuspectTime
from dashboards import theme
from dashboards.pages import parts


def study_words(study: StudyAnswer) -> list[Any]:
    """Return a study's design and table, and what was left out of it."""
    head = html.P(
        f"{study.study}: {study.design}, {study.readings:,} readings. Shares of the tolerance are of "
        f"{study.sigmas:g} standard deviations: up to 10 % good enough, up to 30 % to be used with care and "
        "where the customer agrees.",
        className="told",
    )
    beside = [html.Li(f"Left out: {words}.") for words in study.left_out]
    beside += [html.Li(parts.capital(f"{words}.")) for words in study.notes]
    beside += [
        html.Li(parts.capital(f"{f.feature}: {f.verdict}.")) for f in study.features if f.gauge_um is None
    ]
    beside += [html.Li(words) for words in (*bias_words(study), *step_words(study), *why_words(study))]
    return [head, study_table(study), html.Ul(beside, className="lines")]


def bias_words(study: StudyAnswer) -> list[str]:
    """Return how far off a gauge read the master of a study, and whether that is proven."""
    said = []
    for f in study.features:
        if f.bias_um is not None:
            proven = "not proven" if (f.bias_um.low or 0) <= 0 <= (f.bias_um.high or 0) else "proven"
            said.append(f"It reads the master {signed(f.bias_um, 2)} µm off: {proven}.")
    return said


def step_words(study: StudyAnswer) -> list[str]:
    """Return whether the readings come in steps fine enough for the tolerance and for what repeats."""
    said = []
    for f in study.features:
        test = f.resolution
        if test is not None and test.of_tolerance is not None and test.of_sigma is not None:
            fine = "fine enough" if test.fine_for_tolerance and test.fine_for_sigma else "too coarse"
            said.append(
                f"Steps of {test.step:.3g} µm: {100 * test.of_tolerance:.1f} % of the tolerance (at most 10) "
                f"and {test.of_sigma:.1f} of the spread it repeats to (at most 1): {fine}."
            )
    return said


WHY = {"interaction_um": "Interaction of part and operator", "bias_um": "How far off it reads the master"}


def why_words(study: StudyAnswer) -> list[str]:
    """Return each reason why figures are missing, once, with the rule of pooling where it was used."""
    said = dict.fromkeys(
        (WHY[name], why) for f in study.features for name, why in f.why_not.items() if name in WHY
    )
    return [f"{what}: {why}." for what, why in said]


HEADS = (
    "",
    "read",
    "repeats",
    "persons",
    "gauge",
    "parts",
    "of tolerance",
    "of study",
    "distinct categories",
    "verdict",
)


def study_table(study: StudyAnswer) -> html.Table:
    """Return the features of a study, one a row; standard deviations in µm with 95 % intervals."""
    body = [html.Tr([html.Td(cell) for cell in study_row(f)]) for f in study.features]
    head = html.Thead(html.Tr([html.Th(h) for h in HEADS]))
    words = "Standard deviations in µm, with 95 % intervals."
    return html.Table([html.Caption(words), head, html.Tbody(body)])


def study_row(f: StudyFeature) -> list[Any]:
    """Return one feature's cells."""
    shape = " × ".join(str(n) for n in (f.parts, f.operators, f.trials) if n)
    spreads = (f.repeatability_um, f.reproducibility_um, f.gauge_um, f.part_um)
    shares = (f.of_tolerance, f.of_study)
    return [
        f.feature,
        shape,
        *(stacked(s, 2) for s in spreads),
        *(stacked(s, 0, " %") for s in shares),
        "" if f.categories_claimed is None else str(f.categories_claimed),
        f.verdict if f.gauge_um is not None else "not known",
    ]


def stacked(estimate: Estimate | None, digits: int, unit: str = "") -> list[Any]:
    """Return a figure with its interval on a line below it."""
    first, _, interval = ranged(estimate, digits, unit).partition(" (")
    return [first, html.Small(interval.rstrip(")"), style=BELOW)] if interval else [first]


BELOW = {"display": "block", "color": theme.SOFT}


def ranged(estimate: Estimate | None, digits: int, unit: str = "") -> str:
    """Return a figure with its interval, or a dash."""
    if estimate is None or estimate.value is None:
        return "–"
    said = f"{estimate.value:.{digits}f}{unit}"
    if estimate.low is None or estimate.high is None:
        return said
    return f"{said} ({estimate.low:.{digits}f} to {estimate.high:.{digits}f})".replace("-", "−")


def aside_words(answer: GaugeAnswer) -> list[Any]:
    """Return how many rows of study files are in no study."""
    n = answer.study_rows_aside
    if not n:
        return []
    rows = "1 row of study files waits" if n == 1 else f"{n:,} rows of study files wait"
    return [
        html.P(f"{rows} aside, in no study; cellmon aside lists each with its reason.", className="aside")
    ]


def check_words(checks: MasterChecks) -> list[str]:
    """Return zero, drift and linearity in words, each with its interval."""
    said = []
    if checks.zero_um is not None:
        spread = "" if checks.zero_sd_um is None else f", spread {ranged(checks.zero_sd_um, 2)} µm"
        said.append(f"Zero: {signed(checks.zero_um, 2)} µm over {checks.zero_n} good checks{spread}.")
    drift = checks.drift_um_per_day
    if drift is not None:
        since = "" if checks.drift_since is None else f" since it was set, {parts.when(checks.drift_since)}"
        proven = "no drift is proven" if (drift.low or 0) <= 0 <= (drift.high or 0) else "it drifts"
        said.append(f"Drift: {signed(drift, 3)} µm a day{since}: {proven}.")
    if checks.linearity is not None and checks.linearity.over_tolerance_um is not None:
        error = checks.linearity.over_tolerance_um
        masters = " and ".join(f"{m.master_mm:.4f}" for m in checks.linearity.masters)
        proven = "scale is right" if (error.low or 0) <= 0 <= (error.high or 0) else "scale is off"
        said.append(
            f"Linearity, masters of {masters} mm: {signed(error, 2)} µm across the tolerance: {proven}."
        )
    return said + [f"Not known, {name}: {why}." for name, why in checks.why_not.items()]


def signed(estimate: Estimate, digits: int) -> str:
    """Return a deviation with its sign and interval."""
    value = theme.um(estimate.value, digits)
    if estimate.low is None or estimate.high is None:
        return value
    return f"{value} ({theme.um(estimate.low, digits)} to {theme.um(estimate.high, digits)})"


def suspects(checks: MasterChecks, caution: str) -> list[Any]:
    """Return the times in which the gauge was not to be believed, with their bores."""
    if not checks.suspect:
        return []
    body = [html.Tr([html.Td(cell) for cell in suspect_row(one)]) for one in checks.suspect]
    heads = ("found", "off by", "suspect from", "to", "bores", "blocks", "still flagged", "blocks from, to")
    table = html.Table(
        [html.Thead(html.Tr([html.Th(h) for h in heads])), html.Tbody(body)], className="rules"
    )
    said = (
        "Found beyond its limit: every bore since the last good check is suspect until it is measured again "
        "or a person decides its doubt."
    )
    return [html.P(said, className="told"), table, html.P(caution, className="aside")]


def suspect_row(one: SuspectTime) -> list[str]:
    """Return one suspect time's cells."""
    blocks = "" if one.first_part is None else f"{one.first_part}, {one.last_part}"
    return [
        parts.when(one.found_at),
        f"{theme.um(one.by_um)} µm",
        parts.when(one.after),
        parts.when(one.until) if one.ended else "not yet put right",
        f"{one.bores:,}",
        f"{one.blocks:,}",
        f"{one.waiting:,}",
        blocks,
    ]


def budget_words(found: Budget) -> list[Any]:
    """Return the budget as a sentence and a table."""
    body = []
    for line in found.lines:
        u = "–" if line.u_um is None else f"{line.u_um:.2f}"
        shared = "all readings of a bore" if line.part == "common" else "one reading"
        cells = (line.name, u, shared, "yes" if line.counted else "no", line.source)
        body.append(html.Tr([html.Td(cell) for cell in cells]))
    heads = ("source", "standard u, µm", "of", "counted", "from")
    table = html.Table(
        [html.Thead(html.Tr([html.Th(h) for h in heads])), html.Tbody(body)], className="words"
    )
    return [html.P(found.sentence, className="told"), table]


def rule_words(answer: GaugeAnswer) -> list[Any]:
    """Return the decision rule, where each feature is proven, and what noise alone adds."""
    body = []
    for z in answer.rule.zones:
        ends = (z.conforms_from_um, z.conforms_to_um, z.fails_below_um, z.fails_above_um)
        cells = (z.feature, f"{z.u_um:.2f}", f"{z.guard_um:.2f}", *map(_end, ends))
        body.append(html.Tr([html.Td(cell) for cell in cells]))
    heads = ("", "standard u", "guard band", "conforms from", "to", "does not conform below", "above")
    head = html.Thead(html.Tr([html.Th(h) for h in heads]))
    caption = html.Caption("µm from nominal; between, neither is proven.")
    table = html.Table([caption, head, html.Tbody(body)], className="rules")
    noise = [html.Li(n.sentence) for n in answer.noise]
    said = "What noise alone adds, simulated with the uncertainties on the sheet:" if noise else ""
    return [
        html.P(answer.rule.sentence, className="told"),
        table,
        html.P(said, className="told"),
        html.Ul(noise, className="lines"),
    ]


def _end(value: float | None) -> str:
    return "" if value is None else theme.um(value)
