"""What the record of honing by hand says beside its tables: clearances, stones, crosshatch, gauge, rule."""

from __future__ import annotations

from collections.abc import Iterator

from cellmon.local import number, significant
from cellmon.monitor.bore.clearances import BoreClearance
from cellmon.monitor.bore.record_results import HandRecord
from cellmon.records import Verdict
from cellmon.words import say, to_say

VERDICTS = {
    Verdict.CONFORMS: to_say("conforms"),
    Verdict.UNDECIDED: to_say("not proven"),
    Verdict.DOES_NOT_CONFORM: to_say("does not conform"),
}


def um_words(value: float | None, digits: int = 1) -> str:
    """Return a deviation with its sign, in µm; nothing where it is not known."""
    return "" if value is None else number(value, digits, sign=bool(round(value, digits)))


def told_facts(record: HandRecord) -> Iterator[tuple[str, str]]:
    """Yield what stands below the rounds, name by name; room to write on a blank form."""
    fill = record.blank
    yield say("clearances"), "\u00a0" if fill else _clearances(record)
    yield say("stones"), "\u00a0" if fill else _stones(record)
    yield say("crosshatch"), "\u00a0" if fill else _crosshatch(record)
    yield say("gauge"), _gauge(record)
    yield say("its checks"), "\u00a0\n\u00a0" if fill else _checks(record)
    yield say("decision rule"), record.decision


def _clearances(record: HandRecord) -> str:
    found = []
    for one in record.bores:
        room = one.answer.clearance
        if room is None:
            continue
        words = to_say("bore {bore}: {part} {least} µm at the tightest place, {mean} µm on average")
        values = {"least": number(room.least_um, 1), "mean": number(room.mean_um, 1)}
        found.append(say(words, bore=one.bore, part=room.mating_part, **values) + _allowed(room))
    return "; ".join(found) or say("not measured")


def _allowed(room: BoreClearance) -> str:
    return "" if room.verdict is None else f" ({say(VERDICTS[room.verdict])})"


def _stones(record: HandRecord) -> str:
    names = dict.fromkeys((s.stones, s.checked) for one in record.bores for s in one.stones)
    found = [
        f"{name or say('stones not named')}: {checked or say('thicknesses not measured')}"
        for name, checked in names
    ]
    return "; ".join(found) or say("no stroke was made")


def _crosshatch(record: HandRecord) -> str:
    found = []
    for one in record.bores:
        hatch = one.answer.crosshatch
        if hatch is not None and hatch.measured_deg is not None:
            found.append(say("bore {bore}: {deg}° measured", bore=one.bore, deg=number(hatch.measured_deg)))
        elif hatch is not None and hatch.mid_stroke_deg is not None:
            text_ = to_say(
                "bore {bore}: {deg}° included mid-stroke, worked out from {rpm} 1/min and {rate} strokes/min"
            )
            values = {"rpm": number(hatch.rpm or 0), "rate": number(hatch.strokes_per_min or 0)}
            found.append(say(text_, bore=one.bore, deg=number(hatch.mid_stroke_deg), **values))
    why = next((one.answer.crosshatch.why_not for one in record.bores if one.answer.crosshatch), None)
    return "; ".join(found) or (say("not known: {why}", why=why) if why else say("not measured"))


def _gauge(record: HandRecord) -> str:
    gauge = record.gauge
    words = [gauge.gauge or say("not named")]
    if gauge.set_on:
        words.append(say("set on {what}", what=gauge.set_on))
    if gauge.resolution_um is not None:
        words.append(say("reads to {um} µm", um=significant(gauge.resolution_um)))
    if gauge.common_um is None or gauge.reading_um is None:
        words.append(say("the sheet states no uncertainty: 1 µm common and 1 µm a reading are taken (k = 1)"))
    else:
        text_ = to_say("standard uncertainty {common} µm common and {reading} µm a reading (k = 1)")
        values = {"common": significant(gauge.common_um, 3), "reading": significant(gauge.reading_um, 3)}
        words.append(say(text_, **values))
    return ", ".join(words)


def _checks(record: HandRecord) -> str:
    states = {"as-found": say("as found"), "as-left": say("as left")}
    found = [
        say(
            "{state} {um} µm at {at}",
            state=states.get(c.state, c.state),
            um=um_words(c.zero_um),
            at=f"{c.at:%H:%M}",
        )
        for c in record.gauge.checks
    ]
    sign = say("sign checked") if record.gauge.sign_checked else say("sign not checked")
    return "; ".join([*(found or [say("not checked on its master")]), sign])
