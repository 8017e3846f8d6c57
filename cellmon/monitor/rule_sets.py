"""The run rules a sheet may switch on, by the name it calls them, and what each costs."""

from __future__ import annotations

from dataclasses import dataclass

from cellmon.charts.patterns import (
    BEYOND_3,
    EIGHT_TESTS,
    FOUR_OF_FIVE,
    FOUR_ZONE_TESTS,
    STANDARD_TESTS,
    TWO_OF_THREE,
    Shape,
    Test,
)
from cellmon.charts.run_length.rules import rule_price
from cellmon.charts.run_length.shewhart import range_chance
from cellmon.words import to_say


@dataclass(frozen=True, kw_only=True)
class RuleSet:
    """Tests on subgroup means that are switched on together."""

    name: str
    words: str
    """In English; whoever shows them says them."""
    tests: tuple[Test, ...]
    of_means: float
    """Points until a false alarm of the means alone: `rule_price(tests)`, worked out once, since the chain of
    the eight tests alone takes a quarter of a second. The tests work each out anew."""
    with_range: bool = False
    """Whether the range is judged at three sigma too."""

    def points(self, size: int) -> float:
        """Return the subgroups of one stream until a false alarm, on average."""
        if not self.with_range:
            return self.of_means
        return rule_price(self.tests, beside=range_chance(size))


RULE_SETS = (
    RuleSet(
        name="mean-range",
        words=to_say("mean or range beyond three sigma"),
        tests=(BEYOND_3,),
        of_means=370.3983473449564,
        with_range=True,
    ),
    RuleSet(
        name="beyond-3-sigma",
        words=to_say("a mean beyond three sigma"),
        tests=(BEYOND_3,),
        of_means=370.3983473449564,
    ),
    RuleSet(
        name="two-of-three",
        words=to_say("two of three beyond two sigma, same side"),
        tests=(TWO_OF_THREE,),
        of_means=510.68851444669144,
    ),
    RuleSet(
        name="four-of-five",
        words=to_say("four of five beyond one sigma, same side"),
        tests=(FOUR_OF_FIVE,),
        of_means=291.3192480087732,
    ),
    RuleSet(
        name="run-of-eight",
        words=to_say("eight in a row on one side"),
        tests=(Test(shape=Shape.RUN, n=8),),
        of_means=255.0,
    ),
    RuleSet(
        name="trend-of-seven",
        words=to_say("seven in a row up, or down"),
        tests=(Test(shape=Shape.TREND, n=7),),
        of_means=2881.8518772470507,
    ),
    RuleSet(
        name="zones-1956",
        words=to_say("the four zone tests of 1956"),
        tests=FOUR_ZONE_TESTS,
        of_means=91.75077312834878,
    ),
    RuleSet(
        name="eight-1984",
        words=to_say("the eight tests of 1984"),
        tests=EIGHT_TESTS,
        of_means=73.47995158620625,
    ),
    RuleSet(
        name="standard-three",
        words=to_say("the three tests of ISO 7870-2"),
        tests=STANDARD_TESTS,
        of_means=93.3824369940931,
    ),
)
BY_NAME = {rules.name: rules for rules in RULE_SETS}
