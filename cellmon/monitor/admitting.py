"""The monitor's door: who there is, what they may do, and whether a password or code is theirs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from cellmon.monitor.late import Late
from cellmon.monitor.opened import Opened, clock, question
from cellmon.people import Person, Role
from cellmon.tokens import May, Token

if TYPE_CHECKING:
    from cellmon.monitor import people as _people
    from cellmon.monitor import tokens as _tokens
else:
    _people = Late("people")
    _tokens = Late("tokens")


class Admitting(Opened):
    """The part of a monitor that knows people."""

    people = question(lambda: _people.people)
    """Everybody who has an account."""

    def add_person(
        self, name: str, *, role: Role, by: str, shared: bool = False, password: str | None = None
    ) -> Person:
        """Make an account of a person, or of a shared tablet."""
        with self._store.writing() as session:
            return _people.add(session, name, role=role, shared=shared, password=password, by=by, at=clock())

    def set_role(self, name: str, *, role: Role, by: str) -> Person:
        """Give a person another role."""
        with self._store.writing() as session:
            return _people.set_role(session, name, role=role, by=by, at=clock())

    def remove_person(self, name: str, *, by: str) -> Person:
        """Take an account away; what was decided in its name stays."""
        with self._store.writing() as session:
            return _people.remove(session, name, by=by, at=clock())

    def set_password(self, name: str, *, password: str, by: str) -> Person:
        """Give a person a new password."""
        with self._store.writing() as session:
            return _people.set_password(session, name, password=password, by=by, at=clock())

    def set_code(self, name: str, *, code: str, by: str) -> Person:
        """Give a person the code by which they decide on a shared tablet."""
        with self._store.writing() as session:
            return _people.set_code(session, name, code=code, by=by, at=clock())

    def known_people(self) -> dict[str, Person]:
        """Return everybody with an account, by `cellmon.people.key_of` of the name."""
        with self._store.reading() as session:
            return _people.known_people(session)

    def with_password(self, name: str, password: str) -> Person | None:
        """Return the person whose name and password these are; None where they do not fit."""
        with self._store.reading() as session:
            return _people.whose(session, name, password, kind=_people.PASSWORD)

    def with_code(self, name: str, code: str) -> Person | None:
        """Return the person whose name and tap code these are; None where they do not fit."""
        with self._store.reading() as session:
            return _people.whose(session, name, code, kind=_people.CODE)

    def make_token(self, name: str, *, may: May, by: str) -> str:
        """Return a new token for a program; it is shown this once, and only its hash is kept."""
        with self._store.writing() as session:
            return _tokens.make(session, name, may=may, by=by, at=clock())

    def withdraw_token(self, name: str, *, by: str) -> Token:
        """Take a token away; what came with it stays."""
        with self._store.writing() as session:
            return _tokens.withdraw(session, name, by=by, at=clock())

    def with_token(self, token: str) -> Token | None:
        """Return whose token this is; None where it is nobody's."""
        with self._store.reading() as session:
            return _tokens.with_token(session, token)

    def may_serve(self) -> bool:
        """Return whether somebody could sign in and decide."""
        with self._store.reading() as session:
            return _people.may_serve(session)
