"""The lines about what was taken and decided: files, rows set aside, doubts, limits."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from cellmon.cli.arguments import newest
from cellmon.cli.checked import like_lines
from cellmon.cli.showing import Look
from cellmon.cli.terminal import figure, table, text
from cellmon.cli.wording import count, listed, number, reasons, said, signed, when
from cellmon.monitor.answers import BaselineSummary
from cellmon.monitor.aside import Aside, AsideRow
from cellmon.monitor.baseline import Baselines, StreamBaseline
from cellmon.monitor.files import Files
from cellmon.monitor.flags import FlagList, FlagRow
from cellmon.monitor.limits_age import DeclaredChange, age_sentence
from cellmon.monitor.take import FileTaken, Taken
from cellmon.words import say, say_many, to_say

FIRST_ROWS = 10
"""Rows set aside that `take` itself shows; `cellmon aside` lists all."""
TAKEN_SENTENCE = to_say(
    "{files} with {rows}: {taken} taken, {known} already known, {aside} set aside; {signals}."
)
DECIDE_ONE = to_say("Decide one: cellmon correct {flag} --accept --by NAME --why TEXT (or --keep)")
FREEZE = to_say("Freeze what is proposed: cellmon baseline --freeze --all --by NAME --why TEXT")
STATES = (to_say("waiting"), to_say("taken"), to_say("open"), to_say("accepted"), to_say("kept"))
"""What can become of a row set aside or a doubt, as the monitor answers it."""


def taken_lines(answer: Taken, look: Look) -> list[str]:
    """Return what became of every file, and the first rows set aside."""
    files = answer.files
    if not files:
        return [say("Nothing was waiting to be taken.")]
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
        lines += ["", say("Set aside:"), *table(heads, shown, width=look.width)]
    if len(aside) > FIRST_ROWS:
        lines.append(say("and {n} more; cellmon aside lists all", n=count(len(aside) - FIRST_ROWS)))
    return lines


def taken_sentence(files: Sequence[FileTaken]) -> str:
    """Return one sentence over all files, in which the counts add up to the rows."""
    rows, taken, known = (sum(getattr(f, name) for f in files) for name in ("rows", "taken", "known"))
    signals = sum(f.signals for f in files)
    return say(
        TAKEN_SENTENCE,
        files=say_many("{n} file", "{n} files", len(files), n=count(len(files))),
        rows=say_many("{n} row", "{n} rows", rows, n=count(rows)),
        taken=count(taken),
        known=count(known),
        aside=count(sum(len(f.set_aside) for f in files)),
        signals=say_many("{n} new signal", "{n} new signals", signals, n=count(signals)),
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


def _row_said(row: AsideRow) -> str:
    """Return a row as it stood; of one that contradicts another what it contradicts as well."""
    return row.text if row.as_read is None else f"{row.as_read} ({row.text})"


def aside_lines(answer: Aside, look: Look, *, last: int) -> list[str]:
    """Return the rows set aside: how many by reason, then each; `last` 0 shows all."""
    waiting = [row for row in answer.rows if row.state == "waiting"]
    if not answer.rows:
        return [say("No row was ever set aside.")]
    sentence = say_many(
        "{n} row waits of {all} set aside",
        "{n} rows wait of {all} set aside",
        len(waiting),
        n=count(len(waiting)),
        all=count(len(answer.rows)),
    )
    sentence += _by_reason(row.reason for row in waiting)
    columns = (
        text("file"),
        figure("line"),
        text("reason"),
        text("state"),
        text("row", flexible=True),
    )
    shown = answer.rows[:last] if last else answer.rows
    rows = [[r.file, str(r.line), r.reason, said(r.state), _row_said(r)] for r in shown]
    lines = [sentence, "", *table(columns, rows, width=look.width), *newest(len(answer.rows), last=last)]
    if waiting:
        lines += ["", say("After the cause is mended (sheet or file): cellmon aside --retry")]
    return lines


def _by_reason(reasons_: Iterable[str]) -> str:
    """Return how many there are of each reason, as a sentence ends with them."""
    counted = Counter(reasons_).most_common()
    return f": {', '.join(f'{count(n)} {reason}' for reason, n in counted)}." if counted else "."


def flags_lines(answer: FlagList, look: Look, *, last: int) -> list[str]:
    """Return the doubts: how many wait, then each with its proposal; `last` 0 shows all."""
    waiting = [f for f in answer.flags if f.state == "open"]
    if not answer.flags:
        return [say("No measurement is doubted.")]
    sentence = say_many(
        "{n} doubt waits of {all}",
        "{n} doubts wait of {all}",
        len(waiting),
        n=count(len(waiting)),
        all=count(len(answer.flags)),
    )
    sentence += _by_reason(f.flag for f in waiting)
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
    lines = [sentence, say("They are judged, but kept out of limits and indices until decided."), ""]
    lines += table(columns, [_flag_row(f, look) for f in answer.flags[-last:]], width=look.width)
    lines += newest(len(answer.flags), last=last)
    if waiting:
        lines += ["", say(DECIDE_ONE, flag=waiting[0].id)]
    return lines


def _flag_row(f: FlagRow, look: Look) -> list[str | None]:
    state = say(f.state)
    if f.by is not None:
        state = say("{became} by {by}", became=state, by=f.by)
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
    lines = [_frozen_sentence(frozen, len(streams)), ""]
    lines += table(columns, [_baseline_row(b, look) for b in streams], width=look.width)
    if answer.waiting:
        from cellmon.cli.signing import waiting_lines

        lines += ["", *(one.sentence for one in answer.waiting), *waiting_lines(answer.waiting)]
        lines += [say("Until then the limits in force go on watching.")]
    elif frozen < len(streams):
        lines += ["", say(FREEZE)]
    lines += _age_lines(streams, look)
    lines += like_lines(answer.like_parts)
    return lines + reasons([b.stream for b in streams], [b.why_not for b in streams])


def _frozen_sentence(frozen: int, streams: int) -> str:
    return say_many(
        "{frozen} of {streams} has frozen limits.",
        "{frozen} of {streams} have frozen limits.",
        frozen,
        frozen=count(frozen),
        streams=say_many("{n} stream", "{n} streams", streams, n=count(streams)),
    )


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
        lines.append(say("limits: {streams}: {words}", streams=names, words=age_sentence(until, changes)))
    return ["", *lines] if lines else []


def _baseline_row(b: StreamBaseline, look: Look) -> list[str | None]:
    window = None
    if b.window_from is not None and b.window_to is not None:
        start, end = (when(at, look.zone) for at in (b.window_from, b.window_to))
        window = say("{since} to {until}", since=start, until=end)
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
    if b.provisional:
        return say("provisional")
    if b.signed_by is None:
        return say("frozen by {who}", who=b.by)
    return say("frozen by {who}, signed by {second}", who=b.by, second=b.signed_by)
