"""The cell sheet: what is honed, measured and watched, checked as a whole.

This package checks a mapping, wherever it came from; reading the file is intake's work. Lengths are
written in millimetres and kept so; limits of a feature are offered in micrometres from nominal.
"""

from cellmon.sheet.features import (
    CHARTED_FEATURES,
    EXPANSION_PER_C,
    SIGNED_FEATURES,
    TRACE_FEATURES,
    TWO_POINT_FEATURES,
    AnyFeature,
    DiameterFeature,
    Feature,
    FormFeature,
    Part,
    feature_model,
)
from cellmon.sheet.section import ALL_DAYS, Count, Day, Name, NotNegative, Positive, Section
from cellmon.sheet.sections import (
    Alarms,
    Capability,
    Cell,
    Checks,
    Decision,
    Fit,
    Gauge,
    Measuring,
    Planning,
    Shift,
    Spindle,
    StoneKind,
    Store,
    Subgroups,
    Uncertainty,
    Zeroing,
)
from cellmon.sheet.whole import Sheet

__all__ = [
    "ALL_DAYS",
    "CHARTED_FEATURES",
    "EXPANSION_PER_C",
    "SIGNED_FEATURES",
    "TRACE_FEATURES",
    "TWO_POINT_FEATURES",
    "Alarms",
    "AnyFeature",
    "Capability",
    "Cell",
    "Checks",
    "Count",
    "Day",
    "Decision",
    "DiameterFeature",
    "Feature",
    "Fit",
    "FormFeature",
    "Gauge",
    "Measuring",
    "Name",
    "NotNegative",
    "Part",
    "Planning",
    "Positive",
    "Section",
    "Sheet",
    "Shift",
    "Spindle",
    "StoneKind",
    "Store",
    "Subgroups",
    "Uncertainty",
    "Zeroing",
    "feature_model",
]
