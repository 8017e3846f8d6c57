"""What every section of a sheet is, and the figures sections are made of."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
Count = Annotated[int, Field(ge=1)]
Name = Annotated[str, Field(min_length=1)]
Day = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
ALL_DAYS: tuple[Day, ...] = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


class Section(BaseModel):
    """Part of a sheet; unknown keys are mistakes."""

    model_config = ConfigDict(extra="forbid", frozen=True, ser_json_inf_nan="null")
