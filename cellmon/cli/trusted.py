"""The lines about limits and their promise."""

from __future__ import annotations

from cellmon.cli.showing import Look
from cellmon.cli.terminal import figure, table, text
from cellmon.cli.wording import count, reasons, signed, when
from cellmon.monitor.departures import Departure
from cellmon.monitor.trust import StreamTrust, Trust

OF_RANGES = ("few subgroups", "gauge steps", "skew")
NAMES = ("few subgroups", "neighbours", "gauge steps", "skew")


def trust_lines(answer: Trust, look: Look) -> list[str]:
    """Return how many limits are off, each stream's run lengths, and what would keep the promise."""
    known = [s for s in answer.streams if s.departures]
    lines = [answer.sentence, f"As of {when(answer.as_of, look.zone)}, sheet version {answer.sheet}."]
    if known:
        lines += [
            "",
            f"Points to a false alarm of means, where one in {known[0].promised:.0f} is promised; a dash "
            "where the bores show no such departure:",
            *_run_lengths(known, look),
            "",
            "Limits of means as they are, and those that keep the promise under one departure alone (um):",
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
                f"{count(few.low)} to {count(few.high)}" if few else None,
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
    return f"{signed(lower, decimals=2) or '-'} to {signed(upper, decimals=2)}"
