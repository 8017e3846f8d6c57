"""The lines about limits and their promise."""

from __future__ import annotations

from cellmon.cli.showing import Look
from cellmon.cli.terminal import figure, table, text
from cellmon.cli.wording import as_of_line, count, number, reasons, signed
from cellmon.monitor.departures import Departure
from cellmon.monitor.trust import StreamTrust, Trust
from cellmon.words import say, to_say

NAMES = (to_say("few subgroups"), to_say("neighbours"), to_say("gauge steps"), to_say("skew"))
OF_RANGES = (NAMES[0], NAMES[2], NAMES[3])


def trust_lines(answer: Trust, look: Look) -> list[str]:
    """Return how many limits are off, each stream's run lengths, and what would keep the promise."""
    known = [s for s in answer.streams if s.departures]
    lines = [answer.sentence, as_of_line(answer.as_of, answer.sheet, look.zone)]
    if known:
        lines += [
            "",
            say(
                "Points to a false alarm of means, where one in {promised} is promised; a dash where the "
                "bores show no such departure:",
                promised=number(known[0].promised, decimals=0),
            ),
            *_run_lengths(known, look),
            "",
            say(
                "Limits of means as they are, and those that keep the promise under one departure alone (um):"
            ),
            *_corrected(known, look),
            "",
            *(s.sentence for s in known if any(d.matters for d in s.departures)),
        ]
    why = reasons([s.stream for s in answer.streams], [s.why_not for s in answer.streams])
    return [*lines, *why, "", answer.caution]


def _run_lengths(streams: list[StreamTrust], look: Look) -> list[str]:
    columns = (
        text("stream"),
        figure("subgroups"),
        *(figure(name) for name in NAMES),
        figure("nine of ten baselines", spare=True),
        figure("ranges: promised", spare=True),
        *(figure(name, spare=True) for name in OF_RANGES),
    )
    rows = []
    for s in streams:
        by = {d.name: d for d in s.departures}
        few = by.get("few subgroups")
        rows.append(
            [
                look.name(s.stream),
                count(s.subgroups),
                *(_one_in(by.get(name)) for name in NAMES),
                say("{low} to {high}", low=count(few.low), high=count(few.high)) if few else None,
                count(s.range_promised),
                *(count(by[name].range_one_in) if name in by else None for name in OF_RANGES),
            ]
        )
    return table(columns, rows, width=look.width)


def _corrected(streams: list[StreamTrust], look: Look) -> list[str]:
    columns = (text("stream"), text("as they are"), *(text(name) for name in NAMES))
    rows = []
    for s in streams:
        by = {d.name: d for d in s.departures}
        lim = s.mean_limits
        rows.append(
            [
                look.name(s.stream),
                _pair(lim.lower, lim.upper) if lim else None,
                *(_of(by.get(name)) for name in NAMES),
            ]
        )
    return table(columns, rows, width=look.width)


def _one_in(one: Departure | None) -> str | None:
    """Return a run length; none where the bores show no such departure."""
    if one is None or (one.name in ("neighbours", "skew") and one.upper_um is None):
        return None
    return count(one.one_in)


def _of(one: Departure | None) -> str | None:
    return None if one is None or one.upper_um is None else _pair(one.lower_um, one.upper_um)


def _pair(lower: float | None, upper: float | None) -> str:
    low, high = (signed(v, decimals=2) for v in (lower, upper))
    return say("{low} to {high}", low=low or "-", high=high)
