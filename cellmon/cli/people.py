"""The command `people`: who may sign in to the dashboard, and what they may do there."""

from __future__ import annotations

import argparse
import getpass
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING

from cellmon.cli.arguments import cell_argument, json_argument, open_monitor, words
from cellmon.cli.showing import Look, show
from cellmon.cli.terminal import clean, table, text, write
from cellmon.errors import WrongUsage
from cellmon.people import Role
from cellmon.tokens import May
from cellmon.words import say

if TYPE_CHECKING:
    from cellmon.monitor import Monitor
    from cellmon.monitor.people import People

ACTIONS = ("list", "add", "role", "remove", "password", "code", "token")
ROLES = tuple(role.value for role in Role)


def people_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of `people`."""
    parser.add_argument(
        "action", nargs="?", choices=ACTIONS, default="list", help="what to do (default: list)", metavar="DO"
    )
    parser.add_argument("name", metavar="NAME", nargs="?", type=words, help="the person, by name or a code")
    parser.add_argument("--role", choices=ROLES, help="what they may do: look, answer signals, or decide")
    parser.add_argument(
        "--shared", action="store_true", help="with add: a shared tablet, which only looks by itself"
    )
    parser.add_argument(
        "--no-password", action="store_true", help="with add: somebody who only taps a code on a tablet"
    )
    parser.add_argument(
        "--password-stdin",
        action="store_true",
        help="read the password or code from standard input, one line, instead of asking",
    )
    parser.add_argument(
        "--may",
        choices=[may.value for may in May],
        help="with token: what the program may do, hand over readings (default) or read metrics",
    )
    parser.add_argument("--withdraw", action="store_true", help="with token: take it away")
    parser.add_argument("--by", metavar="NAME", type=words, help="who does this (default: your account here)")
    cell_argument(parser)
    json_argument(parser)


def people(args: argparse.Namespace) -> int:
    """List people, or change one account."""
    _check(args)
    if args.action == "list":
        monitor = open_monitor(args)
        show(args, monitor, monitor.people(), people_lines)
        return 0
    write([clean(_DO[args.action](args, open_monitor(args)))])
    return 0


def people_lines(answer: People, look: Look) -> list[str]:
    """Return everybody as a table, or that there is nobody."""
    return [*_account_lines(answer, look), *_token_lines(answer, look)]


def _token_lines(answer: People, look: Look) -> list[str]:
    if not answer.tokens:
        return []
    headings = (text("program"), text("may"))
    may = {May.READINGS: say("hand over rows"), May.METRICS: say("read metrics")}
    return ["", *table(headings, [(t.name, may[t.may]) for t in answer.tokens], width=look.width)]


def _account_lines(answer: People, look: Look) -> list[str]:
    if not answer.people:
        return [say("Nobody has an account. On this machine nothing is asked; to serve others, add one.")]
    headings = (text("name"), text("may"), text("password"), text("tap code"), text("changed"), text("by"))
    rows = [
        (
            one.name,
            say("look; shared tablet") if one.shared else say(one.role),
            say("yes") if one.has_password else None,
            say("yes") if one.has_code else None,
            f"{one.changed_at:%Y-%m-%d %H:%M}",
            one.changed_by,
        )
        for one in answer.people
    ]
    return table(headings, rows, width=look.width)


def _check(args: argparse.Namespace) -> None:
    """Refuse what does not go together, before anything is opened or asked."""
    doing = args.action
    if (args.name is None) != (doing == "list"):
        if args.name:
            raise WrongUsage(say("people list takes no name"))
        raise WrongUsage(say("people {doing} needs a NAME", doing=doing))
    if args.json and doing != "list":
        raise WrongUsage(say("--json goes with people list"))
    if doing == "role" and args.role is None:
        raise WrongUsage(say("people role needs --role {roles}", roles="|".join(ROLES)))
    if doing == "add" and (args.role is None) == (not args.shared):
        roles = "|".join(ROLES)
        raise WrongUsage(say("people add needs --role {roles}, or --shared for a shared tablet", roles=roles))
    for option, allowed in _GOES_WITH.items():
        if getattr(args, option) and doing not in allowed:
            name, actions = option.replace("_", "-"), say(" or ").join(allowed)
            raise WrongUsage(say("--{option} goes with people {actions}", option=name, actions=actions))
    if args.no_password and args.password_stdin:
        raise WrongUsage(say("--no-password asks for none; leave out --password-stdin"))


_GOES_WITH = {
    "role": ("add", "role"),
    "shared": ("add",),
    "no_password": ("add",),
    "password_stdin": ("add", "password", "code"),
    "may": ("token",),
    "withdraw": ("token",),
    "by": ("add", "role", "remove", "password", "code", "token"),
}


def _add(args: argparse.Namespace, monitor: Monitor) -> str:
    from cellmon.passwords import check_password

    role = Role.LOOK if args.shared else Role(args.role)
    password = None
    if not args.no_password:
        password = _secret(args, say("Password of {name}", name=args.name))
        check_password(password, name=args.name)
    person = monitor.add_person(args.name, role=role, shared=args.shared, password=password, by=_by(args))
    if person.shared:
        return say("{name} is a shared tablet now: it looks by itself.", name=person.name)
    return say("{name} may {role} now.", name=person.name, role=say(person.role))


def _role(args: argparse.Namespace, monitor: Monitor) -> str:
    person = monitor.set_role(args.name, role=Role(args.role), by=_by(args))
    return say("{name} may {role} now.", name=person.name, role=say(person.role))


def _remove(args: argparse.Namespace, monitor: Monitor) -> str:
    person = monitor.remove_person(args.name, by=_by(args))
    return say("{name} has no account any more; what was decided in that name stays.", name=person.name)


def _password(args: argparse.Namespace, monitor: Monitor) -> str:
    secret = _secret(args, say("New password of {name}", name=args.name))
    person = monitor.set_password(args.name, password=secret, by=_by(args))
    return say("{name} has a new password and signs in anew.", name=person.name)


def _code(args: argparse.Namespace, monitor: Monitor) -> str:
    secret = _secret(args, say("Tap code of {name}, 4 to 8 digits", name=args.name))
    person = monitor.set_code(args.name, code=secret, by=_by(args))
    return say("{name} has a new tap code for shared tablets.", name=person.name)


def _token(args: argparse.Namespace, monitor: Monitor) -> str:
    if args.withdraw:
        if args.may:
            raise WrongUsage(say("--withdraw takes a token away, whatever it may; leave out --may"))
        return say("{name} has no token any more.", name=monitor.withdraw_token(args.name, by=_by(args)).name)
    token = monitor.make_token(args.name, may=May(args.may or May.READINGS), by=_by(args))
    sys.stderr.write(
        say("The token of {name}; it is not shown again, and an older one is void:", name=args.name) + "\n"
    )
    return token


_DO: dict[str, Callable[[argparse.Namespace, Monitor], str]] = {
    "add": _add,
    "role": _role,
    "remove": _remove,
    "password": _password,
    "code": _code,
    "token": _token,
}


def _by(args: argparse.Namespace) -> str:
    """Return who does this: as said, else the name of the account at this machine."""
    if args.by is not None:
        return str(args.by)
    try:
        return getpass.getuser()
    except (OSError, KeyError) as nobody:
        raise WrongUsage(say("say who does this with --by NAME")) from nobody


def _secret(args: argparse.Namespace, asked: str) -> str:
    """Return a password or code from a line of standard input, or typed twice without being shown."""
    if args.password_stdin:
        return sys.stdin.readline().rstrip("\r\n")
    if not sys.stdin.isatty():
        raise WrongUsage(say("there is no terminal to ask on; --password-stdin reads standard input"))
    first = getpass.getpass(f"{asked}: ")
    if getpass.getpass(say("Once more") + ": ") != first:
        raise WrongUsage(say("the two were not the same; nothing was changed"))
    return first
