"""One signal in words: what moved, since when, why it may be, and what was answered."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from dash import dcc, html

from cellmon import local
from cellmon.monitor.signals import Change, LikelyCause, Response, Signal
from cellmon.records import Stream, stream_names
from cellmon.words import say, to_say
from dashboards.pages import parts

KINDS = {
    "level": to_say("the level moved"),
    "drift": to_say("the level drifts"),
    "spread": to_say("the spread grew"),
    "single": to_say("a single bore stands apart"),
    "limit": to_say("a limit of the sheet was passed"),
    "gauge": to_say("the gauge was found off"),
    "routing": to_say("bores came from another spindle"),
    "pattern": to_say("a run rule that the sheet switched on"),
}
STATES = {
    "open": to_say("waits for an answer"),
    "reopened": to_say("came again after its answer"),
    "answered": to_say("answered"),
    "withdrawn": to_say("withdrawn"),
}
WEIGHTS = (
    (0.6, to_say("likely")),
    (0.25, to_say("quite possible")),
    (0.1, to_say("possible")),
    (0.0, to_say("unlikely")),
)
"""From which weight a cause is called what."""


def state_words(signal: Signal) -> str:
    """Return whether a signal waits, and how long before the newest row it was called."""
    age = parts.age(signal.age_s)
    return say("{state}; called {age} before the newest row", state=_state(signal), age=age)


def short_state_words(signal: Signal) -> str:
    """Return the same in a list that says once up to when ages are counted."""
    return say("{state}; {age} old", state=_state(signal), age=parts.age(signal.age_s))


def _state(signal: Signal) -> str:
    return say("seen, and waits for an answer") if _only_seen(signal) else say(STATES[signal.state])


def _only_seen(signal: Signal) -> bool:
    return signal.state == "open" and signal.response is not None and signal.response.seen


ESTIMATED = ("level", "drift", "spread")
"""Kinds whose range of the change is an interval of 95 %; others begin where nothing was found last."""


def since_words(signal: Signal) -> str:
    """Return when and at which part the change began, with the range in which it may have."""
    if signal.change is None:
        return say("called {at} at part {part}", at=parts.when(signal.raised_at), part=signal.part)
    return say("since {begun}", begun=_begun(signal.change)) + _range_words(signal.kind, signal.change)


def began_words(signal: Signal) -> str:
    """Return the same where "since" stands before it already."""
    if signal.change is None:
        return since_words(signal)
    return _begun(signal.change) + _range_words(signal.kind, signal.change)


def _begun(change: Change) -> str:
    return say("{at}, part {part}", at=parts.when(change.at), part=change.part)


def _range_words(kind: str, change: Change) -> str:
    if change.earliest_at == change.latest_at:
        return ""
    text = to_say(" (95 % range {range}, parts {first} to {last})")
    if kind not in ESTIMATED:
        text = to_say(" (after part {first} at the earliest: {range})")
    span, first = parts.between(change.earliest_at, change.latest_at), change.earliest_part
    return say(text, range=span, first=first, last=change.latest_part)


def called_words(signal: Signal) -> str:
    """Return when a signal was called, and in which part it was last seen."""
    values = {"at": parts.when(signal.raised_at), "part": signal.part, "last": signal.last_part}
    if signal.over:
        return say("{at} at part {part}; last seen in part {last}, and not since.", **values)
    return say("{at} at part {part}; last seen in part {last}, and it goes on.", **values)


def facts(signal: Signal) -> html.Dl:
    """Return what is known of a signal, a line each."""
    kind = say(KINDS[signal.kind]) if signal.kind in KINDS else signal.kind
    named: list[tuple[str, Any]] = [
        (say("Since"), sentence(began_words(signal))),
        (say("Called"), called_words(signal)),
        (say("What"), f"{sentence(kind)} {say('First to call: {detector}.', detector=signal.detector)}"),
        (say("Moved"), streams_words(signal)),
        (say("State"), sentence(state_words(signal))),
    ]
    if signal.reaction:
        named.append((say("To do, by the sheet"), html.B(signal.reaction)))
    if signal.response:
        named.append((say("Answer"), response_words(signal.response)))
    if signal.state == "withdrawn":
        named.append((say("Why withdrawn"), signal.why_not.get("state", "")))
    return html.Dl([one for name, said in named for one in (html.Dt(name), html.Dd(said))])


def sentence(text: str) -> str:
    """Return words with a capital and a full stop."""
    return parts.capital(text) + ("" if text.endswith(".") else ".")


def streams_words(signal: Signal) -> list[Any]:
    """Return the streams that called, each a link to its ribbon at that time."""
    until = (signal.raised_at + timedelta(hours=8)).isoformat()
    links: list[Any] = []
    for stream, name in zip(signal.streams, stream_names(signal.streams), strict=True):
        links += [", "] if links else []
        links.append(dcc.Link(name, href=stream_link(stream, until)))
    return links


def stream_link(stream: Stream, until: str) -> str:
    """Return the address of a stream's own page up to a moment."""
    return "/stream?" + parts.stream_query(stream, until=until)


def response_words(response: Response) -> str:
    """Return what a person answered."""
    at = f"{response.by}, {parts.when(response.at)}"
    return say("Seen by {who}.", who=at) if response.seen else f"{response.cause}: {response.action} ({at})."


def causes(signal: Signal) -> list[Any]:
    """Return the likely causes, most likely first and open; every one carries its own caution."""
    if not signal.causes:
        why = signal.why_not.get("causes", say("no cause of the table fits"))
        return [html.P(sentence(why), className="aside")]
    rows = [_cause(signal, cause, first=i == 0) for i, cause in enumerate(signal.causes)]
    rest = 1 - sum(cause.weight for cause in signal.causes)
    other = say("Something else: {weight}.", weight=local.number(rest, 2))
    more = [html.P(other, className="aside")] if rest > 0.005 else []
    return [html.Div(rows, className="causes"), *more]


def weight_words(weight: float) -> str:
    """Return a weight as people say it, and its figure."""
    words = next(words for least, words in WEIGHTS if weight >= least)
    return say("{words}, {weight} of 1", words=say(words), weight=local.number(weight, 2))


def _cause(signal: Signal, cause: LikelyCause, *, first: bool) -> html.Details:
    bar = html.Span(html.Span(style={"width": f"{100 * cause.weight:.0f}%"}), className="bar")
    head = [
        html.Span(cause.title, className="title"),
        html.Span([bar, weight_words(cause.weight)], className="weight"),
    ]
    said = [(say("Check first"), cause.check_first), (say("Usual correction"), cause.correction)]
    said += [(say("Caution"), cause.caution), (say("Why"), cause.why)]
    lines = [one for name, words in said for one in (html.Dt(name), html.Dd(words))]
    return parts.folded([html.Summary(head), html.Dl(lines)], f"{signal.id}-{cause.title}", opened=first)
