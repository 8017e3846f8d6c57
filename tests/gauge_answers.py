"""A hand-built answer about gauges, for tests that need no store: a slip, three studies, two gauges."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np

from cellmon.gauge.propagation import Propagated
from cellmon.gauge.resolution import resolution_test
from cellmon.monitor.answers import Due, Estimate
from cellmon.monitor.gauge import (
    Budget,
    BudgetLine,
    DecisionRule,
    FeatureAgreement,
    GaugeAnswer,
    GaugesAgree,
    GaugeStanding,
    LastCheck,
    Linearity,
    MasterChecks,
    MasterMean,
    ReadByNoise,
    StudyAnswer,
    StudyFeature,
    SuspectTime,
    VarianceLine,
    Zone,
)
from cellmon.shifts import to_utc


def about(value: float, share: float = 0.2) -> Estimate:
    """Return a figure with an interval of so large a share on either side."""
    half = share * abs(value)
    return Estimate(value=value, low=value - half, high=value + half, confidence=0.95)


def study_feature(name: str, sd: float, **more: object) -> StudyFeature:
    """Return what a crossed study of 3 persons says of a feature with a tolerance of 24 µm."""
    share = 6 * sd / 24 * 100
    known: dict[str, object] = {
        "feature": name,
        "parts": 10,
        "operators": 3,
        "trials": 3,
        "tolerance_um": 24.0,
        "repeatability_um": about(0.8 * sd),
        "reproducibility_um": about(0.6 * sd, 0.9),
        "interaction_um": None,
        "gauge_um": about(sd),
        "part_um": about(5.0),
        "total_um": about(5.1),
        "p_interaction": 0.7,
        "pooled": True,
        "table": (VarianceLine(source="part", df=9, ss=450.0, ms=50.0),),
        "of_tolerance": about(share),
        "of_study": about(100 * sd / 5.1),
        "categories": about(7.0 / sd),
        "categories_claimed": int(7.0 / sd),
        "bias_um": None,
        "resolution": resolution_test(0.1, sigma=sd, tolerance=24.0) if name == "one reading" else None,
        "gauge_df": 20.0,
        "verdict": "good enough" if share <= 10 else "use with care" if share <= 30 else "not good enough",
        "why_not": {"interaction_um": "not told from chance (p 0.70), pooled into what repeats"},
    }
    return StudyFeature(**{**known, **more})  # type: ignore[arg-type]


def studies() -> tuple[StudyAnswer, ...]:
    """Return a crossed study with features good, doubtful and bad, one of a ring, and one of G2."""
    features = (
        study_feature("one reading", 0.35),
        study_feature("taper", 0.9),
        study_feature("roundness", 1.6, tolerance_um=4.0, of_tolerance=about(240.0)),
        study_feature(
            "barrel", 0.5, tolerance_um=None, of_tolerance=None, why_not={"of_tolerance": "no limits"}
        ),
    )
    nothing = dict.fromkeys(
        (
            "reproducibility_um",
            "part_um",
            "total_um",
            "of_study",
            "categories",
            "categories_claimed",
            "p_interaction",
        )
    )
    ring = study_feature(
        "one reading",
        0.3,
        parts=1,
        operators=0,
        trials=25,
        pooled=False,
        bias_um=about(0.4),
        table=(),
        **nothing,
    )
    made = {"sigmas": 6.0, "linearity": None, "notes": (), "left_out": ()}
    return (
        StudyAnswer(
            **{**made, "left_out": ("part T7: 2 of 3 trials by Q",)},
            study="G1-crossed",
            gauge="G1",
            design="parts crossed with operators",
            readings=90,
            features=features,
        ),
        StudyAnswer(
            **made, study="G1-ring", gauge="G1", design="one master repeated", readings=25, features=(ring,)
        ),
        StudyAnswer(
            **made,
            study="G2-refused",
            gauge="G2",
            design="not told",
            readings=4,
            features=(
                study_feature(
                    "one reading", 0.3, repeatability_um=None, gauge_um=None, of_tolerance=None,
                    verdict="not known: the trials of each part: need at least 2, got 1", **nothing,
                ),
            ),
        ),
    )  # fmt: skip


def checks(as_of: datetime, *, good: bool = True) -> MasterChecks:
    """Return three days of checks with a slip of 4 µm a day before the end."""
    at = to_utc(as_of) - np.arange(24, -1, -1) * np.timedelta64(3, "h")
    error = np.round(0.3 * np.sin(np.arange(25)), 1)
    error[16] = 4.0
    if not good:
        error[-1] = -3.0
    slip = as_of - timedelta(hours=24)
    state = np.full(25, "as-found", dtype=object)
    state[17] = "as-left"
    return MasterChecks(
        gauge="G1",
        at=at.astype("datetime64[us]"),
        error_um=error,
        master_mm=np.where(np.arange(25) % 6 == 5, 87.324, 87.3),
        state=state,
        good=np.abs(error) <= 1,
        limit_um=1.0,
        usual_master_mm=87.3,
        last=LastCheck(at=as_of, error_um=float(error[-1]), good=good),
        due=Due(what="master check of G1", at=as_of + timedelta(hours=3), overdue=False),
        zero_um=about(0.05, 1.5),
        zero_sd_um=about(0.2),
        zero_n=20,
        drift_um_per_day=about(0.02, 3.0),
        drift_since=slip + timedelta(hours=3),
        drift_n=7,
        linearity=Linearity(
            n=24,
            masters=tuple(MasterMean(master_mm=m, n=12, error_um=about(0.1)) for m in (87.3, 87.324)),
            um_per_mm=about(20.0),
            over_tolerance_um=about(0.5),
        ),
        suspect=(
            SuspectTime(
                gauge="G1",
                found_at=slip,
                by_um=4.0,
                after=slip - timedelta(hours=3),
                until=slip,
                ended=True,
                bores=444,
                blocks=111,
                waiting=440,
                first_part="B1",
                last_part="B111",
            ),
        ),
    )


def budget(gauge: str) -> Budget:
    """Return a budget that finds the sheet too small."""
    lines = (
        BudgetLine(
            name="repetition", u_um=0.35, df=20.0, part="reading", counted=True, source="from the study"
        ),
        BudgetLine(
            name="resolution", u_um=0.03, df=None, part="reading", counted=False, source="steps of 0.1 um"
        ),
        BudgetLine(name="zero", u_um=0.6, df=19.0, part="common", counted=True, source="20 as-found checks"),
        BudgetLine(name="temperature", u_um=None, df=None, part="common", counted=False, source="not known"),
    )
    return Budget(
        gauge=gauge,
        lines=lines,
        common_um=0.6,
        reading_um=0.35,
        u_um=0.69,
        df=None,
        coverage=2.0,
        expanded_um=1.39,
        sheet_common_um=0.5,
        sheet_reading_um=0.35,
        sheet_expanded_um=1.22,
        of_tolerance=11.6,
        sentence="One reading is known to ±1.39 µm (k = 2); the sheet uses ±1.22.",
    )


def pair(as_of: datetime) -> GaugesAgree:
    """Return 40 bores that G1 and G2 both measured, one of them far apart."""
    rng = np.random.default_rng(1)
    first = rng.normal(11, 2, 40)
    second = first + 0.3 + 0.4 * rng.standard_normal(40)
    second[7] += 6
    apart = np.zeros(40, dtype=bool)
    apart[7] = True
    one = FeatureAgreement(
        feature="diameter",
        n=40,
        blocks=10,
        difference_um=about(-0.3),
        sd_um=0.4,
        sd_expected_um=0.39,
        lower_um=about(-1.1),
        upper_um=about(0.5),
        slope=about(1.0, 0.02),
        sentence="G1 reads 0.30 µm less than G2 (0.24 to 0.36).",
    )
    return GaugesAgree(
        first="G1",
        second="G2",
        since=as_of - timedelta(days=7),
        until=as_of,
        left_out=4,
        part=np.array([f"B{i}" for i in range(40)], dtype=object),
        bore=np.full(40, "1", dtype=object),
        first_um=first,
        second_um=second,
        apart=apart,
        features=(one,),
    )


def gauge_answer(as_of: datetime, *, sheet: int, good: bool = True) -> GaugeAnswer:
    """Return the whole answer; without `good` the newest check found the gauge off."""
    found = checks(as_of, good=good)
    masters = f"G1 last read its master {found.last.error_um:+.1f} µm off."
    standing = GaugeStanding(
        gauge="G1",
        use="streams",
        resolution_um=0.1,
        sentence=f"{'Yes' if good else 'Do not believe G1'}: {masters}",
        on_masters=masters,
        checks=found,
        budget=budget("G1"),
    )
    audit = GaugeStanding(
        gauge="G2",
        use="audit",
        resolution_um=1.0,
        sentence="G2 was never seen on a master.",
        on_masters="G2 was never seen on a master.",
        checks=None,
        budget=None,
        why_not={"budget": "it has read no size"},
    )
    zone = Zone(
        feature="diameter",
        lower_um=0.0,
        upper_um=24.0,
        u_um=0.61,
        guard_um=1.0,
        conforms_from_um=1.0,
        conforms_to_um=23.0,
        fails_below_um=-1.0,
        fails_above_um=25.0,
    )
    noise = ReadByNoise(
        figure="roundness",
        u_sheet_um=0.25,
        perfect_um=Propagated(true=0.0, mean=0.33, sd=0.14, low=0.09, high=0.65),
        usual_um=None,
        sentence="A perfect bore reads 0.3 µm of roundness on average, one in forty more than 0.7.",
    )
    return GaugeAnswer(
        as_of=as_of,
        sheet=sheet,
        sentence=standing.sentence,
        gauges=(standing, audit),
        studies=studies(),
        study_rows_aside=3,
        agreements=(pair(as_of),),
        rule=DecisionRule(
            rule="guarded",
            conformance=0.95,
            sentence="Guarded (ISO 14253-1): limits drawn in by 1.645 standard uncertainties.",
            zones=(zone,),
        ),
        noise=(noise,),
        caution="Advice only: a qualified person decides.",
    )
