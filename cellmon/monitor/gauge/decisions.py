"""Where a bore is proven inside and outside its limits, and what noise alone reads."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cellmon import lengths
from cellmon.bores.form import TwoPointFeatures, two_point_features
from cellmon.gauge.decision import guard_factor
from cellmon.gauge.propagation import Propagated, noisy_readings, read_of
from cellmon.judged import FEATURE_COLUMNS, SIZE_COLUMNS, Bores
from cellmon.local import number, significant
from cellmon.monitor.gauge.study_feature import SEED
from cellmon.monitor.judge.verdict import JUDGED_COLUMNS, standard_uncertainty
from cellmon.monitor.view import View
from cellmon.records import Numbers
from cellmon.sheet import DiameterFeature, Part, Sheet
from cellmon.words import say, to_say

DRAWS = 20_000
WIDER = 1.15
"""From so many times the uncertainty of the verdict on, a wider spread is said."""
SIZES = {
    "least": to_say("least size"),
    "greatest": to_say("greatest size"),
    "average": to_say("average size"),
    "mid-range": to_say("mid-range size"),
}


@dataclass(frozen=True, kw_only=True)
class Zone:
    """Where a feature is proven inside and where outside; micrometres from nominal."""

    feature: str
    lower_um: float | None
    upper_um: float | None
    u_um: float
    guard_um: float
    conforms_from_um: float | None
    conforms_to_um: float | None
    fails_below_um: float | None
    fails_above_um: float | None


@dataclass(frozen=True, kw_only=True)
class ReadByNoise:
    """What a figure reads where the true one is known, by simulation with the sheet's uncertainties; µm."""

    figure: str
    u_sheet_um: float | None
    """The standard uncertainty the verdict uses."""
    perfect_um: Propagated
    usual_um: Propagated | None
    """Of the bore as the last days made it; None where none was measured."""
    sentence: str


@dataclass(frozen=True, kw_only=True)
class DecisionRule:
    """How bores near a limit are judged."""

    rule: str
    conformance: float
    sentence: str
    zones: tuple[Zone, ...]


def decision_rule(view: View) -> DecisionRule:
    """Return the rule of verdicts in words, and where each feature is proven inside and outside."""
    sheet = view.sheet
    rule = sheet.decision
    z = guard_factor(rule.conformance)
    zones = []
    for name, feature in sheet.part().features.items():
        if name not in ("diameter", *FEATURE_COLUMNS):
            continue
        if feature.lower_um is None and feature.upper_um is None:
            continue
        u = standard_uncertainty(sheet, name)
        guard = z * u if rule.rule == "guarded" else 0.0
        low, high = feature.lower_um, feature.upper_um
        zones.append(
            Zone(
                feature=name,
                lower_um=low,
                upper_um=high,
                u_um=u,
                guard_um=guard,
                conforms_from_um=None if low is None else low + guard,
                conforms_to_um=None if high is None else high - guard,
                fails_below_um=None if low is None else low - guard,
                fails_above_um=None if high is None else high + guard,
            )
        )
    return DecisionRule(
        rule=rule.rule, conformance=rule.conformance, sentence=_rule_words(sheet, z), zones=tuple(zones)
    )


def _rule_words(sheet: Sheet, z: float) -> str:
    if sheet.decision.rule == "simple":
        return say(
            "Simple: a bore on or inside its limits conforms, whatever the gauge's uncertainty; of bores "
            "that read just at a limit one in two is judged wrongly."
        )
    if sheet.measuring.common_um is None and sheet.measuring.reading_um is None:
        return say("Guarded, but the sheet states no uncertainty: the guard bands are nought.")
    return say(
        "Guarded (ISO 14253-1): a bore conforms inside limits drawn in by {z} standard uncertainties "
        "and does not conform outside limits moved out by as much, each proven to "
        "{share} %; between the two neither is proven.",
        z=number(z, 3),
        share=significant(100 * sheet.decision.conformance),
    )


def read_by_noise(view: View, bores: Bores) -> tuple[ReadByNoise, ...]:
    """Return what noise adds to every judged figure, of a perfect bore and of the usual one."""
    measuring = view.sheet.measuring
    if measuring.common_um is None and measuring.reading_um is None:
        return ()
    flat = np.zeros((len(measuring.planes), len(measuring.directions)))
    read = view.carry("a perfect bore read", view.rules.now.version, lambda: _read(view.sheet, flat))
    usual = usual_bore(bores, view.sheet)
    made = None if usual is None else _read(view.sheet, usual)
    found = []
    for figure, column, feature in _figures(view.sheet.part()):
        perfect = read[column]
        if perfect is not None:
            u = standard_uncertainty(view.sheet, feature)
            usual_read = None if made is None else made[column]
            words = _noise_words(figure, u, perfect, usual_read)
            found.append(
                ReadByNoise(
                    figure=figure, u_sheet_um=u, perfect_um=perfect, usual_um=usual_read, sentence=words
                )
            )
    return tuple(found)


def _noise_words(figure: str, u: float, perfect: Propagated, usual: Propagated | None) -> str:
    """Say what noise adds, where it adds anything."""
    if perfect.low >= 0 and perfect.mean > perfect.sd:
        return say(
            "A perfect bore reads {mean} of {figure} on average, one in forty more than {high}.",
            mean=lengths.said(perfect.mean, 1),
            figure=figure,
            high=lengths.bare(perfect.high, 1),
        )
    one = usual or perfect
    if abs(one.too_much) > 0.2 * one.sd:
        by = lengths.said(abs(one.too_much), 1)
        if one.too_much > 0:
            return say(
                "Of the usual bore the {figure} reads {by} too large on average.", figure=figure, by=by
            )
        return say("Of the usual bore the {figure} reads {by} too small on average.", figure=figure, by=by)
    sd = lengths.said(one.sd, 2)
    if one.sd <= WIDER * u:
        return say("Noise spreads the {figure} by {sd} and does not shift it.", figure=figure, sd=sd)
    return say(
        "Noise spreads the {figure} by {sd} and does not shift it; the verdict counts with {u}.",
        figure=figure,
        sd=sd,
        u=lengths.bare(u, 2),
    )


def _read(sheet: Sheet, bore: NDArray[np.float64]) -> dict[str, Propagated | None]:
    """Return what is read of each judged column of one bore, by simulation; None where it is not told."""
    measuring = sheet.measuring
    read = noisy_readings(
        bore,
        common=measuring.common_um or 0.0,
        reading=measuring.reading_um or 0.0,
        n=DRAWS,
        generator=np.random.default_rng(SEED),
    )

    def features(um: Numbers) -> TwoPointFeatures:
        return two_point_features(
            um,
            depths_mm=tuple(measuring.planes.values()),
            angles_deg=tuple(measuring.directions.values()),
            length_mm=sheet.part().length_mm,
        )

    noisy, true = features(read), features(bore[None])
    found = dict.fromkeys(column for _, column, _ in _figures(sheet.part()))
    return {column: _read_of(getattr(noisy, column), getattr(true, column)[0]) for column in found}


def _read_of(values: Numbers, true: float) -> Propagated | None:
    return read_of(values, true=float(true)) if np.isfinite(values).all() else None


def _figures(part: Part) -> list[tuple[str, str, str]]:
    """Return the judged figures: their names, columns and features."""
    found = []
    for name, feature in part.features.items():
        if isinstance(feature, DiameterFeature):
            if feature.judge == "every-reading":
                found += [(say(SIZES[which]), which, name) for which in ("least", "greatest")]
            column = SIZE_COLUMNS.get(feature.size)
            found += [(say(SIZES[feature.size]), column, feature.size)] if column else []
        elif name in FEATURE_COLUMNS:
            found.append((name, JUDGED_COLUMNS.get(name, name), name))
    return list({figure: (figure, column, name) for figure, column, name in found}.values())


def usual_bore(bores: Bores, sheet: Sheet) -> NDArray[np.float64] | None:
    """Return the middle of every place over the charted bores of some days; None without any."""
    mine = bores.select(
        (bores.charted == 1) & (bores.flags == 0) & (bores.part_number == sheet.part().number)
    )
    um = mine.um[np.isfinite(mine.um).all(axis=(1, 2))]
    return np.asarray(np.median(um, axis=0), dtype=np.float64) if len(um) else None
