"""What the sheet of each moment allows audits and findings: by hand, version after version."""

from __future__ import annotations

import numpy as np
import pytest

from cellmon.monitor.judge.allowed import Allowed, log_rate_of
from cellmon.monitor.judge.audit_plan import FINDING, FINDINGS
from cellmon.monitor.judge.budget import budget
from cellmon.monitor.rules import BEGINNING, Rules
from tests.monitor.judge.making import demo_sheet, minute, stream

ROUNDNESS = stream(feature="roundness_trace")


def rules(*sheets):
    """Return the rules under which each sheet followed the one before after a hundred minutes."""
    return Rules.of([(1 + i, minute(100 * i) if i else BEGINNING, sheet) for i, sheet in enumerate(sheets)])


def per_week(many):
    return demo_sheet(alarms={"false_alarms_per_week": many})


def minutes(*at):
    return np.array([minute(one) for one in at], dtype="datetime64[us]")


def test_a_moment_is_allowed_what_the_sheet_in_force_then_gave():
    sheets = [per_week(many) for many in (2.0, 0.5, 1.0)]
    at = minutes(-9999, 99, 100, 199, 200, 9999)
    found = Allowed(rules=rules(*sheets))
    rates = [log_rate_of(ROUNDNESS, budget(sheet)) for sheet in sheets]
    assert rates[0] > rates[2] > rates[1]
    assert found.log_rates(ROUNDNESS, at).tolist() == [rates[i] for i in (0, 0, 1, 1, 2, 2)]
    shares = [budget(sheet) for sheet in sheets]
    families = [of.family_at(FINDINGS, FINDING, "HM-214", "S1") for of in shares]
    chances = [of.rates(family).single for of, family in zip(shares, families, strict=True)]
    assert found.chances("S1", at).tolist() == [chances[i] for i in (0, 0, 1, 1, 2, 2)]
    assert found.log_rates(ROUNDNESS, minutes()).tolist() == []


def test_what_a_sheet_did_not_watch_is_allowed_what_the_first_later_one_gives():
    one = demo_sheet(spindles=[{"id": "S2", "bores": ["1", "2", "3", "4"]}], planning=None)
    found = Allowed(rules=rules(per_week(4.0), one, per_week(1.0), per_week(2.0)))
    first, third, last = (log_rate_of(ROUNDNESS, budget(per_week(many))) for many in (4.0, 1.0, 2.0))
    assert found.log_rates(ROUNDNESS, minutes(50, 150, 250, 350)).tolist() == [first, third, third, last]


@pytest.mark.parametrize("name", ["Rpk", "taper"])
def test_what_the_newest_sheet_does_not_watch_is_allowed_nothing(name):
    found = Allowed(rules=rules(per_week(2.0), per_week(1.0)))
    assert found.log_rates(stream(feature=name), minutes(1)) is None
    assert found.chances("S9", minutes(1)) is None
