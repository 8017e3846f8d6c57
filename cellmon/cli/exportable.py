"""What `export` can be asked for: its kinds and formats, and which arguments go with which."""

from __future__ import annotations

import argparse

from cellmon.cli.answers import shift_name
from cellmon.cli.bore_records import record_refused
from cellmon.cli.papers import kinds_as
from cellmon.errors import WrongUsage
from cellmon.words import say, to_say

TABLES = ("csv", "xlsx", "json", "parquet")
FORMATS = (*TABLES, "pdf", "qif", "ics")
_SIDES = ("window", "with_", "sets", "spindles", "fixtures")
_CHOICES = ("shift", "spindle", "bore", "feature", "since", "until", *_SIDES)
_NAMED = {
    "part": to_say("the block's SERIAL"),
    "record": to_say("the block's SERIAL"),
    "hold": to_say("the signal's ID"),
}
_TAKES: dict[str, tuple[str, ...]] = {
    "capability": ("spindle", "bore", "feature", "since", "until"),
    "compare": ("spindle", "bore", "feature", "since", "until", *_SIDES),
    "shift": ("shift", "feature"),
    "signals": (),
    "hold": (),
    "bores": ("since", "until"),
    "part": (),
    "record": ("bore",),
    "fit": ("since", "until"),
    "audits": ("spindle", "bore", "feature"),
    "stones": (),
    "stone-plan": (),
    "stone-orders": (),
}


def export_refused(args: argparse.Namespace) -> None:
    """Refuse arguments that do not go together; a shift named behind its kind is put where `--shift` would.

    Raises
    ------
    WrongUsage
        Naming what does not go.
    """
    _kind_refused(args)
    if args.by_day and (args.kind, args.to) != ("bores", "parquet"):
        raise WrongUsage(say("--by-day goes with export bores --to parquet"))
    if args.by_day and (args.since or args.until):
        raise WrongUsage(say("--by-day writes the whole cell, up to --as-of; it takes no --since or --until"))
    record_refused(args)
    if args.schema is not None and args.to != "qif":
        raise WrongUsage(say("--schema goes with --to qif"))
    if args.kind == "shift" and args.serial is not None:
        args.shift, args.serial = _one_shift(args), None
    if (args.kind in _NAMED and not args.blank) != (args.serial is not None):
        needs = _NAMED.get(args.kind)
        if needs is None:
            raise WrongUsage(say("export {kind} takes no name", kind=args.kind))
        raise WrongUsage(say("export {kind} needs {name}", kind=args.kind, name=say(needs)))
    unused = [
        f"--{name.rstrip('_')}" for name in _CHOICES if getattr(args, name) and name not in _TAKES[args.kind]
    ]
    if unused:
        options = say(" or ").join(unused)
        raise WrongUsage(say("export {kind} takes no {options}", kind=args.kind, options=options))


def _kind_refused(args: argparse.Namespace) -> None:
    if args.kind not in _TAKES:
        text = to_say("nothing is exported as {kind}; there are {kinds}")
        raise WrongUsage(say(text, kind=args.kind, kinds=", ".join(_TAKES)))
    if args.to not in FORMATS:
        text = to_say("no format is called {format}; there are {formats}")
        raise WrongUsage(say(text, format=args.to, formats=", ".join(FORMATS)))
    if args.to not in TABLES and args.kind not in kinds_as(args.to):
        others = ", ".join(kinds_as(args.to))
        text = to_say("export {kind} is not made as {format}; as {format} there are {kinds}")
        raise WrongUsage(say(text, kind=args.kind, format=args.to, kinds=others))


def _one_shift(args: argparse.Namespace) -> str:
    """Return the shift named behind `export shift`; it may be named once."""
    if args.shift is not None:
        raise WrongUsage(say("name the shift once: behind export shift, or with --shift"))
    try:
        return shift_name(args.serial)
    except argparse.ArgumentTypeError as wrong:
        raise WrongUsage(str(wrong)) from wrong
