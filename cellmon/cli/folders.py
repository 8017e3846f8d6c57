"""Commands about the cell folder itself: demo, new, check, adopt."""

from __future__ import annotations

import argparse
from pathlib import Path

from cellmon.cli.arguments import (
    address_arguments,
    by_and_why_arguments,
    cell_argument,
    json_argument,
    listing_arguments,
    open_monitor,
)
from cellmon.cli.progress import Progress
from cellmon.cli.showing import look_of, show
from cellmon.cli.terminal import write
from cellmon.errors import WrongUsage
from cellmon.words import say


def demo_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `demo`."""
    parser.add_argument("folder", metavar="DIR", nargs="?", type=Path, default=Path("cellmon-demo"))
    parser.add_argument("--no-serve", action="store_true", help="stop before the dashboard is served")
    parser.add_argument("--hand", action="store_true", help="one block honed by hand")
    address_arguments(parser)


def demo(args: argparse.Namespace) -> int:
    """Make the demo cell, take its week, print its state and serve it."""
    import cellmon
    from cellmon.cli.ledgers import taken_sentence
    from cellmon.cli.listings import state_lines
    from cellmon.cli.serving import check_host, serve_monitor

    check_host(args.host)
    if args.hand:
        from cellmon.export.hand_demo import PART, make_hand_demo

        by_hand = make_hand_demo(args.folder)
        told = {"folder": args.folder, "part": PART}
        write([say("{folder}: one block, {part}, four bores honed by hand.", **told), ""])
        for bore in by_hand.sheet.parts[0].bores:
            sentence = by_hand.bore(part=PART, bore=bore).sentence
            write([say("Bore {bore}: {sentence}", bore=bore, sentence=sentence)])
        write(["", say("Go on: cellmon bore {part} 4 --cell {folder}", **told)])
        return 0 if args.no_serve else serve_monitor(by_hand, host=args.host, port=args.port)
    from cellmon.export.demo import make_demo

    with Progress() as progress:
        taken = make_demo(args.folder, progress)
    monitor = cellmon.open_cell(args.folder)
    write([f"{args.folder}: {taken_sentence(taken.files)}", ""])
    write(state_lines(monitor.state(), look_of(monitor)))
    write(["", say("Ask it more: cellmon signals --cell {folder}", folder=args.folder)])
    return 0 if args.no_serve else serve_monitor(monitor, host=args.host, port=args.port)


def new_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `new`."""
    parser.add_argument("folder", metavar="DIR", type=Path, help="the folder to make")
    parser.add_argument(
        "--from", dest="from_file", metavar="FILE", type=Path, help="propose the sheet from readings"
    )
    parser.add_argument("--hand", action="store_true", help="ask a few questions instead")


def new(args: argparse.Namespace) -> int:
    """Make a cell folder with a commented sheet."""
    if args.hand:
        return _new_by_hand(args.folder)
    if args.from_file is not None and not args.from_file.is_file():
        raise WrongUsage(say("no such file: {file}", file=args.from_file))
    from cellmon.monitor.new import new_cell

    made = new_cell(args.folder, from_file=args.from_file)
    write(
        [
            say(
                "Made {folder}. Its cell sheet says what is honed, measured and watched: "
                "read and correct it.",
                folder=made,
            ),
            say("Then: cellmon check --cell {folder}", folder=args.folder),
        ]
    )
    return 0


def _new_by_hand(folder: Path) -> int:
    from cellmon.cli.hand_questions import asked_sheet
    from cellmon.monitor.hand_sheet import new_hand_cell

    sheet = folder / "cell.toml"
    if sheet.exists():
        raise WrongUsage(say("{file} is already there; it was left as it is", file=sheet))
    made = new_hand_cell(folder, asked_sheet())
    write(
        [
            say("Made {sheet}. Read it and correct it.", sheet=made),
            say("Then: cellmon bore SERIAL 1 --cell {folder}", folder=folder),
        ]
    )
    return 0


def check_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `check`."""
    parser.add_argument("--rebuild", action="store_true", help="compute everything anew and compare")
    listing_arguments(parser)


def check(args: argparse.Namespace) -> int:
    """Check the sheet and the store; status 1 when the store is not sound."""
    from cellmon.cli.checked import check_lines

    monitor = open_monitor(args)
    answer = monitor.check(rebuild=args.rebuild)
    show(args, monitor, answer, check_lines)
    return 0 if answer.sound else 1


def adopt_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `adopt`."""
    by_and_why_arguments(parser)
    cell_argument(parser)
    json_argument(parser)


def adopt(args: argparse.Namespace) -> int:
    """Put the sheet on disk in force."""
    from cellmon.cli.checked import check_lines

    monitor = open_monitor(args)
    show(args, monitor, monitor.adopt(by=args.by, why=args.why), check_lines)
    return 0
