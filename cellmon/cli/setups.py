"""The lines of first bores: what they say of each set-up, and who released it."""

from __future__ import annotations

from collections.abc import Sequence

from cellmon.cli.showing import Look
from cellmon.cli.terminal import figure, table, text
from cellmon.cli.wording import chance, plural, signed, when
from cellmon.monitor.first_bores import FirstBores, FirstOfPosition, SetupCheck
from cellmon.records import Verdict


def first_bores_lines(answer: FirstBores, look: Look) -> list[str]:
    """Return each spindle's newest change, what is advised, and a row a bore position."""
    if not answer.checks:
        return ["No change of stones, dressing or set-up is known."]
    lines = [f"As of {when(answer.as_of, look.zone)}, sheet version {answer.sheet}."]
    for check in answer.checks:
        lines += ["", *_check(check, look)]
    open_ = [c.spindle for c in answer.checks if c.released_by is None]
    if open_:
        lines += ["", f"Release one: cellmon first-bores --release {open_[0]} --by NAME --why TEXT"]
    return lines


def _check(check: SetupCheck, look: Look) -> list[str]:
    lines = [check.sentence, f"    changed {when(check.changed_at, look.zone)}"]
    if check.released_by is not None:
        lines.append(
            f"    released {when(check.released_at, look.zone)} by {check.released_by}: {check.why}; "
            f"the bores say: {check.verdict}"
        )
    lines += [f"    {check.caution}", ""]
    return lines + _positions(check.positions, look)


def _positions(positions: Sequence[FirstOfPosition], look: Look) -> list[str]:
    columns = (
        text("bore"),
        text("verdict"),
        figure("in order"),
        figure("mean um"),
        figure("proven inside"),
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
        f"{inside} of {len(p.verdicts)}",
        _sizes(p.new_um, look),
        _sizes(p.old_um, look),
        p.why,
    ]


def verdict_words(p: FirstOfPosition) -> str:
    """Return what is advised for one position, in a few words."""
    if p.verdict == "correct" and p.by_um is not None:
        return f"correct by {signed(p.by_um, decimals=1)} um" + (f", measure {p.more} more" if p.more else "")
    if p.verdict == "run":
        return "run"
    return f"{p.verdict}: {plural(p.more, 'more', 'more')}" if p.more else p.verdict


def _sizes(sizes: Sequence[float], look: Look) -> str:
    return " ".join(signed(um, decimals=look.um) or "?" for um in sizes)
