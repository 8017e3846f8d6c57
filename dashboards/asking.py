"""Who is asking, and what they may do: the one place where roles are held.

The gate (`dashboards.gate`) says for each request who is signed in. Every page asks through `asked`, which
refuses what that person may not do and signs decisions with their name, whatever a form or a forged
request says.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, Any, Protocol, cast

from cellmon.errors import NotAllowed, NotSignedIn
from cellmon.monitor.questions import Questions
from cellmon.people import Person, Role, key_of
from cellmon.records import ROW_BATCHES, Kind
from cellmon.words import say
from dashboards.sign_ins import Left

if TYPE_CHECKING:
    from cellmon.monitor import Monitor
    from cellmon.monitor.bore.keeping import TypedRound
    from cellmon.monitor.bore.measured import TypedBore

NEEDS: Mapping[str, Role] = {
    "keep_measured": Role.ANSWER,
    "keep_round": Role.ANSWER,
    "log": Role.ANSWER,
    "log_rows": Role.ANSWER,
    "respond": Role.ANSWER,
    "retry_aside": Role.ANSWER,
    "take": Role.ANSWER,
    "take_bytes": Role.ANSWER,
    "tell_block": Role.ANSWER,
    "adopt": Role.DECIDE,
    "correct": Role.DECIDE,
    "extend_hold": Role.DECIDE,
    "freeze": Role.DECIDE,
    "release": Role.DECIDE,
    "release_setup": Role.DECIDE,
    "sign": Role.DECIDE,
    "sign_capability": Role.DECIDE,
    "take_row": Role.DECIDE,
}
"""What is done, not only asked, and the role it needs; whatever is not named here needs the highest."""
NEVER = frozenset(
    {
        "add_person",
        "back_up",
        "close",
        "known_people",
        "make_token",
        "may_serve",
        "move",
        "open",
        "remove_person",
        "set_code",
        "set_password",
        "set_role",
        "with_code",
        "with_password",
        "with_token",
        "withdraw_token",
    }
)
"""What no page may do: accounts and the store itself are managed in the cell folder, by commands."""
BESIDE = ("took_s", "kept_before")
"""What a monitor tells of what is done here."""
READS = frozenset(name for name in (*dir(Questions), *BESIDE) if not name.startswith("_")) - NEVER
"""Questions: all a person with the lowest role may ask."""


class Door(Protocol):
    """What pages ask of the gate: names to tap on a tablet, whose a code is, how long a sign-in holds."""

    def names(self) -> tuple[str, ...]:
        """Return who could say a code."""

    def tapped(self, asking: Asking) -> str | None:
        """Return who said a code on this tablet in the last minutes."""

    def tap(self, asking: Asking, name: str, code: str, *, lightly: bool) -> Person:
        """Return whose name and code these are, or refuse."""

    def left(self, asking: Asking) -> Left | None:
        """Return how long a sign-in holds yet."""


@dataclass(frozen=True, kw_only=True)
class Asking:
    """Who sent a request.

    Attributes
    ----------
    person : Person
        Whose account is signed in.
    ticket : str
        The key of their sign-in; never shown.
    address : str
        Where the request came from.
    acting : Person, optional
        Who said a name and a code on a shared tablet, for this one request.
    """

    person: Person
    ticket: str
    address: str
    door: Door
    acting: Person | None = None

    @property
    def who(self) -> Person:
        """In whose name something is done."""
        return self.acting or self.person


_asking: ContextVar[Asking | None] = ContextVar("asking", default=None)


def asking() -> Asking | None:
    """Return who is asking; None where nothing is asked of anybody, on this machine alone."""
    return _asking.get()


def ask_as(one: Asking | None) -> None:
    """Say who is asking, until said otherwise."""
    _asking.set(one)


@contextmanager
def as_asked_by(one: Asking | None) -> Iterator[None]:
    """Say who is asking, for a while."""
    before = _asking.set(one)
    try:
        yield
    finally:
        _asking.reset(before)


class Asked:
    """A monitor that does only what whoever asks may do."""

    def __init__(self, monitor: Monitor) -> None:
        self._monitor = monitor

    def __getattr__(self, name: str) -> Any:
        """Return a question as it is, and anything done behind the one check of roles."""
        if name.startswith("_"):
            raise AttributeError(name)
        if name in NEVER:
            raise NotAllowed(say("This is not done from a page."))
        found = getattr(self._monitor, name)
        if not callable(found):
            return found
        return found if name in READS else partial(self._do, name, found)

    def _do(self, name: str, deed: Callable[..., Any], /, *given: Any, **named: Any) -> Any:
        who = allowed(NEEDS.get(name, Role.DECIDE))
        if name == "log":
            return self._log(deed, who, *given, **named)
        if name == "log_rows":
            return self._log_rows(deed, who, *given, **named)
        if name in ("keep_round", "keep_measured"):
            return self._keep_typed(deed, who, *given, **named)
        return deed(*given, **_signed(named, who))

    def _log(self, deed: Callable[..., Any], who: Person, kind: Kind, values: Mapping[str, Any]) -> Any:
        return deed(kind, _signed_row(kind, values, who))

    def _log_rows(
        self, deed: Callable[..., Any], who: Person, kind: Kind, rows: Sequence[Mapping[str, Any]]
    ) -> Any:
        return deed(kind, [_signed_row(kind, row, who) for row in rows])

    def _keep_typed(self, deed: Callable[..., Any], who: Person, typed: TypedRound | TypedBore) -> Any:
        return deed(replace(typed, **_signed({"by": typed.by or who.name}, who)))


def asked(monitor: Monitor) -> Monitor:
    """Return a monitor that answers as this one does, to those who may ask."""
    return cast("Monitor", Asked(monitor))


def allowed(needed: Role) -> Person:
    """Return in whose name something is done that needs a role.

    Raises
    ------
    NotSignedIn
        When nobody is asking.
    NotAllowed
        When they may not.
    """
    one = asking()
    if one is None:
        raise NotSignedIn(say("Sign in first."))
    if one.who.role.covers(needed):
        return one.who
    if one.person.shared and one.acting is None:
        raise NotAllowed(say("Say who decides: a name and its code."))
    if needed is Role.ANSWER:
        raise NotAllowed(say("{name} may only look.", name=one.who.name))
    raise NotAllowed(say("{name} may not decide this; somebody with the role decide may.", name=one.who.name))


def _signed(named: Mapping[str, Any], who: Person) -> dict[str, Any]:
    """Return what was said with `by` as it must be; what says another name is refused."""
    said = named.get("by")
    if said is not None and key_of(str(said)) != key_of(who.name):
        raise NotAllowed(say("{name} cannot decide in the name of {other}.", name=who.name, other=said))
    return {**named, "by": who.name} if said is not None else dict(named)


def _signed_row(kind: Kind, values: Mapping[str, Any], who: Person) -> dict[str, Any]:
    """Return a row typed by hand, with who typed it wherever its kind has room for that."""
    signed = _signed({name: value for name, value in values.items() if (name, value) != ("by", "")}, who)
    if any(column.name == "by" for column in ROW_BATCHES[kind].columns()):
        signed["by"] = who.name
    return signed
