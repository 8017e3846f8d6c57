"""What paper and page say of a stream's capability."""

from __future__ import annotations

from dataclasses import replace

import pytest

from cellmon.monitor.answers import Tolerance
from cellmon.monitor.capability_words import TOO_NARROW, model_words
from tests.cli.conftest import capability_answer

(STREAM,) = capability_answer().capability
LIMITS = Tolerance(lower_um=0.0, upper_um=24.0, target_um=12.0, guard_um=1.0)


@pytest.mark.parametrize(
    ("movement", "warned"), [("constant", False), ("moves as modelled", True), ("not predictable", True)]
)
def test_a_level_that_moves_is_warned_of(movement, warned):
    row = replace(STREAM, time_model="D: location and spread move", movement=movement)
    assert (TOO_NARROW in model_words(row, LIMITS, "µm")) is warned
