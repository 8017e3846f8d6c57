"""The sentence that each page begins with, before the page itself has asked for it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from cellmon.errors import WrongUsage
from cellmon.monitor.stone_plan.words import order_words
from dashboards.pages import (
    bore,
    bore_shown,
    bore_words,
    claims,
    files,
    gauge,
    leafing,
    part,
    parts,
    shift_choice,
    shifts,
    signal_list,
    signals,
    stone_words,
    stones,
    stream,
    stream_asked,
)

if TYPE_CHECKING:
    from cellmon.monitor import Monitor


def _bore(monitor: Monitor, search: str | None) -> str:
    hand = bore_shown.chosen_bore(monitor, search, None)
    return bore_words.lead_of(monitor.bore(part=hand.part, bore=hand.bore, part_number=hand.part_number))


def _signals(monitor: Monitor, search: str | None) -> str:
    return signal_list.sentence(signal_list.listed(monitor))


def _shifts(monitor: Monitor, search: str | None) -> str:
    return monitor.shifts(shift=_named(shift_choice.shift_options(monitor, None, search)[1])).sentence


def _stream(monitor: Monitor, search: str | None) -> str:
    query, until = stream.choose(monitor, None, search)[1], parts.query_values(search).get("until")
    return parts.capital(stream_asked.view_of(monitor, _named(query), stream.SPAN_AT_FIRST, until).sentence)


def _part(monitor: Monitor, search: str | None) -> str:
    return part.story_of(monitor, part.serial_of(monitor, search)).sentence


def _claims(monitor: Monitor, search: str | None) -> str:
    return claims.answer_of(monitor, claims.feature_of(search)).sentence


def _stones(monitor: Monitor, search: str | None) -> str:
    try:
        return order_words(monitor.stone_plan())  # of what the page asks, this takes the least
    except WrongUsage:
        return stone_words.first_words(monitor.stone_picture().stones)


def _gauge(monitor: Monitor, search: str | None) -> str:
    return gauge.standing_of(monitor.gauge(), gauge.choose(monitor, None, None, search)[1]).sentence


def _files(monitor: Monitor, search: str | None) -> str:
    return monitor.files(last=leafing.SHOWN, before=None).sentence


def _named(choice: Any) -> str | None:
    return choice if isinstance(choice, str) else None


FIRST: Mapping[str, Callable[[Monitor, str | None], str]] = {
    bore.PATH: _bore,
    signals.PATH: _signals,
    shifts.PATH: _shifts,
    stream.PATH: _stream,
    part.PATH: _part,
    claims.PATH: _claims,
    stones.PATH: _stones,
    gauge.PATH: _gauge,
    files.PATH: _files,
}
"""By the page's path; Now begins with each spindle's sentence instead. They refuse as the monitor does."""
