"""What is said at the bore."""

from __future__ import annotations

from typing import TYPE_CHECKING

from cellmon import lengths
from cellmon.sizing.advice import NextRound, Step
from cellmon.sizing.left import CleanUp, Left, Limits
from cellmon.sizing.outcome import Kept
from cellmon.words import say, say_many, to_say

if TYPE_CHECKING:
    from cellmon.monitor.bore.form import FormHeld

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
WASH = to_say(
    "Now wash it with hot water and detergent until a white cloth stays white, dry it, oil it at once."
)
ENDED = (Step.FINISHED.value, Step.CANNOT.value)
"""Steps after which a bore is left as it is."""
SURFACE = to_say(
    "The sheet calls this surface {surface}: no advice is given until a qualified person has confirmed "
    "a plain one."
)


def next_sentence(told: NextRound, planes: list[str], *, finer: str | None) -> str:
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
    left = lengths.said(abs(left_um), 1 if tells_um < 2 else 0)
    if left_um <= 0:
        return where + say("The widest place is {um} past the target.", um=left)
    return where + say("{um} are left to the target at the widest place.", um=left)


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


def oversize_sentence(oversize_um: float | None) -> str:
    """Return what becomes of a bore that cannot be saved within its limits."""
    if oversize_um is None:
        return say("No oversize of the sheet takes it: scrap, or a sleeve by a specialist.")
    return say("The next oversize that takes it is {um}.", um=lengths.said(oversize_um, 0))


def size_reason(left: Left, limits: Limits, *, wide: str) -> str:
    """Return how the widest place lies to the upper limit."""
    over = left.wide.um - limits.upper
    values = {"wide": wide, "um": lengths.said(abs(over), 1), "guard": lengths.said(left.guard_um, 1)}
    if over > 0:
        return say(
            "The widest place, {wide}, is {um} past the upper limit; the guard band is {guard}.",
            **values,
        )
    return say(
        "The widest place, {wide}, is {um} below the upper limit, inside the guard band of {guard}.",
        **values,
    )


def clean_reason(clean: CleanUp, left: Left, limits: Limits, *, wide: str) -> str:
    """Return what it would take to clean up the widest place."""
    return say(
        "To come clean the widest place, {wide}, needs {um} from nominal; proven sizes end at {highest}.",
        wide=wide,
        um=lengths.said(clean.least_size_um, 1, sign=True),
        highest=lengths.said(limits.upper - left.guard_um, 1, sign=True),
    )


def form_reason(held: FormHeld) -> str:
    """Return how one feature of form stands to its limits."""
    name = say(FEATURES[held.feature])
    if held.um is None:
        return say("{feature} was not read: a place is missing.", feature=name)
    values = {
        "feature": name,
        "um": lengths.said(held.um, 1, sign=True),
        "guard": lengths.said(held.guard_um, 1),
    }
    lower, upper = (None if v is None else lengths.said(v, None) for v in (held.lower_um, held.upper_um))
    if lower is None:
        text = to_say("{feature} is {um}, allowed up to {upper}; the guard band is {guard}.")
        return say(text, **values, upper=upper)
    if upper is None:
        text = to_say("{feature} is {um}, allowed from {lower}; the guard band is {guard}.")
        return say(text, **values, lower=lower)
    text = to_say("{feature} is {um}, allowed from {lower} to {upper}; the guard band is {guard}.")
    return say(text, **values, lower=lower, upper=upper)


def spread_reason(left: Left, limits: Limits) -> str:
    """Return why the tightest place cannot be brought up."""
    return say(
        "The tightest place lies {spread} below the widest and needs {needed} more to be proven; the "
        "widest has {room} left.",
        spread=lengths.said(left.wide.um - left.tight.um, 1),
        needed=lengths.said(limits.lower + left.guard_um - left.tight.um, 1),
        room=lengths.said(max(limits.upper - left.guard_um - left.wide.um, 0.0), 1),
    )


FEATURES = {
    "taper": to_say("Taper"),
    "barrel": to_say("Barrel"),
    "twist": to_say("Twist"),
    "ovality": to_say("Ovality"),
    "roundness": to_say("Roundness"),
    "size_range": to_say("The range of sizes"),
}
