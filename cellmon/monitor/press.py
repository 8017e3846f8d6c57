"""A press by its name: what is done by it is done once, however often it is sent.

Whoever sends it gives it a name of its own and sends it under that name until an answer has come. The name is
kept with what is done, in the same transaction, so it holds through a restart and a lost connection.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass

import numpy as np

from cellmon import local
from cellmon.errors import KeptBefore
from cellmon.monitor.rules import Rules
from cellmon.shifts import to_local
from cellmon.store import Session
from cellmon.words import say


@dataclass
class Press:
    """One press while it is answered."""

    name: str
    was_kept: bool = False
    """Whether what it does is in the store, by this answer or since before."""
    is_begun: bool = False


_press: ContextVar[Press | None] = ContextVar("press", default=None)


@contextmanager
def named(name: str) -> Iterator[Press]:
    """Do what follows as one press of a name."""
    before = _press.set(Press(name=name))
    try:
        press = _press.get()
        assert press is not None
        yield press
    finally:
        _press.reset(before)


def now() -> Press | None:
    """Return the press that is answered; None where nothing was pressed, as in a command."""
    return _press.get()


def words_of(session: Session, rules: Rules) -> str | None:
    """Return that what is pressed was kept before, and when; None where it was not."""
    press = _press.get()
    at = None if press is None or press.is_begun else session.pressed(press.name)
    if press is None or at is None:
        return None
    press.was_kept = True
    moment = local.moment(to_local(at, rules.now.zone))
    return say("This was kept the first time it was pressed, {at}; nothing was done twice.", at=moment)


@contextmanager
def once(session: Session, rules: Rules, *, at: np.datetime64) -> Iterator[None]:
    """Write what a press does, and that it was; without a press just write.

    Raises
    ------
    KeptBefore
        When it was done before.
    """
    told, press = words_of(session, rules), _press.get()
    if told is not None:
        raise KeptBefore(told)
    yield
    if press is not None and not press.is_begun:
        session.keep_press(press.name, at=at)
        press.is_begun = True
