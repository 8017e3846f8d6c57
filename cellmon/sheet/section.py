"""What every section of a sheet is, and the figures sections are made of."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field
from pydantic_core import ErrorDetails

from cellmon.words import say, say_kept, to_say

Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
Count = Annotated[int, Field(ge=1)]
Name = Annotated[str, Field(min_length=1)]
Day = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
ALL_DAYS: tuple[Day, ...] = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


ASKED = (
    to_say("a valid number, unable to parse string as a number"),
    to_say("a valid integer, unable to parse string as an integer"),
    to_say("a valid number"),
    to_say("a valid integer"),
    to_say("a valid string"),
    to_say("a valid boolean"),
    to_say("a valid list"),
    to_say("a valid tuple"),
    to_say("a valid dictionary"),
    to_say("a finite number"),
    to_say("greater than or equal to {least}"),
    to_say("greater than {least}"),
    to_say("less than or equal to {most}"),
    to_say("less than {most}"),
    to_say("String should have at least {count} character"),
)
"""What the checks of single keys ask for, as they word it in English."""


def asked(error: ErrorDetails) -> str:
    """Return what was expected where a check of a section failed."""
    if error["type"] == "missing":
        return say("a value")
    if error["type"] == "extra_forbidden":
        return say("no such key here")
    return say_kept(error["msg"].removeprefix("Value error, ").removeprefix("Input should be "), *ASKED)


class Section(BaseModel):
    """Part of a sheet; unknown keys are mistakes."""

    model_config = ConfigDict(extra="forbid", frozen=True, ser_json_inf_nan="null")
