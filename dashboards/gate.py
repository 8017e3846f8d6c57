"""The gate before every page and answer: who may come in, from where, with what.

One function sees each request before anything else does. In order: is the dashboard meant by this host
name; does a request that changes something come from our own page; is somebody signed in; is it well made.
What passes is asked in that person's name (`dashboards.asking`). docs/security.md says what each stops.
"""

from __future__ import annotations

import hashlib
import logging
import re
import time
from base64 import b64encode
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dash import Dash
from flask import Flask, Request, Response, jsonify, request
from werkzeug.exceptions import InternalServerError

from cellmon.errors import CellmonError, NotAllowed, NothingKept, NotSignedIn, PerhapsKept, StoreRefused
from cellmon.people import Person, Role, key_of
from cellmon.tokens import May
from cellmon.words import say
from dashboards import readings, sign_in, watched_over, well_made
from dashboards.asking import Asking, ask_as
from dashboards.attempts import Attempts, TooOften
from dashboards.reached import Reached
from dashboards.sign_ins import Left, SignIns

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

LOG = logging.getLogger("cellmon.gate")
SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
FIXED = ("/assets/", "/_dash-component-suites/")
"""What anybody may have: style and scripts, the same for every cell and nothing of this one."""
FOREVER = "public, max-age=31536000, immutable"
"""For what is asked with the moment it was written (`?m=`): written anew it has another address."""
OPEN = frozenset({"/_favicon.ico", sign_in.PATH, watched_over.HEALTH})
"""So with the icon, the way in, and whether all is well in one word."""
UPDATE = "/_dash-update-component"
FORWARDED = ("X-Forwarded-For", "X-Forwarded-Host", "X-Forwarded-Proto", "Forwarded")
POLICY = (
    "default-src 'none'; script-src 'self' {scripts}; style-src 'self' 'unsafe-inline'; "
    "img-src 'self' data: blob:; font-src 'self' data:; connect-src 'self'; form-action 'self'; "
    "base-uri 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
}
BY_HTTPS = {
    "Strict-Transport-Security": "max-age=31536000",
    "Cross-Origin-Opener-Policy": "same-origin",
}
INLINE = re.compile(r"<script(?![^>]*\bsrc=)(?![^>]*application/json)[^>]*>(.*?)</script>", re.DOTALL)
COMMENT = re.compile(r"<!--.*?-->", re.DOTALL)


class Gate:
    """What stands before the pages of one cell; also what a shared tablet asks about names and codes."""

    def __init__(self, monitor: Monitor, how: Reached, *, clock: Callable[[], float] = time.time) -> None:
        folder: Path | None = getattr(monitor, "folder", None)
        self.how, self._monitor = how, monitor
        self.attempts = Attempts(clock)
        self.sign_ins = SignIns(folder if how.sign_in else None, clock)
        self._people: tuple[int, dict[str, Person]] | None = None
        self._codes: tuple[int, tuple[str, ...]] | None = None

    def people(self) -> dict[str, Person]:
        """Return everybody with an account, read again only once something was decided."""
        change = self._monitor.last_change()
        if self._people is None or self._people[0] != change:
            self._people = (change, self._monitor.known_people())
        return self._people[1]

    def names(self) -> tuple[str, ...]:
        """Return who could say a code on a shared tablet, by name."""
        change = self._monitor.last_change()
        if self._codes is None or self._codes[0] != change:
            known = self._monitor.people().people
            named = (one.name for one in known if one.has_code and one.role.covers(Role.ANSWER))
            self._codes = (change, tuple(named))
        return self._codes[1]

    def tapped(self, asking: Asking) -> str | None:
        """Return who said a code on this tablet in the last minutes."""
        return self.sign_ins.tapped(asking.ticket)

    def left(self, asking: Asking) -> Left | None:
        """Return how long a sign-in holds yet."""
        return self.sign_ins.left(asking.ticket)

    def tap(self, asking: Asking, name: str, code: str, *, lightly: bool) -> Person:
        """Return whose name and code these are.

        With `lightly` whoever said a code on this tablet in the last minutes need not say it again; they may
        then answer, not decide.

        Raises
        ------
        NotSignedIn, TooOften
            When the code is not that of the name; when that was so too often.
        """
        if lightly and not code and self.tapped(asking) == name:
            person = self.people().get(key_of(name))
            if person is not None and person.role.covers(Role.ANSWER):
                return Person(name=person.name, role=Role.ANSWER, changed=person.changed)
        if not code:
            raise NotSignedIn(say("Say the code of {name}.", name=name))
        key = ("name", key_of(name))  # not of the address: a busy tablet would come to a stand
        self.attempts.begin(key)
        person = self._monitor.with_code(name, code)
        if person is None:
            LOG.warning("wrong tap code from %s", asking.address)
            raise NotSignedIn(say("This is not the code of {name}.", name=name))
        self.attempts.was_right(key)
        self.sign_ins.remember_tap(asking.ticket, person.name)
        return person

    def let_in(self, name: str, password: str, address: str) -> str:
        """Return the ticket of whoever has this name and password.

        Raises
        ------
        NotSignedIn, TooOften
            When nobody has; when that was so too often with this name or from this address.
        """
        keys = (("name", key_of(name)), ("address", address))
        self.attempts.begin(*keys)
        person = self._monitor.with_password(name, password)
        if person is None:
            LOG.warning("wrong sign-in from %s", address)
            raise NotSignedIn(say("There is no such name with this password."))
        self.attempts.was_right(*keys)
        LOG.info("%s signed in from %s", person.name, address)
        return self.sign_ins.begin(person)

    def by_token(self, asked: Request, may: May) -> bool:
        """Return whether a request carries a token that lets it do this."""
        scheme, _, given = asked.headers.get("Authorization", "").partition(" ")
        token = self._monitor.with_token(given.strip()) if scheme.lower() == "bearer" else None
        return token is not None and token.may is may

    def tells(self, asked: Request) -> bool:
        """Return whether a request may hear the cell's figures: nobody is asked, signed in, or by token."""
        if not self.how.sign_in:
            return True
        try:
            return self.by_token(asked, May.METRICS) or self.admit(asked) is not None
        except (NotSignedIn, StoreRefused):  # with its store away the cell cannot say who anybody is
            return False

    def admit(self, asked: Request) -> Asking | None:
        """Return who sends a request.

        Raises
        ------
        NotSignedIn
            When nobody is signed in there.
        """
        ticket = asked.cookies.get(sign_in.cookie_name(asked))
        person = self.sign_ins.whose(ticket, self.people(), used=well_made.is_use(asked))
        if person is None or ticket is None:
            raise NotSignedIn(say("Sign in first."))
        return Asking(person=person, ticket=ticket, address=asked.remote_addr or "", door=self)


def stand_before(app: Dash, gate: Gate) -> None:
    """Put a gate before everything an app answers; called once every page is registered."""
    server: Flask = app.server
    server.extensions["cellmon-gate"] = gate

    @server.before_request
    def _() -> Any:
        ask_as(None)
        return _stopped(app, gate)

    @server.after_request
    def _(response: Response) -> Response:
        return _headed(response, request, policy())

    @server.teardown_request
    def _(failed: BaseException | None) -> None:
        ask_as(None)

    known: list[str] = []

    def policy() -> str:
        if not known:
            known.append(POLICY.format(scripts=" ".join(inline_hashes(app.index()))))
        return known[0]

    server.register_error_handler(CellmonError, _refused)
    server.register_error_handler(InternalServerError, _failed)
    sign_in.register(server, gate)


def inline_hashes(document: str) -> list[str]:
    """Return what a content security policy calls the scripts that stand inside a document.

    References
    ----------
    W3C Content Security Policy Level 3, section 6.7.3: the SHA-256 of the script's text.
    """
    found = INLINE.findall(COMMENT.sub("", document))
    return [f"'sha256-{b64encode(hashlib.sha256(one.encode()).digest()).decode()}'" for one in found]


def _stopped(app: Dash, gate: Gate) -> Any:
    """Return the answer to a request that may not pass, None to one that may."""
    if not gate.how.is_called(request.host):
        return _sentence(say("This dashboard is not called {host}.", host=request.host), 400)
    if not gate.how.sign_in and any(name in request.headers for name in FORWARDED):
        return _sentence(
            say("This comes through a proxy, and nobody is asked who they are: serve with --proxy."), 403
        )
    if _is_program(gate):
        return None
    if request.method not in SAFE and not from_here(request):
        return _sentence(say("This did not come from a page of this dashboard."), 403)
    if gate.how.sign_in and request.path not in OPEN and not request.path.startswith(FIXED):
        try:
            ask_as(gate.admit(request))
        except NotSignedIn as refusal:
            return sign_in.asked_for(request, str(refusal))
    asks = request.path == UPDATE and request.method == "POST"
    wrong = well_made.mistake(app, request) if asks else None
    return None if wrong is None else _sentence(wrong, 400)


def _is_program(gate: Gate) -> bool:
    """Return whether a request comes with a token: to hand over rows, or for figures."""
    if request.path == readings.PATH:
        return request.method == "POST"
    return request.path == watched_over.METRICS and gate.how.sign_in and gate.by_token(request, May.METRICS)


def from_here(asked: Request) -> bool:
    """Return whether a browser sent a request from a page of ours, and not another site through it.

    Browsers say where a request comes from and no page can make them say otherwise; what says nothing is
    refused too.

    References
    ----------
    W3C Fetch Metadata Request Headers, section 2.3; RFC 6454 (Origin).
    """
    site, origin = asked.headers.get("Sec-Fetch-Site"), asked.headers.get("Origin")
    if site is not None and site not in ("same-origin", "none"):
        return False
    if origin is None:
        return site == "same-origin"
    return origin.lower() == f"{asked.scheme}://{asked.host}".lower()


def _headed(response: Response, asked: Request, policy: str) -> Response:
    for name, value in HEADERS.items():
        response.headers.setdefault(name, value)
    response.headers.setdefault("Content-Security-Policy", policy)
    if not asked.path.startswith(FIXED):
        response.headers["Cache-Control"] = "no-store"
    elif "m" in asked.args and response.status_code == 200:
        response.headers["Cache-Control"] = FOREVER
    if asked.scheme == "https":
        response.headers.update(BY_HTTPS)
    return response


STATUS: dict[type[CellmonError], int] = {
    NotSignedIn: 401,
    NotAllowed: 403,
    TooOften: 429,
    StoreRefused: 503,
    NothingKept: 503,
    PerhapsKept: 503,
}


def _refused(refusal: CellmonError) -> Response:
    """Answer a refusal that no page has shown, in its own sentence."""
    return _sentence(str(refusal), STATUS.get(type(refusal), 400))


def _failed(failed: InternalServerError) -> Any:
    """Answer what a page's function could not make sense of; what was raised stands in the log.

    A value no page would send and a fault of ours look alike here, so neither is called the server's failure.
    """
    if request.path != UPDATE:
        return failed
    return _sentence(say("This could not be understood."), 400)


def _sentence(words: str, status: int) -> Response:
    answer: Response = jsonify({"error": words})
    answer.status_code = status
    return answer
