"""The lines of first bores: what they say of each set-up, and who released it."""

from __future__ import annotations

from collections.abc import Sequence

from cellmon.cli.showing import Look
from cellmon.cli.terminal import figure, table, text
from cellmon.cli.wording import as_of_line, chance, signed, when
from cellmon.monitor.first_bores import FirstBores, FirstOfPosition, SetupCheck
from cellmon.records import Verdict
from cellmon.words import say


def first_bores_lines(answer: FirstBores, look: Look) -> list[str]:
    """Return each spindle's newest change, what is advised, and a row a bore position."""
    if not answer.checks:
        return [say("No change of stones, dressing or set-up is known.")]
    lines = [as_of_line(answer.as_of, answer.sheet, look.zone)]
    for check in answer.checks:
        lines += ["", *_check(check, look)]
    open_ = [c.spindle for c in answer.checks if c.released_by is None]
    if open_:
        how = say(
            "Release one: cellmon first-bores --release {spindle} --by NAME --why TEXT", spindle=open_[0]
        )
        lines += ["", how]
    return lines


def _check(check: SetupCheck, look: Look) -> list[str]:
    changed = say("changed {at}", at=when(check.changed_at, look.zone))
    lines = [check.sentence, f"    {changed}"]
    if check.released_by is not None:
        lines.append(f"    {_released(check, look)}")
    lines += [f"    {check.caution}", ""]
    return lines + _positions(check.positions, look)


def _released(check: SetupCheck, look: Look) -> str:
    return say(
        "released {at} by {by}: {why}; the bores say: {verdict}",
        at=when(check.released_at, look.zone),
        by=check.released_by,
        why=check.why,
        verdict=say(check.verdict),
    )


def _positions(positions: Sequence[FirstOfPosition], look: Look) -> list[str]:
    columns = (
        text("bore"),
        text("verdict"),
        figure("in order"),
        figure("mean um"),
        figure("proven to conform"),
        text("first bores um", flexible=True),
        text("last before um", spare=True),
        text("why", spare=True),
    )
    return table(columns, [_row(p, look) for p in positions], width=look.width)


def _row(p: FirstOfPosition, look: Look) -> list[str | None]:
    inside = sum(v is Verdict.CONFORMS for v in p.verdicts)
    return [
        p.bore,
        verdict_words(p),
        chance(p.probability),
        signed(p.mean_um, decimals=look.um),
        say("{some} of {all}", some=inside, all=len(p.verdicts)),
        _sizes(p.new_um, look),
        _sizes(p.old_um, look),
        p.why,
    ]


def verdict_words(p: FirstOfPosition) -> str:
    """Return what is advised for one position, in a few words."""
    if p.verdict == "correct" and p.by_um is not None:
        by = signed(p.by_um, decimals=1)
        if p.more:
            return say("correct by {by} um, measure {more} more", by=by, more=p.more)
        return say("correct by {by} um", by=by)
    verdict = say(p.verdict)
    more = p.verdict != "run" and p.more
    return say("{verdict}: {count} more", verdict=verdict, count=more) if more else verdict


def _sizes(sizes: Sequence[float], look: Look) -> str:
    return " ".join(signed(um, decimals=look.um) or "?" for um in sizes)
