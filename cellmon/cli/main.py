"""The command `cellmon`: which commands there are, and how each ends.

Nothing but argparse is imported until a command is chosen; each command brings its own arguments.
"""

from __future__ import annotations

import argparse
import importlib
import io
import os
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, NoReturn

from cellmon import __version__
from cellmon.errors import CellmonError, WrongUsage

INTERRUPTED = 130
"""Exit status after Ctrl-C, as shells give it (128 + SIGINT)."""


@dataclass(frozen=True, kw_only=True)
class Command:
    """One command; `module` of `cellmon.cli` holds `<name>_arguments(parser)` and `<name>(args)`.

    A hyphen of the name is an underscore there.
    """

    name: str
    module: str
    summary: str

    def part(self, name: str) -> Callable[..., Any]:
        """Return a function of the command's module, imported now."""
        module = importlib.import_module(f"cellmon.cli.{self.module}")
        found: Callable[..., Any] = getattr(module, name.replace("-", "_"))
        return found


COMMANDS = tuple(
    Command(name=name, module=module, summary=summary)
    for name, module, summary in (
        ("demo", "folders", "make a cell folder with the demo week taken, print its state, serve it"),
        ("new", "folders", "make a cell folder with a commented sheet"),
        ("check", "folders", "check the sheet and the store"),
        ("adopt", "folders", "put a changed sheet in force"),
        ("take", "taking", "take files: rows taken, already known, set aside"),
        ("files", "taking", "list the files that were taken, and what of them waits"),
        ("receive", "receiving", "take what arrives in the inbox, until stopped"),
        ("aside", "taking", "list the rows set aside, take them again, or take one corrected"),
        ("log", "typed", "type in an event, stone measurement, gauge check or stock movement"),
        ("flags", "taking", "list the measurements that are doubted"),
        ("correct", "decisions", "decide a doubt: accept the proposal or keep the row as it is"),
        ("state", "answers", "every spindle and stream now, and what is due"),
        ("shifts", "answers", "X-bar/R of every stream per shift, against the shift before"),
        ("stream", "streams", "one stream in depth: its subgroups, limits, wear line, events and signals"),
        ("signals", "answers", "what was detected, since when, why it may be, and what was answered"),
        ("respond", "decisions", "answer a signal, or acknowledge it"),
        ("hold", "decisions", "the parts to contain after a signal"),
        ("release", "decisions", "say what became of parts on hold"),
        ("first-bores", "decisions", "what the first bores after a change say, and who lets the spindle run"),
        ("alarms", "answers", "how many false alarms to expect, and what each rule set costs"),
        ("run-length", "run_length", "how long a chart runs until it calls, or the limit for a length"),
        ("joint", "answers", "the features of one bore judged together"),
        ("audits", "audited", "what other instruments and eyes found, with limits of its own"),
        ("part", "answers", "all that is known of one block"),
        ("bore", "bores", "one bore in the hand: measure, see, what next, round by round"),
        ("setup", "setup", "speed, stroke, overrun and crosshatch of a hone, with cautions"),
        ("stones", "stones", "what is left of every stone set, dull or worn, and what to do"),
        ("fit", "fit", "clearance of bores and the parts that go in, by chance, by grades, pair by pair"),
        ("traces", "traces", "form from roundness traces, and what the two-point gauge missed"),
        ("baseline", "decisions", "show and propose limits, or freeze them"),
        ("sign", "signing", "what waits for a second person; sign it or refuse it"),
        ("capability", "answers", "indices with intervals, and what forbids a claim"),
        ("compare", "compared", "two times, stone sets, spindles or fixtures against each other"),
        ("gauge", "gauges", "whether the gauges can be believed, and what they are worth"),
        ("study", "studies", "streams, signals and stones of many archived cells"),
        ("plant", "plants", "the cells that one database holds, and when each was last fed"),
        ("export", "outputs", "write a table to a file: csv, xlsx, json or parquet"),
        ("journal", "keeping", "who decided what, when and why, and whether anything was changed since"),
        ("backup", "keeping", "write one file that holds the whole cell, while it goes on"),
        ("restore", "keeping", "make a cell folder from a backup, counted and hashed"),
        ("move", "keeping", "move the cell to another store, counted and hashed"),
        ("words", "languages", "make or bring up to date a file with the words of another language"),
        ("people", "people", "who may sign in to the dashboard, and what they may do there"),
        ("serve", "serving", "serve the dashboard on this machine, or with sign-in to others"),
    )
)


class Parser(argparse.ArgumentParser):
    """A parser that takes its arguments only when used, and refuses with one sentence."""

    def __init__(self, *, command: Command | None = None, **options: Any) -> None:
        super().__init__(**options | {"allow_abbrev": False})
        self._command = command

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        """Declare the command's own arguments, once, then parse."""
        if self._command is not None:
            command, self._command = self._command, None
            command.part(f"{command.name}_arguments")(self)
            self.set_defaults(command=command)
        return super().parse_known_args(args, namespace)

    def error(self, message: str) -> NoReturn:
        """Raise what argparse would print with its usage."""
        raise WrongUsage(f"{message} (see {self.prog} --help)")


def build_parser() -> Parser:
    """Return the parser of the whole command line."""
    parser = Parser(
        prog="cellmon",
        description="Watch a production honing cell: bores in, limits, signals and capability out. "
        "It advises; a qualified person decides.",
        epilog="cellmon COMMAND --help says more. Exit status: 0 done; 1 it failed; 2 wrong usage or sheet; "
        "3 some rows set aside; 4 nothing in a file could be read.",
    )
    parser.add_argument("--version", action="version", version=f"cellmon {__version__}")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", parser_class=Parser, required=True)
    for command in COMMANDS:
        commands.add_parser(
            command.name, help=command.summary, description=_sentence(command.summary), command=command
        )
    return parser


def _sentence(summary: str) -> str:
    return summary[0].upper() + summary[1:] + "."


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status; `argv` as of the shell, without the program."""
    _never_fail_on_a_letter()
    _count_in_one_thread()
    try:
        args = build_parser().parse_args(argv)
        status: int = args.command.part(args.command.name)(args)
        sys.stdout.flush()
    except CellmonError as refusal:
        return _refuse(str(refusal), refusal.exit_status)
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:
        _close_quietly()
        return 1
    except OSError as failure:
        where = f"{failure.filename}: " if failure.filename else ""
        return _refuse(f"{where}{failure.strerror or failure}", 1)
    return status


def _count_in_one_thread() -> None:
    """Let linear algebra work in one thread, unless somebody said otherwise; before numpy is imported.

    Products here are small: a second thread waits for the first one far longer than it works.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


def _refuse(sentence: str, status: int) -> int:
    shown = "".join(c if c.isprintable() or c == "\n" else "?" for c in sentence)
    print(f"cellmon: {shown}", file=sys.stderr)
    return status


def _never_fail_on_a_letter() -> None:
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")


def _close_quietly() -> None:
    """Point standard output at nothing, so that closing it at exit does not complain again."""
    try:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except (OSError, io.UnsupportedOperation):
        return
