"""What is said at the bore."""

from __future__ import annotations

from cellmon.sizing.advice import NextRound, Step
from cellmon.sizing.outcome import Kept
from cellmon.words import say, say_many, to_say

CAUTIONS = (
    to_say(
        "Advice only. The tool maker's manual, site rules, local law and qualified people come first. "
        "Stop if unsure."
    ),
    to_say(
        "Clamp the block, brace for the drill's kick. Start and stop the hone inside the bore and collapse "
        "it before it is taken out: never run or withdraw an expanded hone outside the bore."
    ),
    to_say(
        "Stop, pull the plug and take the hone out before measuring. No gloves near anything that turns; "
        "eye and hearing protection; keep dust and mist out of the air you breathe."
    ),
    to_say("A record says what was measured; it never says 'safe' or 'fit for use'."),
)
SURFACE = to_say(
    "The sheet calls this surface {surface}: no advice is given until a qualified person has confirmed "
    "a plain one."
)


def next_sentence(told: NextRound, planes: list[str], *, finer: str | None, left_um: float) -> str:
    """Return what to do next as one or two sentences."""
    if told.step in (Step.TEST, Step.STROKES):
        return _strokes_sentence(told, planes)
    sentences = {
        Step.COOL: say(
            "Let it cool: warmth could hide more than a tenth of what is left, then measure again."
        ),
        Step.FINER: say("Change to the finer stones {stones}; a test round follows.", stones=finer or ""),
        Step.FINISHED: say("Finished: the tightest place is proven above the lower limit. Stop here."),
        Step.UNSETTLED: say(
            "Stop: the gauge cannot settle whether every place lies inside, and no stroke is safe. "
            "Measure again with a better gauge, or let a qualified person decide."
        ),
        Step.CANNOT: say("It cannot be saved within these limits."),
    }
    return sentences[told.step]


def _strokes_sentence(told: NextRound, planes: list[str]) -> str:
    s = told.strokes
    parts = []
    if s.top:
        parts.append(say_many("{count} short stroke at the top", "{count} short strokes at the top", s.top))
    if s.bottom:
        parts.append(
            say_many("{count} short stroke at the bottom", "{count} short strokes at the bottom", s.bottom)
        )
    if s.full:
        parts.append(
            say_many("{count} stroke over the whole bore", "{count} strokes over the whole bore", s.full)
        )
    listed = say(", then ").join(parts)
    begun = "" if told.begin_at is None else say("Begin at the {plane}. ", plane=planes[told.begin_at])
    if told.step is Step.TEST:
        return begun + say("A test round: {strokes}, then measure.", strokes=listed)
    return begun + say("{strokes}, then measure.", strokes=listed[0].upper() + listed[1:])


def see_sentence(
    *, taper_um: float | None, taper_told: bool, tight: str, wide: str, left_um: float, tells_um: float
) -> str:
    """Return where the bore is tight and wide, and how much is left."""
    where = say("Tightest at {tight}, widest at {wide}. ", tight=tight, wide=wide)
    if taper_um is not None and not taper_told:
        where = say("The gauge cannot tell its ends apart. ")
    left = f"{left_um:.1f}" if tells_um < 2 else f"{left_um:.0f}"
    if left_um <= 0:
        return where + say("The widest place is {um} um past the target.", um=left.lstrip("-"))
    return where + say("{um} um are left to the target at the widest place.", um=left)


def kept_sentence(kept: Kept) -> str:
    """Return whether a round did what the advice said."""
    return {
        Kept.AS_SAID: say("The round did what was said."),
        Kept.LESS: say(
            "The round took less than said: look at the stones, the feed and the count of strokes."
        ),
        Kept.MORE: say("The round took more than said: smaller steps follow."),
        Kept.UNEVEN: say("The round took more at one end and less at the other than said."),
        Kept.OTHER: say("Other strokes were made than advised."),
    }[kept]
