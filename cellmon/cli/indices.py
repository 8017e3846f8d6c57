"""The lines of the answer about capability: indices, what they are worth, and who signed them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from cellmon import lengths, local
from cellmon.cli.showing import Look
from cellmon.cli.terminal import figure, table, text
from cellmon.cli.wording import as_of_line, at_least, count, interval, number, ppm, reasons, said, signed
from cellmon.records.words import feature_words
from cellmon.words import say, to_say

if TYPE_CHECKING:
    from cellmon.monitor.capability import CapabilityAnswer
    from cellmon.monitor.capability_pooling import PooledCapability
    from cellmon.monitor.capability_stream import StreamCapability

REQUIRED = to_say(
    "Required: {index}. 'At least' is the one-sided lower bound at {confidence}% of the index the claim "
    "rests on; intervals stand beside each index."
)


def capability_lines(answer: CapabilityAnswer, look: Look) -> list[str]:
    """Return the indices: a sentence, a row a stream, then what forbids each claim."""
    columns = (
        text("stream"),
        figure("bores"),
        figure("mean um", spare=True),
        figure("sd within um", spare=True),
        figure("sd total um", spare=True),
        text("Cp", spare=True),
        text("Cpk", spare=True),
        text("Pp", spare=True),
        text("Ppk"),
        figure("at least"),
        figure("ppm expected", spare=True),
        figure("ppm seen", spare=True),
        text("claim"),
    )
    confidence = local.significant(100 * answer.confidence, 3)
    lines = [
        answer.sentence,
        say(REQUIRED, index=number(answer.required, decimals=2), confidence=confidence),
        as_of_line(answer.as_of, answer.sheet, look.zone),
        "",
    ]
    lines += table(columns, [_capability_row(s, look) for s in answer.capability], width=look.width)
    forbidden = [f"  {look.name(s.stream)}: {' '.join(s.reasons)}" for s in answer.capability if s.reasons]
    if forbidden:
        lines += ["", say("What forbids or weakens a claim:"), *forbidden]
    lines += signature_lines(answer, look)
    lines += _behaviour_lines(answer, look) + _pooling_lines(answer)
    found = reasons([row.stream for row in answer.capability], [row.why_not for row in answer.capability])
    return [*lines, "", *found] if found else lines


def signature_lines(answer: CapabilityAnswer, look: Look) -> list[str]:
    """Return who signed the figures, streams of one sentence together; none where nobody is asked to."""
    signed_by: dict[str, list[str]] = {}
    for s in answer.capability:
        if s.signature is not None:
            signed_by.setdefault(s.signature.sentence, []).append(look.name(s.stream))
    if len(signed_by) == 1:
        return ["", *signed_by]
    lines = [f"  {', '.join(names)}: {sentence}" for sentence, names in signed_by.items()]
    return ["", say("Signatures:"), *lines] if lines else []


def _behaviour_lines(answer: CapabilityAnswer, look: Look) -> list[str]:
    """Return how the bores of each stream behave in time, what they are worth and where nearly all lie."""
    from cellmon.monitor.capability_words import within_words  # late: slow to import

    lines = []
    for s in answer.capability:
        if s.time_model is None:
            continue
        told = [
            say("{behaviour}. Indices by: {model}.", behaviour=s.time_model, model=s.model or say("none"))
        ]
        if s.effective_n is not None:
            told.append(
                say(
                    "Neighbours correlate by {correlation}: worth {bores} bores.",
                    correlation=number(s.correlation, decimals=2),
                    bores=count(s.effective_n),
                )
            )
        if s.ppk_process is not None:
            ppk = interval(s.ppk_process, decimals=2)
            told.append(say("Without the gauge's noise Ppk is {ppk}.", ppk=ppk))
        if s.tolerance_interval is not None:
            told.append(within_words(s.tolerance_interval, lengths.UM))
        lines.append(f"  {look.name(s.stream)}: {' '.join(told)}")
    return ["", say("How the bores behave:"), *lines] if lines else []


def _pooling_lines(answer: CapabilityAnswer) -> list[str]:
    lines = [f"  {feature_words(p.feature)}: {_pooled_words(p)}" for p in answer.pooled]
    return ["", say("Streams of one feature together:"), *lines] if lines else []


def _pooled_words(p: PooledCapability) -> str:
    if not p.may_be_pooled:
        return " ".join(p.reasons)
    return say(
        "{bores} bores together, Ppk {ppk}, at least {least}.",
        bores=count(p.n),
        ppk=interval(p.ppk, decimals=2),
        least=at_least(p.lower_bound, decimals=2),
    )


def _capability_row(s: StreamCapability, look: Look) -> list[str | None]:
    return [
        look.name(s.stream),
        count(s.n),
        signed(s.mean_um, decimals=look.um),
        number(s.sd_within_um, decimals=look.um + 1),
        number(s.sd_total_um, decimals=look.um + 1),
        *(interval(index, decimals=2) for index in (s.cp, s.cpk, s.pp, s.ppk)),
        at_least(s.lower_bound, decimals=2),
        ppm(None if s.ppm_expected is None else s.ppm_expected.value),
        ppm(s.ppm_observed),
        said(s.claim),
    ]
