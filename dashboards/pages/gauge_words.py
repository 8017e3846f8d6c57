"""What the page Gauge says in words and tables: a study, its masters, the budget, the rule."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from dash import html

from cellmon import lengths, local
from cellmon.monitor.answers import Estimate
from cellmon.monitor.gauge import Budget, GaugeAnswer, MasterChecks, StudyAnswer, StudyFeature, SuspectTime
from cellmon.records.words import feature_words
from cellmon.words import say, say_many, to_say
from dashboards import theme
from dashboards.figures.terms import each, term
from dashboards.pages import parts


def study_words(study: StudyAnswer) -> list[Any]:
    """Return a study's design and table, and what was left out of it."""
    said = say(
        "{study}: {design}, {readings} readings. Shares of the tolerance are of {sigmas} standard "
        "deviations: up to 10 % good enough, up to 30 % to be used with care and where the customer agrees.",
        study=study.study,
        design=term(study.design),
        readings=local.number(study.readings),
        sigmas=local.significant(study.sigmas),
    )
    head = html.P(said, className="told")
    beside = [html.Li(say("Left out: {what}.", what=words)) for words in study.left_out]
    beside += [html.Li(parts.capital(f"{words}.")) for words in study.notes]
    beside += [
        html.Li(parts.capital(f"{feature_words(f.feature)}: {f.verdict}."))
        for f in study.features
        if f.gauge_um is None
    ]
    beside += [html.Li(words) for words in (*bias_words(study), *step_words(study), *why_words(study))]
    return [
        head,
        parts.across(study_table(study), say("The gauge study")),
        html.Ul(beside, className="lines"),
    ]


def bias_words(study: StudyAnswer) -> list[str]:
    """Return how far off a gauge read the master of a study, and whether that is proven."""
    said = []
    for f in study.features:
        if f.bias_um is not None:
            off = signed(f.bias_um, 2)
            if _may_be_nought(f.bias_um):
                said.append(say("It reads the master {off} off: not proven.", off=off))
            else:
                said.append(say("It reads the master {off} off: proven.", off=off))
    return said


def step_words(study: StudyAnswer) -> list[str]:
    """Return whether the readings come in steps fine enough for the tolerance and for what repeats."""
    said = []
    for f in study.features:
        test = f.resolution
        if test is not None and test.of_tolerance is not None and test.of_sigma is not None:
            fine = test.fine_for_tolerance and test.fine_for_sigma
            said.append(
                say(
                    "Steps of {step}: {share} % of the tolerance (at most 10) and {spread} of the spread "
                    "it repeats to (at most 1): {verdict}.",
                    step=lengths.said(test.step, None),
                    share=local.number(100 * test.of_tolerance, 1),
                    spread=local.number(test.of_sigma, 1),
                    verdict=say("fine enough") if fine else say("too coarse"),
                )
            )
    return said


WHY = {
    "interaction_um": to_say("Interaction of part and operator"),
    "bias_um": to_say("How far off it reads the master"),
}


def why_words(study: StudyAnswer) -> list[str]:
    """Return each reason why figures are missing, once, with the rule of pooling where it was used."""
    said = dict.fromkeys(
        (WHY[name], why) for f in study.features for name, why in f.why_not.items() if name in WHY
    )
    return [f"{say(what)}: {why}." for what, why in said]


HEADS = (
    "",
    to_say("read"),
    to_say("repeats"),
    to_say("persons"),
    to_say("gauge"),
    to_say("parts"),
    to_say("of tolerance"),
    to_say("of study"),
    to_say("distinct categories"),
    to_say("verdict"),
)


def study_table(study: StudyAnswer) -> html.Table:
    """Return the features of a study, one a row; standard deviations in µm with 95 % intervals."""
    body = [html.Tr([html.Td(cell) for cell in study_row(f)]) for f in study.features]
    head = html.Thead(html.Tr([html.Th(say(h) if h else "") for h in HEADS]))
    words = say("Standard deviations in {unit}, with 95 % intervals.", unit=lengths.unit())
    return html.Table([html.Caption(words), head, html.Tbody(body)])


def study_row(f: StudyFeature) -> list[Any]:
    """Return one feature's cells."""
    shape = " × ".join(str(n) for n in (f.parts, f.operators, f.trials) if n)
    spreads = (f.repeatability_um, f.reproducibility_um, f.gauge_um, f.part_um)
    shares = (f.of_tolerance, f.of_study)
    return [
        feature_words(f.feature),
        shape,
        *(stacked(s, 2, lengths.bare) for s in spreads),
        *(stacked(s, 0, percent) for s in shares),
        "" if f.categories_claimed is None else str(f.categories_claimed),
        f.verdict if f.gauge_um is not None else say("not known"),
    ]


def percent(value: float, digits: int) -> str:
    """Return a share with its sign."""
    return f"{local.number(value, digits)} %"


def stacked(estimate: Estimate | None, digits: int, written: Callable[[float, int], str]) -> list[Any]:
    """Return a figure with its interval on a line below it."""
    if estimate is None or estimate.value is None:
        return ["–"]
    interval = _interval(estimate, digits, lengths.bare if written is lengths.bare else local.number)
    value = written(estimate.value, digits)
    return [value, html.Small(interval)] if interval else [value]


def _interval(estimate: Estimate, digits: int, written: Callable[[float, int], str]) -> str:
    if estimate.low is None or estimate.high is None:
        return ""
    return say("{low} to {high}", low=written(estimate.low, digits), high=written(estimate.high, digits))


def _may_be_nought(estimate: Estimate) -> bool:
    return (estimate.low or 0) <= 0 <= (estimate.high or 0)


def aside_words(answer: GaugeAnswer) -> list[Any]:
    """Return how many rows of study files are in no study."""
    n = answer.study_rows_aside
    if not n:
        return []
    said = say_many(
        "1 row of study files waits aside, in no study; cellmon aside lists each with its reason.",
        "{rows} rows of study files wait aside, in no study; cellmon aside lists each with its reason.",
        n,
        rows=local.number(n),
    )
    return [html.P(said, className="aside")]


def check_words(checks: MasterChecks) -> list[str]:
    """Return zero, drift and linearity in words, each with its interval."""
    said = [*_zero_words(checks), *_drift_words(checks)]
    if checks.linearity is not None and checks.linearity.over_tolerance_um is not None:
        error = checks.linearity.over_tolerance_um
        said.append(
            say(
                "Linearity, masters of {masters} {unit}: {error} across the tolerance: {verdict}.",
                masters=each([lengths.size(m.master_mm, 4) for m in checks.linearity.masters]),
                unit=lengths.size_unit(),
                error=signed(error, 2),
                verdict=say("scale is right") if _may_be_nought(error) else say("scale is off"),
            )
        )
    return said + [
        say("Not known, {what}: {why}.", what=name, why=why) for name, why in checks.why_not.items()
    ]


def _zero_words(checks: MasterChecks) -> list[str]:
    if checks.zero_um is None:
        return []
    zero, n = signed(checks.zero_um, 2), checks.zero_n
    if checks.zero_sd_um is None:
        return [say("Zero: {zero} over {n} good checks.", zero=zero, n=n)]
    spread = _spread(checks.zero_sd_um, 2)
    return [say("Zero: {zero} over {n} good checks, spread {spread}.", zero=zero, n=n, spread=spread)]


def _spread(estimate: Estimate, digits: int) -> str:
    """Return a spread with its unit and its interval, or a dash."""
    if estimate.value is None:
        return "–"
    interval = _interval(estimate, digits, lengths.bare)
    if not interval:
        return lengths.said(estimate.value, digits)
    return f"{lengths.bare(estimate.value, digits)} ({interval}) {lengths.spoken_unit()}"


def _drift_words(checks: MasterChecks) -> list[str]:
    drift = checks.drift_um_per_day
    if drift is None:
        return []
    values = {
        "drift": signed(drift, 3),
        to_say("verdict"): say("no drift is proven") if _may_be_nought(drift) else say("it drifts"),
    }
    if checks.drift_since is None:
        return [say("Drift: {drift} a day: {verdict}.", **values)]
    set_at = parts.when(checks.drift_since)
    return [say("Drift: {drift} a day since it was set, {set_at}: {verdict}.", set_at=set_at, **values)]


def signed(estimate: Estimate, digits: int) -> str:
    """Return a deviation with its sign, its unit and its interval."""
    if estimate.value is None or estimate.low is None or estimate.high is None:
        return theme.um_said(estimate.value, digits)
    value, low, high = (theme.um(one, digits) for one in (estimate.value, estimate.low, estimate.high))
    return f"{value} ({say('{low} to {high}', low=low, high=high)}) {lengths.spoken_unit()}"


def suspects(checks: MasterChecks, caution: str) -> list[Any]:
    """Return the times in which the gauge was not to be believed, with their bores."""
    if not checks.suspect:
        return []
    body = [html.Tr([html.Td(cell) for cell in suspect_row(one)]) for one in checks.suspect]
    heads = (
        say("found"),
        say("off by"),
        say("suspect from"),
        say("to"),
        say("bores"),
        say("blocks"),
        say("still flagged"),
        say("blocks from, to"),
    )
    table = html.Table(
        [html.Thead(html.Tr([html.Th(h) for h in heads])), html.Tbody(body)], className="rules"
    )
    said = say(
        "Found beyond its limit: every bore since the last good check is suspect until it is measured again "
        "or a person decides its doubt."
    )
    return [
        html.P(said, className="told"),
        parts.across(table, say("Bores that are suspect")),
        html.P(caution, className="aside"),
    ]


def suspect_row(one: SuspectTime) -> list[str]:
    """Return one suspect time's cells."""
    blocks = "" if one.first_part is None else f"{one.first_part}, {one.last_part}"
    return [
        parts.when(one.found_at),
        theme.um_said(one.by_um),
        parts.when(one.after),
        parts.when(one.until) if one.ended else say("not yet put right"),
        local.number(one.bores),
        local.number(one.blocks),
        local.number(one.waiting),
        blocks,
    ]


def budget_words(found: Budget) -> list[Any]:
    """Return the budget as a sentence and a table."""
    body = []
    for line in found.lines:
        u = "–" if line.u_um is None else lengths.bare(line.u_um, 2)
        shared = say("all readings of a bore") if line.part == "common" else say("one reading")
        cells = (line.name, u, shared, say("yes") if line.counted else say("no"), line.source)
        body.append(html.Tr([html.Td(cell) for cell in cells]))
    u = say("standard u, {unit}", unit=lengths.unit())
    heads = (say("source"), u, say("of"), say("counted"), say("from"))
    table = html.Table(
        [html.Thead(html.Tr([html.Th(h) for h in heads])), html.Tbody(body)], className="words"
    )
    return [
        html.P(found.sentence, className="told"),
        parts.across(table, say("What the uncertainty is made of")),
    ]


def rule_words(answer: GaugeAnswer) -> list[Any]:
    """Return the decision rule, where each feature is proven, and what noise alone adds."""
    body = []
    for z in answer.rule.zones:
        ends = (z.conforms_from_um, z.conforms_to_um, z.fails_below_um, z.fails_above_um)
        cells = (
            feature_words(z.feature),
            lengths.bare(z.u_um, 2),
            lengths.bare(z.guard_um, 2),
            *map(_end, ends),
        )
        body.append(html.Tr([html.Td(cell) for cell in cells]))
    heads = (
        "",
        say("standard u"),
        say("guard band"),
        say("conforms from"),
        say("to"),
        say("does not conform below"),
        say("above"),
    )
    head = html.Thead(html.Tr([html.Th(h) for h in heads]))
    caption = html.Caption(say("{unit} from nominal; between, neither is proven.", unit=lengths.unit()))
    table = html.Table([caption, head, html.Tbody(body)], className="rules")
    noise = [html.Li(n.sentence) for n in answer.noise]
    said = say("What noise alone adds, simulated with the uncertainties on the sheet:") if noise else ""
    return [
        html.P(answer.rule.sentence, className="told"),
        parts.across(table, say("Guard bands and what they leave")),
        html.P(said, className="told"),
        html.Ul(noise, className="lines"),
    ]


def _end(value: float | None) -> str:
    return "" if value is None else theme.um(value)
