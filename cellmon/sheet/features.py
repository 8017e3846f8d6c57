"""Features of a part: nominal, limits, and what to do on a signal."""

from __future__ import annotations

from functools import cached_property
from typing import Literal, Self

from pydantic import Field, model_validator

from cellmon.sheet.section import Count, Name, Positive, Section
from cellmon.units import UM_PER, LengthUnit
from cellmon.words import say, to_say

TWO_POINT_FEATURES = ("diameter", "taper", "barrel", "twist", "ovality", "roundness", "size_range")
"""Features that two-point readings of one bore give."""
CHARTED_FEATURES = ("diameter", "taper", "barrel", "twist", "ovality", "size_range")
"""Two-point features with a chart of their own; roundness restates ovality and has none."""
TRACE_FEATURES = ("roundness_trace", "cylindricity")
TRACE_SIZE = "diameter_trace"
"""The stream of sizes from traces, where `features.diameter` names one of `SIZES_OF_TRACES`."""
SIZES_OF_TRACES = {
    "least-squares": "least-squares",
    "largest-inscribed": "inscribed",
    "smallest-circumscribed": "circumscribed",
}
"""Sizes that two-point readings do not give, and the reference circle or cylinder of each."""

EXPANSION_PER_C = {
    "grey cast iron": 11.0e-6,
    "cast iron": 11.0e-6,
    "steel": 11.5e-6,
    "aluminium": 23.1e-6,
    "cast aluminium": 21.0e-6,
    "piston alloy": 20.5e-6,
}
"""Linear expansion of materials we know by name, 1/K (steel and aluminium: Swyt, J. Res. NIST 99,
31, 1994; the rest: public material tables and memory, see docs/sources.md)."""


class Feature(Section):
    """What every feature may carry: the drawing's number and what to do on a signal."""

    number: str | None = None
    class_: str | None = Field(default=None, alias="class")
    control_plan: str | None = None
    reaction: str | None = None
    by_fixture: bool = False


class DiameterFeature(Feature):
    """Size; nominal and limits in millimetres."""

    nominal: Positive
    lower: Positive | None = None
    upper: Positive | None = None
    target: Positive | None = None
    size: Literal[
        "average",
        "least",
        "greatest",
        "mid-range",
        "least-squares",
        "largest-inscribed",
        "smallest-circumscribed",
    ] = "average"
    judge: Literal["every-reading", "size"] = "every-reading"

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        if self.lower is not None and self.upper is not None:
            if self.lower >= self.upper:
                raise ValueError(say("lower smaller than upper"))
            if self.target is not None and not self.lower <= self.target <= self.upper:
                raise ValueError(say("a target between lower and upper"))
        for limit in (self.lower, self.upper, self.target):
            if limit is not None and abs(limit - self.nominal) > 0.05 * self.nominal:
                raise ValueError(say("limits and target within 5 % of nominal, all in mm"))
        return self

    def _deviation_um(self, mm: float | None) -> float | None:
        return None if mm is None else round((mm - self.nominal) * UM_PER[LengthUnit.MM], 6)

    @cached_property
    def lower_um(self) -> float | None:
        """Lower limit, micrometres from nominal."""
        return self._deviation_um(self.lower)

    @cached_property
    def upper_um(self) -> float | None:
        """Upper limit, micrometres from nominal."""
        return self._deviation_um(self.upper)

    @cached_property
    def target_um(self) -> float | None:
        """Target, micrometres from nominal; the middle of the limits unless the sheet says else."""
        if self.target is not None:
            return self._deviation_um(self.target)
        if self.lower_um is None or self.upper_um is None:
            return None
        return (self.lower_um + self.upper_um) / 2


class FormFeature(Feature):
    """A form or any other feature; limits in micrometres, or in `unit`."""

    lower: float | None = None
    upper: float | None = None
    target: float | None = None
    unit: str | None = None
    over: Literal["measured", "whole", "per_100mm"] = "measured"
    reference: Literal["minimum-zone", "least-squares", "inscribed", "circumscribed"] = "least-squares"
    filter_upr: Positive = 50
    subgroup: Count = 1

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        if self.lower is not None and self.upper is not None and self.lower >= self.upper:
            raise ValueError(say("lower smaller than upper"))
        return self

    @property
    def lower_um(self) -> float | None:
        """Lower limit as written."""
        return self.lower

    @property
    def upper_um(self) -> float | None:
        """Upper limit as written."""
        return self.upper

    @property
    def target_um(self) -> float | None:
        """Target as written."""
        return self.target


AnyFeature = DiameterFeature | FormFeature


class Part(Section):
    """One drawing: its bores and the features that are watched."""

    number: Name
    like: Name | None = None
    """The like parts it is charted with, as deviation from each part's own nominal."""
    revision: str | None = None
    bores: tuple[Name, ...] = Field(min_length=1)
    length_mm: Positive | None = None
    stock_um: Positive | None = None
    """What honing takes off the diameter: what a bore of this part wears stones against another's."""
    material: str | None = None
    expansion_per_c: Positive | None = None
    surface: Literal["plain", "coated", "plated", "unknown"] = "plain"
    oversizes_mm: tuple[Positive, ...] = ()
    features: dict[str, AnyFeature]
    """Features by name; `cellmon.sheet_checks` has checked each with its own model."""

    @model_validator(mode="after")
    def _size_is_there(self) -> Self:
        if not isinstance(self.features.get("diameter"), DiameterFeature):
            raise ValueError(say("a [features.diameter] with its nominal"))
        for name, feature in self.features.items():
            known = TWO_POINT_FEATURES + TRACE_FEATURES
            if name not in known and getattr(feature, "unit", None) is None:
                text = to_say("one of {names}, or a unit for features.{name}")
                raise ValueError(say(text, names=", ".join(known), name=name))
        if len(set(self.bores)) != len(self.bores):
            raise ValueError(say("each bore once"))
        return self

    @property
    def diameter(self) -> DiameterFeature:
        """The size of this part's bores."""
        feature = self.features["diameter"]
        assert isinstance(feature, DiameterFeature)
        return feature

    @property
    def expansion(self) -> float | None:
        """Linear expansion of the part, 1/K, or None where neither figure nor known name is given."""
        return self.expansion_per_c or EXPANSION_PER_C.get((self.material or "").lower())

    @property
    def charted(self) -> tuple[str, ...]:
        """The two-point features of this part that have a chart of their own."""
        return tuple(name for name in CHARTED_FEATURES if name in self.features)

    @property
    def audited(self) -> tuple[str, ...]:
        """The features of this part that another instrument measures: no two-point readings give them."""
        named = tuple(name for name in self.features if name not in TWO_POINT_FEATURES)
        return (*named, TRACE_SIZE) if self.sized_by_trace else named

    @property
    def sized_by_trace(self) -> bool:
        """Whether the size of a bore is a figure of its traces."""
        return self.diameter.size in SIZES_OF_TRACES

    def feature(self, name: str) -> AnyFeature | None:
        """Return a feature by name; the size from traces has the limits of the diameter, micrometres."""
        if name != TRACE_SIZE or not self.sized_by_trace:
            return self.features.get(name)
        size = self.diameter
        limits = {"lower": size.lower_um, "upper": size.upper_um, "target": size.target_um}
        words = {"number": size.number, "class": size.class_, "control_plan": size.control_plan}
        return FormFeature(**limits, **words, reaction=size.reaction)


def feature_model(name: str) -> type[DiameterFeature] | type[FormFeature]:
    """Return the model that checks a feature of that name."""
    return DiameterFeature if name == "diameter" else FormFeature
