"""The lines about parts: one block's story, and the parts on hold."""

from __future__ import annotations

from collections.abc import Sequence

from cellmon.cli.showing import Look
from cellmon.cli.terminal import figure, table, text
from cellmon.cli.wording import count, listed, number, plain, said, signed, when, yes_no
from cellmon.monitor.flags import FlagRow
from cellmon.monitor.hold import Hold
from cellmon.monitor.part import PartStory
from cellmon.monitor.part_bores import PartMeasurement, drawn
from cellmon.monitor.part_judged import JudgedAgainst, figure_name, side_by_side
from cellmon.monitor.part_said import older_lists
from cellmon.monitor.part_signals import Disposition, PartSignal
from cellmon.records import Verdict
from cellmon.words import say, say_many

ALWAYS = ("average", "diameter", "taper", "barrel", "ovality", "roundness")
"""Features that a narrow terminal shows too."""
WITHOUT_SIGN = ("roundness", "size_range")


def part_lines(
    answer: PartStory, look: Look, *, planes: Sequence[str], directions: Sequence[str]
) -> list[str]:
    """Return a block's story: what was measured, what that means, every reading, its signals."""
    lines = [answer.sentence, "", *_feature_table(answer.measurements, look)]
    lines += ["", say("Readings, um from nominal (plane and direction):")]
    lines += _reading_table(answer.measurements, look, planes=planes, directions=directions)
    told = drawn(answer.measurements)
    if any(m.judged for m in told):
        lines += ["", _rule_line(answer.measurements), *_judged_table(told, look)]
    if answer.happened:
        lines += ["", say("What happened to it:"), *_happened_table(answer, look)]
    if answer.held_for:
        lines += ["", say("Held for:"), *_held_table(answer.held_for, look)]
    elif answer.signals:
        lines += ["", _signals_line(answer.signals)]
    if answer.on_lists:
        lines += ["", say("Also on hold lists:"), *_held_table(answer.on_lists, look)]
        lines += [older for older in [older_lists(answer)] if older]
    lines += [_disposition_line(given, look) for given in answer.dispositions]
    for m in answer.measurements:
        lines += [_doubt_line(m, doubt) for doubt in m.doubts]
    if answer.traces:
        lines += ["", *(bore.sentence for bore in answer.traces)]
    if any(m.origins for m in answer.measurements):
        lines += ["", say("Made so, and read from:"), *_made_table(answer.measurements, look)]
    return [*lines, "", answer.meant]


def _signals_line(signals: Sequence[str]) -> str:
    return say_many(
        "Part of {n} signal: {signals}.",
        "Part of {n} signals: {signals}.",
        len(signals),
        n=count(len(signals)),
        signals=listed(signals),
    )


def _disposition_line(given: Disposition, look: Look) -> str:
    return say(
        "disposition: {disposition} by {by}, {at}, for {signal}: {why}",
        disposition=say(given.as_),
        by=given.by,
        at=when(given.at, look.zone),
        signal=given.signal,
        why=given.why,
    )


def _feature(m: PartMeasurement, name: str, look: Look) -> str | None:
    value = m.features.get(name)
    return number(value, decimals=look.um) if name in WITHOUT_SIGN else signed(value, decimals=look.um)


def _feature_table(measurements: Sequence[PartMeasurement], look: Look) -> list[str]:
    names = list(dict.fromkeys(name for m in measurements for name in m.features))
    columns = (
        text("bore"),
        text("measured"),
        text("spindle"),
        text("gauge", spare=True),
        text("stage", spare=True),
        text("fixture", spare=True),
        text("stone set", spare=True),
        *(figure(say("{name} um", name=say(name)), spare=name not in ALWAYS) for name in names),
        text("verdict"),
        text("charted", spare=True),
        text("flags", flexible=True),
    )
    rows = [
        [
            m.bore,
            when(m.at, look.zone),
            m.spindle,
            m.gauge,
            said(m.stage),
            m.fixture,
            m.stone_set,
            *(_feature(m, name, look) for name in names),
            said(m.verdict),
            yes_no(m.charted),
            ", ".join(m.flags),
        ]
        for m in measurements
    ]
    return table(columns, rows, width=look.width)


def _reading_table(
    measurements: Sequence[PartMeasurement], look: Look, *, planes: Sequence[str], directions: Sequence[str]
) -> list[str]:
    from cellmon.export.tables import readings_by_name

    read = [readings_by_name(m.um, planes, directions) for m in measurements]
    names = list(dict.fromkeys(name for row in read for name in row))
    columns = [
        text("bore"),
        text("measured"),
        *(figure(n.removesuffix("_um").replace("_", " ")) for n in names),
    ]
    rows = [
        [m.bore, when(m.at, look.zone), *(signed(row.get(name), decimals=look.um) for name in names)]
        for m, row in zip(measurements, read, strict=True)
    ]
    return table(columns, rows, width=look.width)


def _rule_line(measurements: Sequence[PartMeasurement]) -> str:
    m = measurements[0]
    versions = sorted({x.sheet_version for x in measurements if x.sheet_version is not None})
    sheet = listed([str(v) for v in versions])
    if m.rule != "guarded":
        return say("Judged by sheet version {sheet}, simple rule; the worst figure decides:", sheet=sheet)
    return say(
        "Judged by sheet version {sheet}, guarded rule, conformance {share} %; the worst figure decides:",
        sheet=sheet,
        share=plain(100 * (m.conformance or 0)),
    )


def _judged_table(measurements: Sequence[PartMeasurement], look: Look) -> list[str]:
    columns = (
        text("figure um"),
        figure("lower"),
        figure("upper"),
        figure("guard band", spare=True),
        *(figure(say("bore {bore}", bore=m.bore)) for m in measurements),
    )
    rows = [
        [
            figure_name(row.feature, row.figure),
            signed(row.lower_um, decimals=look.um),
            signed(row.upper_um, decimals=look.um),
            number(row.guard_um, decimals=2),
            *(_against(judged, look) for judged in row.of),
        ]
        for row in side_by_side(measurements)
    ]
    return table(columns, rows, width=look.width)


def _against(judged: JudgedAgainst | None, look: Look) -> str | None:
    if judged is None:
        return None
    value = signed(judged.value_um, decimals=look.um) or "-"
    return value if judged.verdict is Verdict.CONFORMS else f"{value} {say(judged.verdict)}"


def _happened_table(answer: PartStory, look: Look) -> list[str]:
    rows = [[when(e.at, look.zone), say(e.what), e.words] for e in answer.happened]
    return table((text("when"), text("what"), text("of it", flexible=True)), rows, width=look.width)


def _held_table(signals: Sequence[PartSignal], look: Look) -> list[str]:
    rows = [[s.id, say(s.state), listed(s.bores), _became(s), s.words] for s in signals]
    columns = (
        text("signal"),
        text("state"),
        text("bores"),
        text("became"),
        text("what moved", flexible=True),
    )
    return table(columns, rows, width=look.width)


def _became(s: PartSignal) -> str:
    given = s.disposition
    if given is None:
        return say("nothing decided yet")
    return say("{disposition} by {by}", disposition=say(given.as_), by=given.by)


def _doubt_line(m: PartMeasurement, doubt: FlagRow) -> str:
    told = {
        "bore": m.bore,
        "gauge": m.gauge,
        "words": doubt.words,
        "flag": doubt.flag,
        "state": say(doubt.state),
    }
    if not doubt.by:
        return say("doubted: bore {bore}, {gauge}: {words} ({flag}, {state})", **told)
    return say(
        "doubted: bore {bore}, {gauge}: {words} ({flag}, {state}, {by}: {why})",
        **told,
        by=doubt.by,
        why=doubt.why,
    )


def _made_table(measurements: Sequence[PartMeasurement], look: Look) -> list[str]:
    columns = (
        text("bore"),
        text("gauge"),
        figure("stones' bores"),
        text("since", spare=True),
        text("operator", spare=True),
        figure("cycle s", spare=True),
        figure("load %", spare=True),
        figure("part C", spare=True),
        text("file", flexible=True),
        figure("line"),
    )
    rows = [
        [m.bore, m.gauge, *_stones_cells(m), m.operator, *_process_cells(m), o.file, count(o.line)]
        for m in measurements
        for o in m.origins
    ]
    return table(columns, rows, width=look.width)


def _stones_cells(m: PartMeasurement) -> list[str | None]:
    if m.stones is None or m.stones.bores_since is None:
        return [None, None]
    return [count(m.stones.bores_since), said(m.stones.what)]


def _process_cells(m: PartMeasurement) -> list[str | None]:
    names = ("cycle_s", "load_pct", "part_temp_c")
    return [None if m.process is None else number(getattr(m.process, n), decimals=1) for n in names]


def hold_lines(answer: Hold, look: Look) -> list[str]:
    """Return a hold list: from where to where, the caution, then every bore."""
    if not answer.parts:
        return [say("No part is on hold for signal {signal}.", signal=answer.signal), answer.caution]
    verdicts = [p.verdict for p in answer.parts]
    counts = ", ".join(f"{count(verdicts.count(v))} {say(v)}" for v in dict.fromkeys(verdicts))
    columns = (text("part"), text("bore"), text("measured"), text("verdict"), text("became", flexible=True))
    rows = [
        [p.part, p.bore, when(p.measured_at, look.zone), said(p.verdict), said(p.disposition)]
        for p in answer.parts
    ]
    return [
        _contain(answer),
        say("Bores: {counts}.", counts=counts),
        *(f"{one.words[:1].upper()}{one.words[1:]}." for one in answer.extended),
        answer.caution,
        "",
        *table(columns, rows, width=look.width),
    ]


def _contain(answer: Hold) -> str:
    serials = {p.part for p in answer.parts}
    waiting = {p.part for p in answer.parts if p.disposition is None}
    return say_many(
        "Signal {signal}: contain {n} part from {first} to {last}; {waiting} still without a disposition.",
        "Signal {signal}: contain {n} parts from {first} to {last}; {waiting} still without a disposition.",
        len(serials),
        signal=answer.signal,
        n=count(len(serials)),
        first=answer.from_part,
        last=answer.to_part,
        waiting=count(len(waiting)),
    )
