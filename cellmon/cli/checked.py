"""The lines of the check: whether sheet and store are sound, splits that pay, and parts that are alike."""

from __future__ import annotations

from collections.abc import Sequence

from cellmon.cli.showing import Look
from cellmon.cli.wording import count, listed, note_line, when
from cellmon.monitor.alike import LikeParts
from cellmon.monitor.check import Check
from cellmon.monitor.splits import SplitSummary
from cellmon.words import say, say_many, to_say

SPLIT = to_say("split: {words} Last parts: {high} above, {low} below.")
IF_IT_STAYS = to_say("First see whether it is a fault that can be mended. If it is to stay: {write}.")
SPLIT_BY = {"fixture": to_say("fixture"), "side": to_say("side"), "order": to_say("order")}


def check_lines(answer: Check, look: Look) -> list[str]:
    """Return whether sheet and store are sound, what is switched off and what differs."""
    sound = say("The sheet and the store are sound.") if answer.sound else say("The store is not sound.")
    at = when(answer.as_of, look.zone)
    lines = [sound, say("As of {at}, sheet version {sheet} is in force.", at=at, sheet=answer.sheet)]
    if answer.differs:
        told = to_say("The sheet on disk would change {keys}; it is not used until adopted:")
        lines += [say(told, keys=listed(answer.differs)), "  " + say("cellmon adopt --by NAME --why TEXT")]
    lines += [say("switched off: {words}", words=words) for words in answer.switched_off]
    lines += [note_line(words) for words in answer.remarks]
    lines += _split_lines(answer.splits) + like_lines(answer.like_parts)
    return lines if answer.rebuilt is None else [*lines, answer.rebuilt]


def _split_lines(found: SplitSummary) -> list[str]:
    """Return each split that is proposed with what to write, or that none is, and what could not be asked."""
    lines = []
    for one in found.proposed:
        lines.append(say(SPLIT, words=one.words, high=one.high_part, low=one.low_part))
        lines.append("  " + say(IF_IT_STAYS, write=one.write))
    if found.asked and not found.proposed:
        lines.append(
            say_many(
                "splits: none proposed. {n} question of fixture, side and order asked; "
                "none lastingly moves a feature by more than half a sigma",
                "splits: none proposed. {n} questions of fixture, side and order asked; "
                "none lastingly moves a feature by more than half a sigma",
                found.asked,
                n=count(found.asked),
            )
        )
    not_asked = to_say("splits: {by} not asked everywhere: {why}")
    return lines + [
        say(not_asked, by=say(SPLIT_BY[by]), why=why) for by, why in sorted(found.why_not.items())
    ]


def like_lines(found: Sequence[LikeParts]) -> list[str]:
    """Return whether the parts that are charted together are alike, and where they aim apart."""
    lines = []
    for one in found:
        lines += [say("like parts: {sentence}", sentence=one.sentence), *map("  {}".format, one.remarks)]
    return lines
