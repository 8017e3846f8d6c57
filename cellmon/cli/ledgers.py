"""The lines about what was taken and decided: files, rows set aside, doubts, limits, the check."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from cellmon.cli.arguments import newest
from cellmon.cli.showing import Look
from cellmon.cli.terminal import figure, table, text
from cellmon.cli.wording import count, listed, number, plural, reasons, signed, when
from cellmon.monitor.alike import LikeParts
from cellmon.monitor.answers import BaselineSummary
from cellmon.monitor.aside import Aside
from cellmon.monitor.baseline import Baselines, StreamBaseline
from cellmon.monitor.check import Check
from cellmon.monitor.files import Files
from cellmon.monitor.flags import FlagList, FlagRow
from cellmon.monitor.limits_age import DeclaredChange, age_sentence
from cellmon.monitor.splits import SplitSummary
from cellmon.monitor.take import FileTaken, Taken

FIRST_ROWS = 10
"""Rows set aside that `take` itself shows; `cellmon aside` lists all."""


def taken_lines(answer: Taken, look: Look) -> list[str]:
    """Return what became of every file, and the first rows set aside."""
    files = answer.files
    if not files:
        return ["Nothing was waiting to be taken."]
    aside = [(f.file, row) for f in files for row in f.set_aside]
    columns = (
        text("file", flexible=True),
        text("kind"),
        figure("rows"),
        figure("taken"),
        figure("known"),
        figure("set aside"),
        figure("flagged"),
        figure("bores", spare=True),
        figure("signals", spare=True),
        figure("s", spare=True),
    )
    lines = [taken_sentence(files), "", *table(columns, [_file_row(f) for f in files], width=look.width)]
    lines += [f"{f.file}: {f.why_not}" for f in files if f.why_not]
    if aside:
        shown = [[file, str(row.line), row.reason, row.text] for file, row in aside[:FIRST_ROWS]]
        heads = (text("file"), figure("line"), text("reason"), text("row", flexible=True))
        lines += ["", "Set aside:", *table(heads, shown, width=look.width)]
    if len(aside) > FIRST_ROWS:
        lines.append(f"and {len(aside) - FIRST_ROWS:,} more; cellmon aside lists all")
    return lines


def taken_sentence(files: Sequence[FileTaken]) -> str:
    """Return one sentence over all files, in which the counts add up to the rows."""
    rows, taken, known = (sum(getattr(f, name) for f in files) for name in ("rows", "taken", "known"))
    aside = sum(len(f.set_aside) for f in files)
    return (
        f"{plural(len(files), 'file')} with {plural(rows, 'row')}: {taken:,} taken, {known:,} already known, "
        f"{aside:,} set aside; {plural(sum(f.signals for f in files), 'new signal')}."
    )


def _file_row(f: FileTaken) -> list[str | None]:
    figures = (f.rows, f.taken, f.known, len(f.set_aside), f.flagged, f.bores, f.signals)
    return [f.file, f.kind, *map(count, figures), number(f.seconds, decimals=1)]


def files_lines(answer: Files, look: Look) -> list[str]:
    """Return the files: a sentence, then each with what became of its rows."""
    columns = (
        text("file", flexible=True),
        text("kind"),
        text("taken at"),
        figure("rows"),
        figure("taken"),
        figure("known"),
        figure("set aside"),
        figure("waiting"),
        figure("flagged"),
    )
    rows = [
        [
            f.file,
            f.kind,
            when(f.at, look.zone),
            *map(count, (f.rows, f.taken, f.known, f.set_aside, f.waiting, f.flagged)),
        ]
        for f in answer.files
    ]
    if not rows:
        return [answer.sentence]
    lines = [answer.sentence, "", *table(columns, rows, width=look.width)]
    return lines + newest(answer.total, last=len(rows))


def aside_lines(answer: Aside, look: Look, *, last: int) -> list[str]:
    """Return the rows set aside: how many by reason, then each; `last` 0 shows all."""
    waiting = [row for row in answer.rows if row.state == "waiting"]
    if not answer.rows:
        return ["No row was ever set aside."]
    by_reason = Counter(row.reason for row in waiting).most_common()
    sentence = f"{plural(len(waiting), 'row waits', 'rows wait')} of {len(answer.rows):,} set aside"
    sentence += f": {', '.join(f'{n:,} {reason}' for reason, n in by_reason)}." if waiting else "."
    columns = (
        text("file"),
        figure("line"),
        text("reason"),
        text("state"),
        text("row", flexible=True),
    )
    shown = answer.rows[:last] if last else answer.rows
    rows = [[r.file, str(r.line), r.reason, r.state, r.text] for r in shown]
    lines = [sentence, "", *table(columns, rows, width=look.width), *newest(len(answer.rows), last=last)]
    if waiting:
        lines += ["", "After the cause is mended (sheet or file): cellmon aside --retry"]
    return lines


def flags_lines(answer: FlagList, look: Look, *, last: int) -> list[str]:
    """Return the doubts: how many wait, then each with its proposal; `last` 0 shows all."""
    waiting = [f for f in answer.flags if f.state == "open"]
    if not answer.flags:
        return ["No measurement is doubted."]
    by_flag = Counter(f.flag for f in waiting).most_common()
    sentence = f"{plural(len(waiting), 'doubt waits', 'doubts wait')} of {len(answer.flags):,}"
    sentence += f": {', '.join(f'{n:,} {flag}' for flag, n in by_flag)}." if waiting else "."
    columns = (
        text("flag id"),
        text("doubt"),
        text("state"),
        text("measured"),
        text("part"),
        text("bore"),
        text("spindle", spare=True),
        text("what", flexible=True),
        text("proposal", flexible=True),
    )
    lines = [sentence, "They are judged, but kept out of limits and indices until decided.", ""]
    lines += table(columns, [_flag_row(f, look) for f in answer.flags[-last:]], width=look.width)
    lines += newest(len(answer.flags), last=last)
    if waiting:
        lines += [
            "",
            f"Decide one: cellmon correct {waiting[0].id} --accept --by NAME --why TEXT (or --keep)",
        ]
    return lines


def _flag_row(f: FlagRow, look: Look) -> list[str | None]:
    state = f.state if f.by is None else f"{f.state} by {f.by}"
    return [f.id, f.flag, state, when(f.at, look.zone), f.part, f.bore, f.spindle, f.words, f.proposal]


def baseline_lines(answer: Baselines, look: Look) -> list[str]:
    """Return the limits in force and those proposed, a row a stream."""
    streams = answer.baselines
    frozen = sum(b.in_force is not None and not b.in_force.provisional for b in streams)
    columns = (
        text("stream"),
        figure("version", spare=True),
        figure("centre um"),
        figure("sigma um", spare=True),
        text("in force"),
        text("frozen at", spare=True),
        figure("new centre um"),
        figure("new sigma um", spare=True),
        figure("subgroups"),
        figure("left out", spare=True),
        text("window", spare=True),
    )
    lines = [
        f"{frozen:,} of {plural(len(streams), 'stream')} {'has' if frozen == 1 else 'have'} frozen limits.",
        "",
    ]
    lines += table(columns, [_baseline_row(b, look) for b in streams], width=look.width)
    if frozen < len(streams):
        lines += ["", "Freeze what is proposed: cellmon baseline --freeze --all --by NAME --why TEXT"]
    lines += _age_lines(streams, look)
    lines += like_lines(answer.like_parts)
    return lines + reasons([b.stream for b in streams], [b.why_not for b in streams])


def _age_lines(streams: Sequence[StreamBaseline], look: Look) -> list[str]:
    """Return which frozen limits are older than a declared change, those of the same changes in one line."""
    groups: dict[tuple[DeclaredChange, ...], list[StreamBaseline]] = {}
    for one in streams:
        if one.limits_age is not None:
            groups.setdefault(one.limits_age.changes, []).append(one)
    lines = []
    for changes, those in groups.items():
        until = max(one.limits_age.rest_until for one in those if one.limits_age is not None)
        names = listed(look.name(one.stream) for one in those)
        lines.append(f"limits: {names}: {age_sentence(until, changes)}")
    return ["", *lines] if lines else []


def _baseline_row(b: StreamBaseline, look: Look) -> list[str | None]:
    window = None
    if b.window_from is not None and b.window_to is not None:
        window = f"{when(b.window_from, look.zone)} to {when(b.window_to, look.zone)}"
    return [
        look.name(b.stream),
        str(b.version),
        *_centre_and_sigma(b.in_force, look),
        _footing(b.in_force),
        when(None if b.in_force is None else b.in_force.frozen_at, look.zone),
        *_centre_and_sigma(b.proposed, look),
        count(b.subgroups),
        count(b.left_out),
        window,
    ]


def _centre_and_sigma(b: BaselineSummary | None, look: Look) -> tuple[str | None, str | None]:
    if b is None:
        return None, None
    return signed(b.center_um, decimals=look.um), number(b.sigma_um, decimals=look.um + 1)


def _footing(b: BaselineSummary | None) -> str | None:
    if b is None:
        return None
    return "provisional" if b.provisional else f"frozen by {b.by}"


def check_lines(answer: Check, look: Look) -> list[str]:
    """Return whether sheet and store are sound, what is switched off and what differs."""
    sound = "The sheet and the store are sound." if answer.sound else "The store is not sound."
    lines = [sound, f"As of {when(answer.as_of, look.zone)}, sheet version {answer.sheet} is in force."]
    if answer.differs:
        lines.append(
            f"The sheet on disk would change {listed(answer.differs)}; it is not used until adopted:"
        )
        lines.append("  cellmon adopt --by NAME --why TEXT")
    lines += [f"switched off: {words}" for words in answer.switched_off]
    lines += [f"note: {words}" for words in answer.remarks]
    lines += _split_lines(answer.splits) + like_lines(answer.like_parts)
    return lines if answer.rebuilt is None else [*lines, answer.rebuilt]


def _split_lines(found: SplitSummary) -> list[str]:
    """Return each split that is proposed with what to write, or that none is, and what could not be asked."""
    lines = []
    for one in found.proposed:
        lines.append(f"split: {one.words} Last parts: {one.high_part} above, {one.low_part} below.")
        lines.append(f"  First see whether it is a fault that can be mended. If it is to stay: {one.write}.")
    if found.asked and not found.proposed:
        lines.append(
            f"splits: none proposed. {plural(found.asked, 'question')} of fixture, side and order asked; "
            "none lastingly moves a feature by more than half a sigma"
        )
    return lines + [f"splits: {by} not asked everywhere: {why}" for by, why in sorted(found.why_not.items())]


def like_lines(found: Sequence[LikeParts]) -> list[str]:
    """Return whether the parts that are charted together are alike, and where they aim apart."""
    return [
        line for one in found for line in (f"like parts: {one.sentence}", *map("  {}".format, one.remarks))
    ]
