"""The form of a bore in the hand against the sheet's limits: taper, barrel, ovality and the like."""

from __future__ import annotations

from dataclasses import dataclass

from cellmon.bores.form import two_point_features
from cellmon.gauge.decision import feature_uncertainty, guard_factor, verdicts
from cellmon.monitor.bore.rounds import Round
from cellmon.monitor.bore.terms import Terms
from cellmon.records import Verdict
from cellmon.sheet import FormFeature
from cellmon.sizing.advice import Held

COLUMNS = {
    "taper": "taper",
    "barrel": "barrel",
    "twist": "twist",
    "ovality": "ovality_worst",
    "roundness": "roundness",
    "size_range": "size_range",
}
"""Two-point features of the sheet, and the figure each is held by."""
ROUND = ("ovality", "roundness", "twist")
"""Those that honing on makes smaller; the others need more off one end."""
VERDICTS = {1: Verdict.CONFORMS, 0: Verdict.UNDECIDED, -1: Verdict.DOES_NOT_CONFORM}
HELD = {1: Held.INSIDE, 0: Held.UNDECIDED, -1: Held.BEYOND}


@dataclass(frozen=True, kw_only=True)
class FormHeld:
    """One feature of form against its limits, µm; None: no limit on that side, or too few readings."""

    feature: str
    um: float | None
    lower_um: float | None
    upper_um: float | None
    guard_um: float
    verdict: Verdict


def form_held(terms: Terms, one: Round) -> tuple[FormHeld, ...]:
    """Return every feature of form that the sheet limits, as one round's readings have it."""
    measuring, part = terms.sheet.measuring, terms.part
    limited = [
        (name, feature)
        for name, feature in part.features.items()
        if name in COLUMNS
        and isinstance(feature, FormFeature)
        and (feature.lower, feature.upper) != (None, None)
    ]
    found = []
    for name, feature in limited:
        features = two_point_features(
            terms.referred(one)[None],
            depths_mm=list(measuring.planes.values()),
            angles_deg=list(measuring.directions.values()),
            length_mm=part.length_mm,
            over=feature.over,
            only=(COLUMNS[name],),
        )
        um = float(getattr(features, COLUMNS[name])[0])
        found.append(_held(terms, name, feature, um))
    return tuple(found)


def _held(terms: Terms, name: str, feature: FormFeature, um: float) -> FormHeld:
    measuring, decision = terms.sheet.measuring, terms.sheet.decision
    u = feature_uncertainty(
        name,
        common_um=terms.doubt.common_um,
        reading_um=terms.doubt.reading_um,
        planes=len(measuring.planes),
        directions=len(measuring.directions),
    )
    code = verdicts(
        [um],
        lower=feature.lower,
        upper=feature.upper,
        u=u,
        rule=decision.rule,
        conformance=decision.conformance,
    )
    guarded = decision.rule == "guarded" and u is not None
    return FormHeld(
        feature=name,
        um=um if um == um else None,  # noqa: PLR0124 - nan is no figure
        lower_um=feature.lower,
        upper_um=feature.upper,
        guard_um=guard_factor(decision.conformance) * u if guarded and u is not None else 0.0,
        verdict=VERDICTS[int(code[0])],
    )


def worst(held: tuple[FormHeld, ...], *, round_: bool) -> Held:
    """Return the worst of the features that are of the round, or of those along the bore."""
    order = (Verdict.DOES_NOT_CONFORM, Verdict.UNDECIDED, Verdict.CONFORMS)
    mine = [one.verdict for one in held if (one.feature in ROUND) == round_]
    first = min(mine, key=order.index, default=Verdict.CONFORMS)
    return {v: HELD[c] for c, v in VERDICTS.items()}[first]


def verdict_of(terms: Terms, one: Round) -> Verdict:
    """Return the verdict on one round's readings, each a size of its own, and on its form."""
    doubt, decision = terms.doubt, terms.sheet.decision
    codes = verdicts(
        terms.referred(one).ravel(),
        lower=terms.limits.lower,
        upper=terms.limits.upper,
        u=doubt.one_um,
        rule=decision.rule,
        conformance=decision.conformance,
    )
    order = {verdict: code for code, verdict in VERDICTS.items()}
    form = [order[held.verdict] for held in form_held(terms, one)]
    return VERDICTS[min([int(codes.min()), *form])]
