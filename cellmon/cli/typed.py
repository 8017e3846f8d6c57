"""The command `log`: one row typed by hand, with the columns its kind of file declares."""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from cellmon.cli.arguments import cell_argument, located, moment, open_monitor, zone_of
from cellmon.cli.taking import DONE, status_of
from cellmon.cli.terminal import clean, write
from cellmon.errors import FileUnreadable
from cellmon.records import ROW_BATCHES, Column, ColumnType, EventKind, Kind
from cellmon.words import say, to_say

if TYPE_CHECKING:
    from cellmon.monitor.typed import Looked


@dataclass(frozen=True, kw_only=True)
class Entry:
    """What can be typed: its kind of file, the event it is, and what this one needs besides."""

    kind: Kind
    summary: str
    event: EventKind | None = None
    needs: tuple[str, ...] = ()
    leaves_out: tuple[str, ...] = ()
    help: Mapping[str, str]


NOW = "ISO 8601 (default: now)"
_BORES_BEFORE = {"value": to_say("bores these stones honed before (default 0)")}
_REMOVED = {"note": to_say("worn, chipped, trial or other")}
_OFFSET = {
    "value": to_say("um of diameter commanded; positive is larger"),
    "by": to_say("who; 'machine' for automatic ones"),
}
_ZEROED = {"value": to_say("um added to later readings: a gauge that reads 4 um large is zeroed with -4")}

ENTRIES: dict[str, Entry] = {
    "stones-fitted": Entry(
        kind=Kind.EVENTS,
        event=EventKind.STONES_FITTED,
        summary=to_say("a stone set was fitted to a spindle"),
        needs=("spindle", "stone_set"),
        leaves_out=("gauge", "bores"),
        help=_BORES_BEFORE,
    ),
    "stones-dressed": Entry(
        kind=Kind.EVENTS,
        event=EventKind.STONES_DRESSED,
        summary=to_say("the stones of a spindle were dressed"),
        needs=("spindle",),
        leaves_out=("gauge", "bores"),
        help={"value": to_say("bores honed since, where it is logged late")},
    ),
    "stones-removed": Entry(
        kind=Kind.EVENTS,
        event=EventKind.STONES_REMOVED,
        summary=to_say("a stone set was taken off"),
        needs=("spindle",),
        leaves_out=("gauge", "bores", "value"),
        help=_REMOVED,
    ),
    "feed-offset": Entry(
        kind=Kind.EVENTS,
        event=EventKind.FEED_OFFSET,
        summary=to_say("the feed of a spindle was offset"),
        needs=("spindle", "value"),
        leaves_out=("gauge", "bores"),
        help=_OFFSET,
    ),
    "gauge-zeroed": Entry(
        kind=Kind.EVENTS,
        event=EventKind.GAUGE_ZEROED,
        summary=to_say("a gauge was zeroed"),
        needs=("gauge", "value"),
        leaves_out=("spindle", "bores", "stone_set", "kind"),
        help=_ZEROED,
    ),
    "rerouted": Entry(
        kind=Kind.EVENTS,
        event=EventKind.REROUTED,
        summary=to_say("a spindle hones other bores from now on"),
        needs=("spindle",),
        leaves_out=("gauge", "value", "stone_set", "kind"),
        help={
            "bores": to_say("the bores it hones from now on, such as '1 2 3'; left out: back to the sheet")
        },
    ),
    "setup-changed": Entry(
        kind=Kind.EVENTS,
        event=EventKind.SETUP_CHANGED,
        summary=to_say("the set-up of a spindle was changed"),
        needs=("spindle",),
        leaves_out=("gauge", "bores", "value"),
        help={"note": to_say("what was changed")},
    ),
    "stone-measurement": Entry(
        kind=Kind.STONE_MEASUREMENTS, summary=to_say("the thickness of one stone at one place"), help={}
    ),
    "gauge-check": Entry(
        kind=Kind.GAUGE_CHECKS,
        summary=to_say("what a gauge read on a master"),
        help={"reading_mm": to_say("what the gauge showed"), "master_mm": to_say("the master's own size")},
    ),
    "stock": Entry(
        kind=Kind.STOCK,
        summary=to_say("stone sets that came, went or were counted"),
        help={
            "kind": to_say("the kind of stones"),
            "change": to_say(
                "sets; positive came in or is on order, negative went out; of a count: sets found"
            ),
            "movement": to_say("left out: taken where negative, ordered where --due is given, else received"),
            "use_by": to_say("the shelf life ends"),
        },
    ),
}


def log_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what can be typed, and the arguments of each."""
    events = parser.add_subparsers(title="what can be typed", metavar="EVENT", dest="event", required=True)
    for name, entry in ENTRIES.items():
        one = events.add_parser(
            name, help=entry.summary, description=f"{entry.summary[0].upper()}{entry.summary[1:]}."
        )
        for column in columns_of(entry):
            _column_argument(one, column, entry)
        one.add_argument(
            "--look", action="store_true", help="only say what is wrong or odd about it; nothing is logged"
        )
        cell_argument(one)


def columns_of(entry: Entry) -> list[Column]:
    """Return the columns that can be typed for an entry."""
    left_out = {*entry.leaves_out, *(() if entry.event is None else ("event",))}
    return [c for c in ROW_BATCHES[entry.kind].columns() if c.name not in left_out]


def _column_argument(parser: argparse.ArgumentParser, column: Column, entry: Entry) -> None:
    needed = (column.needed or column.name in entry.needs) and column.name != "at"
    option = f"--{column.name.replace('_', '-')}"
    help_ = entry.help.get(column.name) or (NOW if column.name == "at" else None)
    shown = column.name.upper() if not column.choices else None
    if column.type is ColumnType.TIME:
        parser.add_argument(option, dest=f"column_{column.name}", type=moment, metavar="TIME", help=help_)
        return
    parser.add_argument(
        option,
        dest=f"column_{column.name}",
        required=needed,
        metavar=shown,
        choices=column.choices or None,
        help=help_,
    )


def log(args: argparse.Namespace) -> int:
    """Log one typed row; the clock is asked here where no time is given."""
    entry = ENTRIES[args.event]
    monitor = open_monitor(args)
    zone = zone_of(monitor)
    values = {} if entry.event is None else {"event": entry.event.value}
    for column in columns_of(entry):
        value = getattr(args, f"column_{column.name}")
        if value is None and column.name == "at":
            value = datetime.now(tz=zone).replace(microsecond=0)
        if value is not None:
            values[column.name] = located(value, zone).isoformat() if isinstance(value, datetime) else value
    if args.look:
        return _look(monitor.look_at(entry.kind, [values]), args.event)
    row = monitor.log(entry.kind, values)
    not_logged = say("{event} not logged", event=args.event)
    if row.set_aside:
        why = row.set_aside[0]
        raise FileUnreadable(not_logged, f"{why.reason} ({why.text})")
    if row.kind is None:
        raise FileUnreadable(not_logged, row.why_not or say("it could not be read"))
    text = to_say("{event} at {at} is already known.") if row.known else to_say("{event} at {at} logged.")
    write([clean(say(text, event=args.event, at=values["at"])), *_asked_lines(row.asked)])
    return status_of([row]) if row.set_aside else DONE


def _look(looked: Looked, event: str) -> int:
    """Say what is wrong or odd about a row that is not logged yet."""
    if looked.refused:
        raise FileUnreadable(say("{event} cannot be logged", event=event), " ".join(looked.refused))
    nothing = say("it is already known") if looked.known else say("nothing odd about it")
    write(_asked_lines(looked.asked) or [clean(f"{event}: {nothing}.")])
    return DONE


def _asked_lines(asked: Sequence[str]) -> list[str]:
    return [clean(say("asked: {words}", words=words)) for words in asked]
