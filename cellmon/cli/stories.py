"""The lines about parts: one block's story, and the parts on hold."""

from __future__ import annotations

from collections.abc import Sequence

from cellmon.cli.showing import Look
from cellmon.cli.terminal import figure, table, text
from cellmon.cli.wording import listed, number, plural, signed, when
from cellmon.monitor.flags import FlagRow
from cellmon.monitor.hold import Hold
from cellmon.monitor.part import PartStory
from cellmon.monitor.part_bores import PartMeasurement, drawn
from cellmon.monitor.part_judged import JudgedAgainst, figure_name, side_by_side
from cellmon.records import Verdict

ALWAYS = ("average", "diameter", "taper", "barrel", "ovality", "roundness")
"""Features that a narrow terminal shows too."""
WITHOUT_SIGN = ("roundness", "size_range")


def part_lines(
    answer: PartStory, look: Look, *, planes: Sequence[str], directions: Sequence[str]
) -> list[str]:
    """Return a block's story: what was measured, what that means, every reading, its signals."""
    lines = [answer.sentence, "", *_feature_table(answer.measurements, look)]
    lines += ["", "Readings, um from nominal (plane and direction):"]
    lines += _reading_table(answer.measurements, look, planes=planes, directions=directions)
    told = drawn(answer.measurements)
    if any(m.judged for m in told):
        lines += ["", _rule_line(answer.measurements), *_judged_table(told, look)]
    if answer.happened:
        lines += ["", "What happened to it:", *_happened_table(answer, look)]
    if answer.held_for:
        lines += ["", "Held for:", *_held_table(answer, look)]
    elif answer.signals:
        lines += ["", f"Part of {plural(len(answer.signals), 'signal')}: {listed(answer.signals)}."]
    for given in answer.dispositions:
        when_ = when(given.at, look.zone)
        lines.append(f"disposition: {given.as_} by {given.by}, {when_}, for {given.signal}: {given.why}")
    for m in answer.measurements:
        lines += [_doubt_line(m, doubt) for doubt in m.doubts]
    if answer.traces:
        lines += ["", *(bore.sentence for bore in answer.traces)]
    if any(m.origins for m in answer.measurements):
        lines += ["", "Made so, and read from:", *_made_table(answer.measurements, look)]
    return [*lines, "", answer.meant]


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
        *(figure(f"{name} um", spare=name not in ALWAYS) for name in names),
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
            m.stage,
            m.fixture,
            m.stone_set,
            *(_feature(m, name, look) for name in names),
            m.verdict,
            "yes" if m.charted else "no",
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
    how = (
        f"guarded rule, conformance {100 * (m.conformance or 0):g} %"
        if m.rule == "guarded"
        else "simple rule"
    )
    versions = sorted({x.sheet_version for x in measurements if x.sheet_version is not None})
    return f"Judged by sheet version {listed([str(v) for v in versions])}, {how}; the worst figure decides:"


def _judged_table(measurements: Sequence[PartMeasurement], look: Look) -> list[str]:
    columns = (
        text("figure um"),
        figure("lower"),
        figure("upper"),
        figure("guard band", spare=True),
        *(figure(f"bore {m.bore}") for m in measurements),
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
    return value if judged.verdict is Verdict.CONFORMS else f"{value} {judged.verdict}"


def _happened_table(answer: PartStory, look: Look) -> list[str]:
    rows = [[when(e.at, look.zone), e.what, e.words] for e in answer.happened]
    return table((text("when"), text("what"), text("of it", flexible=True)), rows, width=look.width)


def _held_table(answer: PartStory, look: Look) -> list[str]:
    rows = []
    for s in answer.held_for:
        became = None if s.disposition is None else f"{s.disposition.as_} by {s.disposition.by}"
        rows.append([s.id, s.state, listed(s.bores), became or "nothing decided yet", s.words])
    columns = (
        text("signal"),
        text("state"),
        text("bores"),
        text("became"),
        text("what moved", flexible=True),
    )
    return table(columns, rows, width=look.width)


def _doubt_line(m: PartMeasurement, doubt: FlagRow) -> str:
    by = f", {doubt.by}: {doubt.why}" if doubt.by else ""
    return f"doubted: bore {m.bore}, {m.gauge}: {doubt.words} ({doubt.flag}, {doubt.state}{by})"


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
        [m.bore, m.gauge, *_stones_cells(m), m.operator, *_process_cells(m), o.file, f"{o.line:,}"]
        for m in measurements
        for o in m.origins
    ]
    return table(columns, rows, width=look.width)


def _stones_cells(m: PartMeasurement) -> list[str | None]:
    if m.stones is None or m.stones.bores_since is None:
        return [None, None]
    return [f"{m.stones.bores_since:,}", m.stones.what]


def _process_cells(m: PartMeasurement) -> list[str | None]:
    names = ("cycle_s", "load_pct", "part_temp_c")
    return [None if m.process is None else number(getattr(m.process, n), decimals=1) for n in names]


def hold_lines(answer: Hold, look: Look) -> list[str]:
    """Return a hold list: from where to where, the caution, then every bore."""
    if not answer.parts:
        return [f"No part is on hold for signal {answer.signal}.", answer.caution]
    serials = dict.fromkeys(p.part for p in answer.parts)
    waiting = dict.fromkeys(p.part for p in answer.parts if p.disposition is None)
    verdicts = [p.verdict for p in answer.parts]
    counts = ", ".join(f"{verdicts.count(v):,} {v}" for v in dict.fromkeys(verdicts))
    columns = (text("part"), text("bore"), text("measured"), text("verdict"), text("became", flexible=True))
    rows = [[p.part, p.bore, when(p.measured_at, look.zone), p.verdict, p.disposition] for p in answer.parts]
    return [
        f"Signal {answer.signal}: contain {plural(len(serials), 'part')} from {answer.from_part} to "
        f"{answer.to_part}; {len(waiting):,} still without a disposition.",
        f"Bores: {counts}.",
        answer.caution,
        "",
        *table(columns, rows, width=look.width),
    ]
