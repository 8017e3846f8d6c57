"""The words below a stream: what is to come, its signals, what its limits rest on, its features together."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from dash import dcc, html

from cellmon import lengths, local
from cellmon.monitor.answers import BaselineSummary
from cellmon.monitor.joint import Joint
from cellmon.monitor.signals import Signal
from cellmon.monitor.stream import StreamView
from cellmon.words import say
from dashboards import theme
from dashboards.pages import freeze, one_signal, outlook, parts, signal_list

if TYPE_CHECKING:
    from cellmon.monitor import Monitor


def together_words(answer: Joint) -> list[Any]:
    """Return what lies beyond in all features together, and what such a chart costs."""
    said: list[Any] = [
        html.H2(say("Features together")),
        html.P(parts.capital(answer.sentence), className="told"),
    ]
    listed = sorted(answer.beyond, key=lambda one: one.first_at, reverse=True)[:12]
    for one in listed:
        features = "; ".join(c.words for c in one.contributions)
        said.append(html.P(f"{one.chart}, {parts.when(one.at)}: {features}.", className="told"))
    said.append(html.P(answer.promise, className="aside"))
    said.append(html.P(answer.caution, className="aside"))
    return said


def ahead(monitor: Monitor, view: StreamView) -> list[Any]:
    """Return the bores left to a limit and the correction that pays, as the stream stands now."""
    found = monitor.stream_state(**parts.names_of(view.stream)).state
    if found is None:
        return []
    said: list[Any] = [html.H2(say("Before it goes out, as of {moment}", moment=parts.when(view.as_of)))]
    said.append(html.P([html.B(say("Bores left:")), " ", outlook.left_words(found)], className="told"))
    dressing = outlook.dressing_words(found)
    if dressing is not None:
        said.append(html.P([html.B(say("Next dressing:")), " ", dressing], className="told"))
    for one in found.advice:
        said.append(html.P([html.B(say("Correction:")), " ", outlook.advice_words(one)], className="told"))
        said.append(html.P(one.caution, className="aside"))
    return said


def words(view: StreamView) -> list[Any]:
    """Return the signals in words, what the limits rest on, and what the rules cost."""
    said: list[Any] = []
    if view.signals:
        newest = sorted(view.signals, key=lambda s: s.raised_at, reverse=True)[:12]
        said.append(html.H2(say("Signals in this time: {count}", count=len(view.signals))))
        said.append(html.Ul([signal_line(s) for s in newest]))
    said.append(html.H2(say("What the limits rest on")))
    said.append(html.P(baseline_words(view.baseline), className="aside"))
    if view.limits_age is not None:
        form = html.A(say("To the form that freezes them"), href=f"#{freeze.FOLDED}")
        said.append(html.P([f"{view.limits_age.sentence} ", form], className="told"))
    if view.wear is None:
        said.append(
            html.P(
                say("Not watched in this time, so there is no wear line: plain limits."), className="aside"
            )
        )
    said.append(html.P(view.alarms.sentence, className="aside"))
    said += [html.P(why, className="aside") for why in view.why_not.values()]
    return said


def signal_line(signal: Signal) -> html.Li:
    """Return one signal as a link to all that is known of it."""
    link = dcc.Link(signal.words, href=signal_list.link_to(signal.id))
    since = one_signal.since_words(signal)
    return html.Li([link, f", {since}: {one_signal.state_words(signal)}."])


def baseline_words(baseline: BaselineSummary | None) -> str:
    """Return what the limits rest on, and who answers for them."""
    if baseline is None:
        return say("No limits yet: fewer than 20 subgroups.")
    frozen = baseline.frozen_at
    figures = {"centre": theme.um_said(baseline.center_um, 2), "sigma": lengths.said(baseline.sigma_um, 2)}
    if baseline.provisional or frozen is None:
        return say(
            "Limits are provisional, from the first {n} bores of this stream: centre {centre}, sigma inside "
            "subgroups {sigma}. Nobody has frozen them.",
            n=baseline.n,
            **figures,
        )
    figures["at"] = f"{local.weekday(frozen)} {local.day_of_year(frozen)} {local.clock(frozen)}"
    if baseline.signed_by is not None:
        return say(
            "Limits frozen by {by} and signed by {second} on {at}: centre {centre}, sigma inside subgroups "
            "{sigma}.",
            by=baseline.by,
            second=baseline.signed_by,
            **figures,
        )
    return say(
        "Limits frozen by {by} on {at}: centre {centre}, sigma inside subgroups {sigma}.",
        by=baseline.by,
        **figures,
    )
