"""The lines about the features of one bore judged together."""

from __future__ import annotations

from cellmon.cli.showing import Look
from cellmon.cli.terminal import figure, table, text
from cellmon.cli.wording import count, number, plural, when
from cellmon.monitor.joint import Joint, JointBeyond

FEATURES = {"diameter": "size"}


def joint_lines(answer: Joint, look: Look) -> list[str]:
    """Return a sentence, what lies beyond and in which features, and what the limits rest on."""
    base = answer.baseline
    kind = "provisional" if base is None or base.provisional else f"frozen by {base.by}"
    lines = [
        answer.sentence,
        f"From {when(answer.since, look.zone)} to {when(answer.until, look.zone)}.",
        answer.promise,
        "",
    ]
    if answer.beyond:
        lines += [*_beyond(answer.beyond, look), ""]
        for one in answer.beyond:
            lines.append(f"{one.chart} {when(one.at, look.zone)}:")
            lines += [f"  {c.words}" for c in one.contributions]
        lines.append("")
    lines.append(
        f"Limits: T-squared {answer.t_squared_limit:.1f}, MEWMA (weight {answer.weight:g}) "
        f"{answer.mewma_limit:.1f}, from {plural(answer.baseline_subgroups, 'subgroup')} ({kind})."
    )
    if answer.left_out:
        lines.append(
            f"{plural(answer.left_out, 'subgroup')} with doubted or missing readings "
            f"{'is' if answer.left_out == 1 else 'are'} left out."
        )
    return [*lines, "", "Bores inside their subgroups:", *_spread(answer, look), "", answer.caution]


def _beyond(beyond: tuple[JointBeyond, ...], look: Look) -> list[str]:
    columns = (
        text("chart"),
        text("from"),
        text("to", spare=True),
        figure("points"),
        figure("highest"),
        text("part", spare=True),
        text("features", flexible=True),
    )
    rows = [
        [
            one.chart,
            when(one.first_at, look.zone),
            when(one.last_at, look.zone),
            count(one.points),
            number(one.value, decimals=1),
            one.part,
            one.words,
        ]
        for one in beyond
    ]
    return table(columns, rows, width=look.width)


def _spread(answer: Joint, look: Look) -> list[str]:
    names = [FEATURES.get(f.feature, f.feature) for f in answer.features]
    columns = (text("feature"), figure("sigma um"), *(figure(f"with {name}") for name in names))
    rows = [
        [name, number(f.sigma_um, decimals=2), *(number(r, decimals=2) for r in f.correlation)]
        for name, f in zip(names, answer.features, strict=True)
    ]
    return table(columns, rows, width=look.width)
