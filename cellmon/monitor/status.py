"""Carry on, look, or stop: what a spindle and a stream are told, in a word and a sentence."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from enum import StrEnum

from cellmon import local
from cellmon.judged import Bores
from cellmon.monitor.answers import Due
from cellmon.monitor.due import FirstBoresDue
from cellmon.monitor.forecast import BoresLeft
from cellmon.monitor.running import is_running
from cellmon.monitor.signals import Signal
from cellmon.monitor.view import View
from cellmon.records import Stream, Verdict
from cellmon.sheet.sections import Alarms
from cellmon.stats.normal import share_above, share_below
from cellmon.words import say, say_many, to_say

LIKELY = 0.01
"""A signal is told to make nonconforming parts likely from this share outside on."""
FRESH_S = 8 * 3600
REACHED = {
    (False, False): to_say(
        "{stream}: the lower limit may be reached within {bores} bores (1 in 20), if nothing is changed."
    ),
    (True, False): to_say(
        "{stream}: the upper limit may be reached within {bores} bores (1 in 20), if nothing is changed."
    ),
    (False, True): to_say(
        "{stream}: the lower limit may be reached within {bores} bores (1 in 20), half of the time within "
        "{half}, if nothing is changed."
    ),
    (True, True): to_say(
        "{stream}: the upper limit may be reached within {bores} bores (1 in 20), half of the time within "
        "{half}, if nothing is changed."
    ),
}
"""By whether it is the upper limit, and whether half of the ways reach it at all."""
OUTSIDE = to_say("The last bore {bore} ({part}) does not conform.")
NOT_PROVEN = to_say("The last bore {bore} ({part}) is not proven to conform.")


class Status(StrEnum):
    """What the machinist is asked to do."""

    CARRY_ON = to_say("carry on")
    LOOK = to_say("look")
    STOP = to_say("stop")


def waiting(signals: Sequence[Signal]) -> list[Signal]:
    """Return the signals nobody has answered."""
    return [s for s in signals if s.state in ("open", "reopened")]


def stream_status(
    view: View, stream: Stream, signals: Sequence[Signal], left: BoresLeft | None = None
) -> Status:
    """Return the status of one stream from its unanswered signals, its limits and the bores left to one."""
    if any(likely_outside(view, s) for s in signals) or _runs_out(view, left):
        return Status.STOP
    soon = _runs_low(view, left)
    return Status.LOOK if signals or soon or _provisional(view, stream) else Status.CARRY_ON


def _runs_out(view: View, left: BoresLeft | None) -> bool:
    thresholds = view.sheet.alarms or Alarms()
    return left is not None and left.p50 is not None and left.p50 < thresholds.stop_bores


def _runs_low(view: View, left: BoresLeft | None) -> bool:
    thresholds = view.sheet.alarms or Alarms()
    return left is not None and left.p05 is not None and left.p05 < thresholds.look_bores


def streams_run(view: View, spindle: str) -> list[Stream]:
    """Return the streams of a spindle's own bores, of the part it is running."""
    mine = [s for s in view.streams if s.spindle == spindle and view.routed(s)]
    return [s for s in mine if is_running(view, s, spindle)]


def _left_words(view: View, spindle: str, enough: Callable[[View, BoresLeft | None], bool]) -> str:
    """Return which stream of a spindle runs into a limit first, in words; empty where none soon does."""
    found = [(s, left) for s in streams_run(view, spindle) if (left := view.bores_left(s)) is not None]
    soon = [(s, left) for s, left in found if enough(view, left)]
    if not soon:
        return ""
    stream, left = min(soon, key=lambda one: one[1].p05 or 0.0)
    text = REACHED[left.side == "upper", left.p50 is not None]
    bores, half = local.number(left.p05 or 0.0), local.number(left.p50 or 0.0)
    return say(text, stream=view.name(stream), bores=bores, half=half)


def spindle_status(
    view: View, spindle: str, last: Bores, signals: Sequence[Signal], due: Sequence[Due]
) -> tuple[Status, str]:
    """Return the status of one spindle and the sentence that says why.

    `last` holds the last bore of each position, `signals` the spindle's unanswered ones, newest first.
    """
    if not len(last):
        return Status.LOOK, say("{spindle}: no bore measured yet.", spindle=spindle)
    stop = _unproven(last) or _bad_signal(view, spindle) or _left_words(view, spindle, _runs_out)
    if stop:
        return Status.STOP, say("{spindle}: stop. {why}", spindle=spindle, why=stop)
    look = _look(view, spindle, signals, due)
    if look:
        return Status.LOOK, say("{spindle}: {look}", spindle=spindle, look=look)
    text = to_say("{spindle}: carry on. The last bores conform and nothing is open.")
    return Status.CARRY_ON, say(text, spindle=spindle)


def _unproven(last: Bores) -> str:
    found = [i for i in range(len(last)) if last.verdict_of(i) is not Verdict.CONFORMS]
    if not found:
        return ""
    i = found[-1]
    outside = last.verdict_of(i) is Verdict.DOES_NOT_CONFORM
    return say(OUTSIDE if outside else NOT_PROVEN, bore=last.bore[i], part=last.part[i])


def _bad_signal(view: View, spindle: str) -> str:
    """Return the newest signal of the part now running that makes parts outside likely, in words."""
    lasting = reversed(view.register.lasting_at(spindle))  # of one that is over no parts are likely outside
    bad = (s for s in lasting if likely_outside(view, s) and is_running(view, s.stream, spindle))
    newest = next(bad, None)
    if newest is None:
        return ""
    text = to_say("{signal}, {at}: parts that do not conform are likely, and nobody has answered.")
    return say(text, signal=newest.words, at=local.moment(newest.raised_at))


def _look(view: View, spindle: str, signals: Sequence[Signal], due: Sequence[Due]) -> str:
    if signals and signals[0].age_s <= FRESH_S:
        return _fresh_words(signals[0], others=len(signals) - 1)
    first = [d for d in due if isinstance(d, FirstBoresDue)]
    if first:
        return say("look. {what}.", what=first[0].what)
    low = _left_words(view, spindle, _runs_low)
    if low:
        return say("look. {why}", why=low)
    if signals:
        return say_many(
            "the last bores conform; {count} older signal waits for an answer.",
            "the last bores conform; {count} older signals wait for an answer.",
            len(signals),
        )
    if any(_provisional(view, s) for s in streams_run(view, spindle)):
        return say("the last bores conform; the limits are provisional.")
    return ""


def _fresh_words(newest: Signal, *, others: int) -> str:
    if not others:
        return say("look. {what}.", what=newest.words)
    return say_many(
        "look. {signal} and {count} more open signal.",
        "look. {signal} and {count} more open signals.",
        others,
        signal=newest.words,
    )


def _provisional(view: View, stream: Stream) -> bool:
    limit = view.baseline(stream)
    return limit is None or limit.version == 0


def likely_outside(view: View, signal: Signal) -> bool:
    """Return whether bores made at a signal's level, or with its spread, are likely beyond a tolerance limit.

    Normal about the level (for a wide range, about the centre with the spread that range shows).
    """
    if signal.over or signal.kind not in ("level", "drift", "spread"):
        return False
    limit, tolerance = view.baseline(signal.stream), view.tolerance(signal.stream)
    if limit is None:
        return False
    level, sigma = limit.centre, limit.sigma
    if signal.size_um is not None:
        level += signal.size_um
    elif signal.ratio is not None:
        sigma *= signal.ratio
    share = 0.0
    if tolerance.upper_um is not None and sigma > 0:
        share += float(share_above((tolerance.upper_um - level) / sigma))
    if tolerance.lower_um is not None and sigma > 0:
        share += float(share_below((tolerance.lower_um - level) / sigma))
    return share > LIKELY
