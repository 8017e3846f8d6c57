"""The lines about parts: one block's story, and the parts on hold."""

from __future__ import annotations

from collections.abc import Sequence

from cellmon.cli.showing import Look
from cellmon.cli.terminal import figure, table, text
from cellmon.cli.wording import listed, number, plural, signed, when
from cellmon.monitor.hold import Hold
from cellmon.monitor.part import PartMeasurement, PartStory

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
    if answer.signals:
        lines += ["", f"Part of {plural(len(answer.signals), 'signal')}: {listed(answer.signals)}."]
    for given in answer.dispositions:
        lines.append("disposition: " + ", ".join(f"{name} {value}" for name, value in given.items()))
    return lines


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
