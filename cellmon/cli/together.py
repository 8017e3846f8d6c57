"""The lines about the features of one bore judged together."""

from __future__ import annotations

from cellmon.cli.showing import Look
from cellmon.cli.terminal import figure, table, text
from cellmon.cli.wording import count, number, plain, when
from cellmon.monitor.joint import Joint
from cellmon.monitor.joint_beyond import JointBeyond
from cellmon.words import say, say_many, to_say

FEATURES = {"diameter": to_say("size")}


def joint_lines(answer: Joint, look: Look) -> list[str]:
    """Return a sentence, what lies beyond and in which features, and what the limits rest on."""
    span = {"since": when(answer.since, look.zone), "until": when(answer.until, look.zone)}
    lines = [answer.sentence, say("From {since} to {until}.", **span), answer.promise, ""]
    if answer.beyond:
        lines += [*_beyond(answer.beyond, look), ""]
        for one in answer.beyond:
            lines.append(f"{one.chart} {when(one.at, look.zone)}:")
            lines += [f"  {c.words}" for c in one.contributions]
        lines.append("")
    lines.append(_limits_line(answer))
    if answer.left_out:
        lines.append(_left_out_line(answer.left_out))
    return [*lines, "", say("Bores inside their subgroups:"), *_spread(answer, look), "", answer.caution]


def _limits_line(answer: Joint) -> str:
    base = answer.baseline
    kind = say("provisional") if base is None or base.provisional else say("frozen by {by}", by=base.by)
    return say_many(
        "Limits: T-squared {t_squared}, MEWMA (weight {weight}) {mewma}, from {n} subgroup ({kind}).",
        "Limits: T-squared {t_squared}, MEWMA (weight {weight}) {mewma}, from {n} subgroups ({kind}).",
        answer.baseline_subgroups,
        t_squared=number(answer.t_squared_limit, decimals=1),
        weight=plain(answer.weight),
        mewma=number(answer.mewma_limit, decimals=1),
        n=count(answer.baseline_subgroups),
        kind=kind,
    )


def _left_out_line(left_out: int) -> str:
    return say_many(
        "{n} subgroup with doubted or missing readings is left out.",
        "{n} subgroups with doubted or missing readings are left out.",
        left_out,
        n=count(left_out),
    )


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
    names = [_name(f.feature) for f in answer.features]
    columns = (
        text("feature"),
        figure("sigma um"),
        *(figure(say("with {feature}", feature=name)) for name in names),
    )
    rows = [
        [name, number(f.sigma_um, decimals=2), *(number(r, decimals=2) for r in f.correlation)]
        for name, f in zip(names, answer.features, strict=True)
    ]
    return table(columns, rows, width=look.width)


def _name(feature: str) -> str:
    return say(FEATURES.get(feature, feature))
