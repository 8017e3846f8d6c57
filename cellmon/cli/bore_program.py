"""A program at the bore: one JSON object a line in, one a line out."""

from __future__ import annotations

import argparse
import json
import sys
from typing import TYPE_CHECKING, Any

from cellmon.cli.arguments import zone_of
from cellmon.cli.bore_asked import answer_of, readings_given
from cellmon.errors import CellmonError, WrongUsage
from cellmon.words import say

if TYPE_CHECKING:
    from cellmon.cli.bore_besides import Heard
    from cellmon.monitor import Monitor
    from cellmon.monitor.bore.keeping import TypedRound


def by_program(monitor: Monitor, args: argparse.Namespace) -> int:
    """Answer one request after another, each at once."""
    _say(monitor, args, kept=False)
    if args.show:
        return 0
    for line in sys.stdin:
        if not line.strip():
            continue
        try:
            _request(monitor, args, json.loads(line))
        except (CellmonError, ValueError, TypeError) as refusal:
            _say(monitor, args, kept=False, refused=str(refusal))
    return 0


def _request(monitor: Monitor, args: argparse.Namespace, asked: dict[str, Any]) -> None:
    if not isinstance(asked, dict):
        raise WrongUsage(say("one JSON object a line"))
    unknown = set(asked) - {
        *("readings", "strokes", "stones", "rpm", "feed_um", "part_temp_c", "by", "note", "round", "sure"),
        "master_temp_c",
        *(
            "bore",
            "next_stones",
            "zero",
            "sign",
            "strokes_per_min",
            "mating_part",
            "event",
            "measured",
            "block",
        ),
    }
    if unknown:
        raise WrongUsage(say("no such key: {keys}", keys=", ".join(sorted(unknown))))
    if "bore" in asked:
        _go_to(monitor, args, str(asked["bore"]))
    if "zero" in asked:
        _keep_zero(monitor, asked["zero"], by=str(asked.get("by", args.by)))
    if "sign" in asked:
        from cellmon.monitor.bore.zero import keep_sign

        larger = float(asked["sign"]["larger_um"])
        keep_sign(monitor, str(asked["sign"]["reading"]), larger_um=larger, by=str(asked.get("by", args.by)))
    if "mating_part" in asked:
        args.mating_part = asked["mating_part"]
    if "block" in asked:
        _keep_block(monitor, args.part, asked["block"], by=str(asked.get("by", args.by)))
    if "event" in asked or "measured" in asked:
        heard = _heard(monitor, args, asked)
        _say(monitor, args, kept=heard.kept, asked=heard.asked)
        return
    if "readings" not in asked:
        _say(
            monitor,
            args,
            kept=bool({"zero", "sign", "block"} & set(asked)),
            next_stones=asked.get("next_stones"),
        )
        return
    typed = _typed(monitor, args, asked)
    looked = monitor.look_at_round(typed)
    kept = not looked.asked or bool(asked.get("sure"))
    if kept:
        monitor.keep_round(typed)
    _say(monitor, args, kept=kept, asked=looked.asked, next_stones=asked.get("next_stones"))


def _heard(monitor: Monitor, args: argparse.Namespace, asked: dict[str, Any]) -> Heard:
    """Keep a cell event, or one bore of a shift."""
    from cellmon.cli.bore_besides import event_by_program, measured_by_program

    by = str(asked.get("by", args.by))
    if "event" in asked:
        return event_by_program(monitor, asked["event"], by=by)
    return measured_by_program(monitor, asked["measured"], by=by, sure_of_it=bool(asked.get("sure")))


def _go_to(monitor: Monitor, args: argparse.Namespace, bore: str) -> None:
    """Go on with another bore of the block; one that the sheet does not name is refused."""
    if bore not in monitor.sheet.part(args.part_number).bores:
        raise WrongUsage(say("no bore {bore} in the sheet", bore=bore))
    args.bore = bore


def _typed(monitor: Monitor, args: argparse.Namespace, asked: dict[str, Any]) -> TypedRound:
    from cellmon.monitor.bore.keeping import TypedRound, strokes_of

    of_all = {"rpm": args.rpm, "strokes_per_min": args.strokes_per_min}
    named = ("rpm", "feed_um", "part_temp_c", "master_temp_c", "strokes_per_min")
    numbers = {name: asked.get(name, of_all.get(name)) for name in named}
    return TypedRound(
        part=args.part,
        bore=args.bore,
        part_number=args.part_number,
        readings=readings_given(monitor, asked["readings"]),
        strokes=strokes_of(asked.get("strokes", {})),
        stones=str(asked.get("stones", "")),
        by=str(asked.get("by", args.by)),
        note=str(asked.get("note", "")),
        number=asked.get("round"),
        **{name: None if value is None else float(value) for name, value in numbers.items()},
    )


def _say(
    monitor: Monitor,
    args: argparse.Namespace,
    *,
    kept: bool,
    asked: tuple[str, ...] = (),
    refused: str | None = None,
    next_stones: str | None = None,
) -> None:
    from cellmon.export.documents import document

    answer = document(answer_of(monitor, args, next_stones=next_stones), zone=zone_of(monitor))
    told = {"kept": kept, "asked": list(asked), "refused": refused, "bore": answer}
    sys.stdout.write(json.dumps(told) + "\n")
    sys.stdout.flush()


def _keep_block(monitor: Monitor, part: str, given: dict[str, Any], *, by: str) -> None:
    unknown = set(given) - {"job", "reference", "cleaned"}
    if unknown:
        raise WrongUsage(say("no such key: {keys}", keys=", ".join(sorted(unknown))))
    texts = {name: str(given[name]) for name in ("job", "reference") if name in given}
    cleaned = {"cleaned": bool(given["cleaned"])} if "cleaned" in given else {}
    monitor.tell_block(part, by=by, **texts, **cleaned)


def _keep_zero(monitor: Monitor, given: dict[str, Any], *, by: str) -> None:
    from cellmon.monitor.bore.zero import keep_zero

    keep_zero(monitor, str(given["reading"]), state=str(given.get("state", "as-found")), by=by)
