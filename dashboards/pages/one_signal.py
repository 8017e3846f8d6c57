"""One signal in words: what moved, since when, why it may be, and what was answered."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from dash import dcc, html

from cellmon.monitor.signals import LikelyCause, Response, Signal
from cellmon.records import Stream, stream_names
from dashboards.pages import parts

KINDS = {
    "level": "the level moved",
    "drift": "the level drifts",
    "spread": "the spread grew",
    "single": "a single bore stands apart",
    "limit": "a limit of the sheet was passed",
    "gauge": "the gauge was found off",
    "routing": "bores came from another spindle",
    "pattern": "a run rule that the sheet switched on",
}
STATES = {
    "open": "waits for an answer",
    "reopened": "came again after its answer",
    "answered": "answered",
    "withdrawn": "withdrawn",
}
WEIGHTS = ((0.6, "likely"), (0.25, "quite possible"), (0.1, "possible"), (0.0, "unlikely"))
"""From which weight a cause is called what."""


def state_words(signal: Signal) -> str:
    """Return whether a signal waits, and for how long."""
    said = "seen, and waits for an answer" if _only_seen(signal) else STATES[signal.state]
    return f"{said}; {parts.age(signal.age_s)} old"


def _only_seen(signal: Signal) -> bool:
    return signal.state == "open" and signal.response is not None and signal.response.seen


def since_words(signal: Signal) -> str:
    """Return when and at which part the change began, with the range in which it may have."""
    change = signal.change
    if change is None:
        return f"called {parts.when(signal.raised_at)} at part {signal.part}"
    began = f"since {parts.when(change.at)}, part {change.part}"
    if change.earliest_at == change.latest_at:
        return began
    return (
        f"{began} (95 % range {parts.between(change.earliest_at, change.latest_at)}, "
        f"parts {change.earliest_part} to {change.latest_part})"
    )


def facts(signal: Signal) -> html.Dl:
    """Return what is known of a signal, a line each."""
    to = f"{signal.last_part}, {'and the stream is back' if signal.over else 'and it goes on'}"
    named: list[tuple[str, Any]] = [
        ("Since", sentence(since_words(signal).removeprefix("since "))),
        ("Called", f"{parts.when(signal.raised_at)} at part {signal.part}; last seen in part {to}."),
        ("What", f"{sentence(KINDS.get(signal.kind, signal.kind))} First to call: {signal.detector}."),
        ("Moved", streams_words(signal)),
        ("State", sentence(state_words(signal))),
    ]
    if signal.reaction:
        named.append(("To do, by the sheet", html.B(signal.reaction)))
    if signal.response:
        named.append(("Answer", response_words(signal.response)))
    if signal.state == "withdrawn":
        named.append(("Why withdrawn", signal.why_not.get("state", "")))
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
    return f"Seen by {at}." if response.seen else f"{response.cause}: {response.action} ({at})."


def causes(signal: Signal) -> list[Any]:
    """Return the likely causes, most likely first and open; every one carries its own caution."""
    if not signal.causes:
        why = signal.why_not.get("causes", "no cause of the table fits")
        return [html.P(sentence(why), className="aside")]
    rows = [_cause(cause, first=i == 0) for i, cause in enumerate(signal.causes)]
    rest = 1 - sum(cause.weight for cause in signal.causes)
    more = [html.P(f"Something else: {rest:.2f}.", className="aside")] if rest > 0.005 else []
    return [html.Div(rows, className="causes"), *more]


def weight_words(weight: float) -> str:
    """Return a weight as people say it, and its figure."""
    return f"{next(words for least, words in WEIGHTS if weight >= least)}, {weight:.2f} of 1"


def _cause(cause: LikelyCause, *, first: bool) -> html.Details:
    bar = html.Span(html.Span(style={"width": f"{100 * cause.weight:.0f}%"}), className="bar")
    head = [
        html.Span(cause.title, className="title"),
        html.Span([bar, weight_words(cause.weight)], className="weight"),
    ]
    said = [("Check first", cause.check_first), ("Usual correction", cause.correction)]
    said += [("Caution", cause.caution), ("Why", cause.why)]
    lines = [one for name, words in said for one in (html.Dt(name), html.Dd(words))]
    return html.Details([html.Summary(head), html.Dl(lines)], open=first)
