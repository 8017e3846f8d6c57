"""What the page of one block says: its time line, its holds, its tables."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from math import isnan
from typing import Any

from dash import dcc, html

from cellmon import lengths, local
from cellmon.monitor.part import PartStory
from cellmon.monitor.part_bores import PartMeasurement
from cellmon.monitor.part_judged import JudgedAgainst, figure_name, side_by_side
from cellmon.monitor.part_place import ItsSubgroup
from cellmon.monitor.part_said import doubt_words
from cellmon.monitor.part_signals import PartSignal
from cellmon.records import Verdict
from cellmon.words import say, say_many
from dashboards import theme
from dashboards.figures.terms import term
from dashboards.pages import leafing, parts, signal_list


def time_line(story: PartStory) -> list[Any]:
    """Return what happened to a block, oldest first, as a list along a line."""
    if not story.happened:
        return [html.P(say("Nothing is known but its readings."), className="told")]
    items = []
    for event in story.happened:
        when = html.Time(f"{parts.when(event.at)}:{event.at:%S}", dateTime=event.at.isoformat())
        words = html.Span(f"{parts.capital(event.words)}.")
        items.append(html.Li([when, words], className=f"{event.what} look" if event.look else event.what))
    return [html.Ol(items, className="happened")]


def held(story: PartStory) -> list[Any]:
    """Return every signal the block belongs to, and what became of it; here it is only seen."""
    if not story.held_for:
        said: list[Any] = [html.P(say("No signal stood over its bores when it was made."), className="told")]
    else:
        said = [*_newest(story.held_for, story.part), *_in_the_pdf(len(story.held_for) - leafing.SHOWN)]
    if story.on_lists:
        words = say(
            "Also on these hold lists: made after the signal was last seen, or held as well by a person. A "
            "list runs on until its signal is answered."
        )
        older = _among_signals(story.on_lists_count - min(len(story.on_lists), leafing.SHOWN))
        said += [html.P(words, className="told"), *_newest(story.on_lists, story.part), *older]
    others = {one.id for one in (*story.held_for, *story.on_lists)}
    for given in story.dispositions:
        if given.signal not in others:
            words = say(
                "{became} by {by}, on the hold list of {signal}: {why}",
                became=term(given.as_),
                by=given.by,
                signal=given.signal,
                why=given.why,
            )
            said.append(html.P(parts.capital(words), className="told"))
    return [*said, html.P(story.meant, className="aside")]


def _newest(signals: Sequence[PartSignal], serial: str) -> list[Any]:
    """Return the newest of some signals as a list."""
    return [html.Ul([_signal(one, serial) for one in signals[: leafing.SHOWN]], className="lines")]


def _in_the_pdf(rest: int) -> list[Any]:
    text = say_many(
        "{count} older one is not listed here; the saved PDF has every one.",
        "{count} older ones are not listed here; the saved PDF has every one.",
        rest,
    )
    return [html.P(text, className="aside")] if rest > 0 else []


def _among_signals(rest: int) -> list[Any]:
    """Return on how many hold lists more a block stands, and where their signals are listed."""
    text = say_many(
        "It stands on {count} older hold list as well; its signal is listed under",
        "It stands on {count} older hold lists as well; their signals are listed under",
        rest,
    )
    link = dcc.Link(say("Signals"), href=signal_list.PATH)
    return [html.P([f"{text} ", link, "."], className="aside")] if rest > 0 else []


def _signal(one: PartSignal, serial: str) -> html.Li:
    values = {
        "signal": one.id,
        "state": term(one.state),
        "bores": ", ".join(one.bores),
        "at": parts.when(one.began_at),
    }
    told = (
        say("{signal}, {state}; bore {bores}; began {at}.", **values)
        if len(one.bores) == 1
        else say("{signal}, {state}; bores {bores}; began {at}.", **values)
    )
    link = dcc.Link(parts.capital(one.words), href=signal_list.link_to(one.id))
    d = one.disposition
    became = (
        say("Nothing decided yet.")
        if d is None
        else parts.capital(
            say("{became} by {by}, {at}: {why}", became=term(d.as_), by=d.by, at=parts.when(d.at), why=d.why)
        )
    )
    return html.Li(
        [
            link,
            html.Div(told, className="aside"),
            html.Div([became, *_decides(one, serial)], className="waits" if d is None else ""),
        ]
    )


def _decides(one: PartSignal, serial: str) -> list[Any]:
    """Return the way to where it is said what becomes of the block, for this signal."""
    if one.disposition is not None:
        return []
    there = signal_list.link_to(one.id, part=serial)
    return [" ", dcc.Link(say("Say what becomes of it"), href=f"{there}#{signal_list.HOLD_FORM}")]


def tables(story: PartStory) -> list[Any]:
    """Return the readings, what each verdict rests on, and what else is known of every measurement."""
    said = _under(say("Readings"), _readings(story))
    said += _under(say("What the verdicts rest on"), _judged(story), html.P(_rule(story), className="told"))
    said += _under(say("How it was made"), _made(story))
    said += _under(say("Where it lay"), _places(story))
    doubts = [(m, doubt) for m in story.measurements for doubt in m.doubts]
    if doubts:
        said += [
            html.H2(say("Doubted")),
            html.Ul([html.Li(doubt_words(m, d)) for m, d in doubts], className="lines"),
        ]
    if story.notes:
        said += _under(say("Other instruments, and eyes"), _notes(story))
    return [*said, *_under(say("Where it comes from"), _origins(story))]


def _table(
    head: Sequence[str], body: Sequence[Sequence[Any]], *, figures: Collection[int] = (), caption: str = ""
) -> html.Table:
    """Return a table; columns named in `figures` stand to the right."""
    top = [html.Caption(caption)] if caption else []
    names = [html.Th(n, scope="col", className="figure" if j in figures else "") for j, n in enumerate(head)]
    rows = [html.Tr([_cell(c, figure=j in figures) for j, c in enumerate(row)]) for row in body]
    return html.Table([*top, html.Thead(html.Tr(names)), html.Tbody(rows)], className="told-of")


def _cell(cell: Any, *, figure: bool) -> html.Td:
    side = "figure" if figure else ""
    if isinstance(cell, JudgedAgainst):
        mark = {Verdict.DOES_NOT_CONFORM: "moved", Verdict.UNDECIDED: "unsure"}.get(cell.verdict, "")
        verdict = f" {term(cell.verdict.value)}" if mark else ""
        return html.Td(f"{_um(cell.value_um, 2) or '–'}{verdict}", className=f"{side} {mark}".strip())
    if isinstance(cell, Verdict):
        return html.Td(term(cell.value), className="moved" if cell is Verdict.DOES_NOT_CONFORM else "")
    return html.Td("–" if cell is None else cell, className=side)


def _under(name: str, table: html.Table, *before: Any) -> list[Any]:
    """Return a table under its name, which is also that of its box, and what stands before it."""
    return [html.H2(name), *before, parts.across(table, name)]


def _readings(story: PartStory) -> html.Table:
    names = list(dict.fromkeys((p, d) for m in story.measurements for p in m.planes for d in m.directions))
    body = []
    for m in story.measurements:
        read = {(p, d): float(m.um[i, j]) for i, p in enumerate(m.planes) for j, d in enumerate(m.directions)}
        cells = [_um(read.get(name)) for name in names]
        body.append(
            [m.bore, m.gauge, parts.when(m.at), *cells, m.verdict, say("yes") if m.charted else m.charted_why]
        )
    head = [say("bore"), say("gauge"), say("measured"), *(f"{p} {d}" for p, d in names)]
    head += [say("verdict"), say("charted")]
    caption = _caption()
    return _table(head, body, figures=range(3, 3 + len(names)), caption=caption)


def _caption() -> str:
    if lengths.shown() is lengths.Shown.MM:
        return say("Micrometres from nominal, by plane and direction.")
    return say("{unit} from nominal, by plane and direction.", unit=lengths.unit())


def _um(value: float | None, digits: int = 1) -> str | None:
    return None if value is None or isnan(value) else theme.um(value, digits)


def _rule(story: PartStory) -> str:
    m = story.measurements[0]
    if m.rule == "guarded":
        how = say(
            "guarded (ISO 14253-1): what conforms and what does not is proven to {sure} %, between the two "
            "it is undecided",
            sure=local.significant(100 * (m.conformance or 0)),
        )
    else:
        how = say("simple: on or inside a limit conforms, without a guard band")
    versions = sorted({x.sheet_version for x in story.measurements if x.sheet_version is not None})
    return say(
        "Judged by sheet version {versions}; rule {rule}. The worst figure decides.",
        versions=", ".join(map(str, versions)),
        rule=how,
    )


def _judged(story: PartStory) -> html.Table:
    shown = [m for m in story.measurements if m.charted or m.verdict is not Verdict.CONFORMS]
    names = [say("bore {bore}", bore=m.bore) + ("" if m.charted else f", {m.gauge}") for m in shown]
    body = [
        [
            figure_name(row.feature, row.figure),
            *(_um(row.lower_um), _um(row.upper_um), lengths.bare(row.u_um, 2), lengths.bare(row.guard_um, 2)),
            *row.of,
        ]
        for row in side_by_side(shown)
    ]
    figure = say("figure, {unit}", unit=lengths.unit())
    head = [figure, say("lower"), say("upper"), "u (k = 1)", say("guard band"), *names]
    return _table(head, body, figures=range(1, len(head)))


def _made(story: PartStory) -> html.Table:
    head = [
        say("bore"),
        say("measured"),
        say("spindle"),
        say("stones"),
        say("bores since"),
        say("fixture"),
        say("operator"),
        say("cycle s"),
        say("load %"),
    ]
    unit = lengths.unit()
    head += [say("expander {unit}", unit=unit), say("part °C"), say("master °C")]
    head.append(say("read off {unit}", unit=unit))
    rows = [_made_row(m) for m in story.measurements]
    told = [
        j for j in range(len(head)) if any(row[j] is not None for row in rows)
    ]  # what nobody logged is left out
    figures = [k for k, j in enumerate(told) if j >= 7]
    return _table([head[j] for j in told], [[row[j] for j in told] for row in rows], figures=figures)


def _made_row(m: PartMeasurement) -> list[Any]:
    stones, process = m.stones, m.process
    since = None
    if stones is not None and stones.bores_since is not None:
        since = f"{local.number(stones.bores_since)} ({term(stones.what)})"
    names = ("cycle_s", "load_pct", "feed_um", "part_temp_c", "master_temp_c")
    told = [None if process is None else _plain(getattr(process, name), name) for name in names]
    off = None if process is None else _um(process.read_off_um, 2)
    row = [m.bore, parts.when(m.at), m.spindle, m.stone_set, since, m.fixture, m.operator]
    return [*row, *told, off]


def _plain(value: float | None, name: str) -> str | None:
    if value is None:
        return None
    return lengths.bare(value, None) if name.endswith("_um") else local.significant(value)


def _places(story: PartStory) -> html.Table:
    body = []
    for m in story.measurements:
        for p in m.places:
            g = p.subgroup
            where = None if g is None else subgroup_words(g)
            away = None if p.away is None else local.number(p.away, 1, sign=True)
            away = None if away is None else say("{distance} sd", distance=away)
            value, centre = (_in_unit(v, p.unit) for v in (p.value_um, p.center_um))
            mean = None if g is None else _mean_words(g, p.unit)
            body.append([str(p.stream), value, centre, away, where, mean])
    head = [
        say("stream"),
        say("value {unit}", unit=lengths.unit()),
        say("centre"),
        say("from it"),
        say("in its subgroup"),
        say("mean of it"),
    ]
    caption = say(
        "Against the limits in force then, in standard deviations of a bore; wear is not taken out."
    )
    return _table(head, body, figures=(1, 2, 3), caption=caption)


def subgroup_words(g: ItsSubgroup) -> str:
    """Return which bore of its subgroup one is."""
    return say(
        "{place} of {n}, {first} to {last}", place=g.place, n=g.n, first=g.first_part, last=g.last_part
    )


def _in_unit(value: float | None, unit: str) -> str | None:
    """Return a figure of a stream; its unit stands behind it where it is not that of the column."""
    if value is None or isnan(value):
        return None
    text = theme.um(value, 2, unit=unit)
    return text if unit == lengths.UM else f"{text} {unit}"


def _mean_words(g: ItsSubgroup, unit: str) -> str:
    mean, spread = theme.um(g.mean_um, 2, unit=unit), lengths.of(g.range_um, unit, 2)
    return say("{mean}, range {range}", mean=mean, range=spread)


def _notes(story: PartStory) -> html.Table:
    body = [
        [n.bore, parts.when(n.at), n.what, n.plane, local.significant(n.value), n.unit, n.gauge, n.by]
        for n in story.notes
    ]
    head = [
        say("bore"),
        say("when"),
        say("what"),
        say("plane"),
        say("value or count"),
        say("unit"),
        say("instrument"),
        say("by"),
    ]
    return _table(head, body, figures=(4,))


def _origins(story: PartStory) -> html.Table:
    body = [
        [m.bore, m.gauge, parts.when(m.at), o.file, local.number(o.line), local.dated(o.taken_at)]
        for m in story.measurements
        for o in m.origins
    ]
    head = [say("bore"), say("gauge"), say("measured"), say("file"), say("line"), say("taken")]
    return _table(head, body, figures=(4,))
