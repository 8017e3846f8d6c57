"""Who is signed in: kept here, by the server, so that signing out ends it at once.

A browser holds a random ticket; the file holds only its hash, so neither the file nor a copy of it lets
anybody in. The file is written when somebody signs in or out, and now and then for when they were last
there; where it cannot be written, sign-ins last until the server stops.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import os
import secrets
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from threading import Lock

from cellmon.people import Person, key_of

MINUTE, HOUR, DAY = 60.0, 3600.0, 86_400.0
IDLE_S, LONGEST_S = 30 * MINUTE, 12 * HOUR
"""A person's sign-in ends so long after they last did something, and so long after it began.

NIST SP 800-63B, section 4.2.3, asks for both where more than one factor is used; we keep them for one.
"""
SHARED_IDLE_S, SHARED_LONGEST_S = 7 * DAY, 30 * DAY
"""Those of a shared tablet, which decides nothing by itself."""
TAPPED_S = 5 * MINUTE
"""So long a code said on a tablet holds for 'seen', and for nothing else."""
WRITE_EVERY_S = 5 * MINUTE
FILE = "sign-ins.json"


@dataclass(frozen=True, kw_only=True)
class Left:
    """How many seconds a sign-in holds yet."""

    idle_s: float
    """Where nobody does anything."""
    longest_s: float
    """Whatever is done."""


@dataclass(frozen=True)
class SignIn:
    """One browser's sign-in."""

    name: str
    changed: int
    """The journal's entry that had changed the account last; another ends it."""
    shared: bool
    began: float
    used: float

    def left(self, now: float) -> Left:
        """Return how long it holds yet."""
        idle, longest = (SHARED_IDLE_S, SHARED_LONGEST_S) if self.shared else (IDLE_S, LONGEST_S)
        return Left(idle_s=idle - (now - self.used), longest_s=longest - (now - self.began))

    def holds(self, now: float) -> bool:
        """Return whether it has not ended yet."""
        left = self.left(now)
        return left.idle_s > 0 and left.longest_s > 0 and now - self.began > -MINUTE


class SignIns:
    """Every sign-in, by the hash of its ticket."""

    def __init__(self, folder: Path | None, clock: Callable[[], float]) -> None:
        self._file = None if folder is None else folder / FILE
        self._clock, self._lock = clock, Lock()
        self._known: dict[str, SignIn] = _read(self._file)
        self._tapped: dict[str, tuple[str, float]] = {}
        self._written = clock()

    def begin(self, person: Person) -> str:
        """Sign a person in; return the ticket."""
        ticket, now = secrets.token_urlsafe(32), self._clock()
        with self._lock:
            self._known = {key: one for key, one in self._known.items() if one.holds(now)}
            self._known[_key(ticket)] = SignIn(
                name=person.name, changed=person.changed, shared=person.shared, began=now, used=now
            )
            self._write(now)
        return ticket

    def whose(self, ticket: str | None, people: Mapping[str, Person], *, used: bool) -> Person | None:
        """Return who is signed in with a ticket; `used` where a person, not an open page, asks.

        None where the ticket is unknown or over, or the account was changed since.
        """
        if not ticket:
            return None
        key, now = _key(ticket), self._clock()
        with self._lock:
            found = self._known.get(key)
            person = None if found is None else people.get(key_of(found.name))
            if found is None or person is None or person.changed != found.changed or not found.holds(now):
                self._forget(key, now)
                return None
            if used and now > found.used:
                self._known[key] = replace(found, used=now)
                if now - self._written > WRITE_EVERY_S:
                    self._write(now)
        return person

    def left(self, ticket: str) -> Left | None:
        """Return how long a sign-in holds yet; None where there is none."""
        with self._lock:
            found = self._known.get(_key(ticket))
        return None if found is None else found.left(self._clock())

    def end(self, ticket: str | None) -> None:
        """Sign out whoever has a ticket."""
        if ticket:
            with self._lock:
                self._forget(_key(ticket), self._clock())

    def remember_tap(self, ticket: str, name: str) -> None:
        """Remember for some minutes who said a code on a tablet."""
        with self._lock:
            self._tapped[_key(ticket)] = (name, self._clock())

    def tapped(self, ticket: str) -> str | None:
        """Return who said a code on a tablet in the last minutes."""
        with self._lock:
            name, at = self._tapped.get(_key(ticket), (None, 0.0))
        return name if 0 <= self._clock() - at < TAPPED_S else None

    def _forget(self, key: str, now: float) -> None:
        self._tapped.pop(key, None)
        if self._known.pop(key, None) is not None:
            self._write(now)

    def _write(self, now: float) -> None:
        """Write the file anew and put it in place whole; its owner alone may read it."""
        self._written = now
        if self._file is None:
            return
        beside = self._file.with_suffix(".new")
        text = json.dumps({key: asdict(one) for key, one in self._known.items()}, indent=1)
        with suppress(OSError):
            beside.unlink(missing_ok=True)
            handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(handle, "w", encoding="utf-8") as file:
                file.write(text)
            beside.replace(self._file)


def form_token(ticket: str) -> str:
    """Return what a form of a signed-in page carries, so that no other site can send it.

    It follows from the ticket, which other sites cannot read, and does not give it away.
    """
    return hmac.new(ticket.encode(), b"form", hashlib.sha256).hexdigest()


def _key(ticket: str) -> str:
    return hashlib.sha256(ticket.encode("utf-8", "surrogatepass")).hexdigest()


def _read(file: Path | None) -> dict[str, SignIn]:
    """Return the sign-ins of a file; none where there is no file, or it does not hold what it should."""
    if file is None:
        return {}
    try:
        found = json.loads(file.read_text(encoding="utf-8"))
        return {
            str(key): SignIn(
                name=str(one["name"]),
                changed=int(one["changed"]),
                shared=bool(one["shared"]),
                began=float(one["began"]),
                used=float(one["used"]),
            )
            for key, one in found.items()
        }
    except (OSError, ValueError, TypeError, AttributeError, KeyError):
        return {}
