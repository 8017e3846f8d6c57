"""What `export` hands over beside tables: papers to sign, the workbook of capability, results in QIF."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from cellmon.cli.arguments import stream_choice, window, zone_of
from cellmon.cli.wording import count
from cellmon.errors import WrongUsage
from cellmon.words import say, say_many

if TYPE_CHECKING:
    from cellmon.monitor import Monitor
    from cellmon.monitor.submission import Submission


@dataclass(frozen=True, kw_only=True, eq=False)
class HandedOver:
    """A file in the making: how to write it, as of when, of what, and what is said of it."""

    write: Callable[[Path], object]
    as_of: datetime
    scope: tuple[str | None, ...]
    words: str


def paper_arguments(parser: argparse.ArgumentParser) -> None:
    """Add `--paper`."""
    parser.add_argument(
        "--paper", choices=("a4", "letter"), default="a4", help="with pdf: the sheet of paper (default a4)"
    )


def schema_argument(parser: argparse.ArgumentParser) -> None:
    """Add `--schema`."""
    parser.add_argument(
        "--schema", metavar="DIR", type=Path, help="with qif: hold the file against the schema in this folder"
    )


def _submission(args: argparse.Namespace, monitor: Monitor) -> Submission:
    during = window(args, monitor)
    return monitor.submission(**stream_choice(args), since=during["since"], until=during["until"])


def _streams(streams: int) -> str:
    return say_many("{n} stream", "{n} streams", streams, n=count(streams))


def _capability_pdf(args: argparse.Namespace, monitor: Monitor) -> HandedOver:
    from cellmon.export.capability_paper import capability_head, capability_leaves
    from cellmon.export.paper import PaperSize, write_pdf

    answer, size = _submission(args, monitor), PaperSize(args.paper)
    leaves, head = capability_leaves(answer, size=size), capability_head(answer)
    return HandedOver(
        write=lambda path: write_pdf(leaves, path, head=head, size=size),
        as_of=answer.as_of,
        scope=tuple(stream_choice(args).values()),
        words=_streams(len(answer.statements)),
    )


def _capability_xlsx(args: argparse.Namespace, monitor: Monitor) -> HandedOver:
    from cellmon.export.capability_book import write_capability_book

    answer, zone = _submission(args, monitor), zone_of(monitor)
    return HandedOver(
        write=lambda path: write_capability_book(answer, path, zone=zone),
        as_of=answer.as_of,
        scope=tuple(stream_choice(args).values()),
        words=_streams(len(answer.statements)),
    )


def _shift_pdf(args: argparse.Namespace, monitor: Monitor) -> HandedOver:
    from cellmon.export.handover_paper import handover_head, handover_leaves
    from cellmon.export.paper import PaperSize, write_pdf

    if args.feature is not None:
        raise WrongUsage(say("the handover page is of all features; csv, xlsx and json take --feature"))
    answer, size = monitor.handover(shift=args.shift), PaperSize(args.paper)
    leaves, head = handover_leaves(answer, size=size), handover_head(answer)
    return HandedOver(
        write=lambda path: write_pdf(leaves, path, head=head, size=size),
        as_of=answer.as_of,
        scope=(None if answer.shift is None else str(answer.shift).replace("/", "-"),),
        words=say_many(
            "{n} signal of the shift, {open} open",
            "{n} signals of the shift, {open} open",
            len(answer.moved),
            n=count(len(answer.moved)),
            open=len(answer.open),
        ),
    )


def _signals_pdf(args: argparse.Namespace, monitor: Monitor) -> HandedOver:
    from cellmon.export.paper import PaperSize, write_pdf
    from cellmon.export.signals_paper import signals_head, signals_leaves

    answer, size = monitor.signals(), PaperSize(args.paper)
    leaves, head = signals_leaves(answer, size=size), signals_head(answer, cell=monitor.sheet.cell.name)
    return HandedOver(
        write=lambda path: write_pdf(leaves, path, head=head, size=size),
        as_of=answer.as_of,
        scope=(),
        words=say_many("{n} signal", "{n} signals", len(answer.signals), n=count(len(answer.signals))),
    )


def _part_pdf(args: argparse.Namespace, monitor: Monitor) -> HandedOver:
    from cellmon.export.paper import PaperSize, write_pdf
    from cellmon.export.part_paper import part_head, part_leaves

    answer, size = monitor.part(args.serial), PaperSize(args.paper)
    leaves, head = part_leaves(answer, size=size), part_head(answer, cell=monitor.sheet.cell.name)
    return HandedOver(
        write=lambda path: write_pdf(leaves, path, head=head, size=size),
        as_of=answer.as_of,
        scope=(args.serial,),
        words=say_many(
            "{n} measurement", "{n} measurements", len(answer.measurements), n=count(len(answer.measurements))
        ),
    )


def _record_pdf(args: argparse.Namespace, monitor: Monitor) -> HandedOver:
    from cellmon.cli.bore_records import record_of
    from cellmon.export.bore_paper import record_head, record_leaves
    from cellmon.export.paper import PaperSize, write_pdf

    answer, size = record_of(args, monitor), PaperSize(args.paper)
    leaves, head = record_leaves(answer, size=size), record_head(answer)
    return HandedOver(
        write=lambda path: write_pdf(leaves, path, head=head, size=size),
        as_of=answer.as_of,
        scope=("blank",) if answer.blank else (args.serial, args.bore),
        words=say("blank") if answer.blank else say_many("{count} bore", "{count} bores", len(answer.bores)),
    )


def _qif(args: argparse.Namespace, monitor: Monitor) -> HandedOver:
    from cellmon.export.qif_check import write_qif

    during = window(args, monitor)
    part = args.serial if args.kind == "part" else None
    answer = monitor.results(part=part, since=during["since"], until=during["until"])
    return HandedOver(
        write=lambda path: write_qif(answer, path, schema=args.schema),
        as_of=answer.as_of,
        scope=(part,),
        words=say_many(
            "{n} value of {blocks}",
            "{n} values of {blocks}",
            len(answer.values),
            n=count(len(answer.values)),
            blocks=say_many("{n} block", "{n} blocks", len(answer.serials), n=count(len(answer.serials))),
        ),
    )


def _plan_calendar(args: argparse.Namespace, monitor: Monitor) -> HandedOver:
    from cellmon.export.calendar import plan_events, write_plan

    plan, cell = monitor.stone_plan(), monitor.sheet.cell.name
    dates = len(plan_events(plan, cell=cell))
    return HandedOver(
        write=lambda path: write_plan(plan, path, cell=cell),
        as_of=plan.as_of,
        scope=(),
        words=say_many("{count} date", "{count} dates", dates),
    )


HANDED_OVER: dict[tuple[str, str], Callable[[argparse.Namespace, Monitor], HandedOver]] = {
    ("capability", "pdf"): _capability_pdf,
    ("capability", "xlsx"): _capability_xlsx,
    ("shift", "pdf"): _shift_pdf,
    ("signals", "pdf"): _signals_pdf,
    ("part", "pdf"): _part_pdf,
    ("record", "pdf"): _record_pdf,
    ("bores", "qif"): _qif,
    ("part", "qif"): _qif,
    ("stone-plan", "ics"): _plan_calendar,
}
"""By kind and format; all other pairs are tables or documents."""


def kinds_as(format_: str) -> list[str]:
    """Return the kinds that are handed over in a format."""
    return [kind for kind, to in HANDED_OVER if to == format_]
