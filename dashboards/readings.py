"""`POST /readings`: a program hands over rows, with a token that lets it do nothing else.

What is answered with 200 is committed; what is not may be sent again as often as need be, since a row that
is known is counted as known. The token is asked for on this machine too: else a page of another site could
have a browser here send rows.
"""

from __future__ import annotations

import logging
from threading import BoundedSemaphore
from typing import TYPE_CHECKING, Any

import orjson
from flask import Flask, Request, Response, jsonify, request

from cellmon.errors import CellmonError, PerhapsKept, StoreRefused
from cellmon.tokens import May, Token
from cellmon.words import say, say_many, to_say
from dashboards import counted
from dashboards.attempts import Attempts, TooOften

if TYPE_CHECKING:
    from cellmon.monitor import Monitor
    from cellmon.monitor.take import FileTaken

LOG = logging.getLogger("cellmon.readings")
PATH = "/readings"
MOST_BYTES = 16 * 2**20
"""Of one request: some hundred thousand rows; more is sent in pieces, or as a file into the inbox."""
AT_ONCE = 3
"""Takes side by side: one writes, the others read their rows meanwhile; the pages keep their threads."""
AGAIN_S, STORE_AGAIN_S = 1, 10
"""After so long a program tries again where others are at it, or where the store is away."""
MOST_ASIDE = 100
"""So many rows set aside are told one by one; the page of files has them all."""
ENDINGS = {
    "text/csv": "csv",
    "application/json": "json",
    "application/x-ndjson": "jsonl",
    "application/jsonl": "jsonl",
    "application/json-lines": "jsonl",
}
BINARY = (b"PK\x03\x04", b"PAR1")


class NotTaken(Exception):
    """Why a request is refused, and with which status."""

    def __init__(self, *, words: str, status: int, again_s: int | None = None) -> None:
        super().__init__(words)
        self.words, self.status, self.again_s = words, status, again_s


class Desk:
    """Where programs hand over rows to one cell."""

    def __init__(self, monitor: Monitor, attempts: Attempts) -> None:
        self._monitor, self._attempts = monitor, attempts
        self._room = BoundedSemaphore(AT_ONCE)

    def answer(self, asked: Request) -> Response:
        """Take what a request holds, or say in one sentence why not."""
        try:
            token = self.admit(asked)
            raw, ending = _body(asked)
            file = self._take(raw, name=f"{token.name}.{ending}", asked=asked)
        except NotTaken as refusal:
            return _refused(refusal)
        LOG.info(
            "%d rows: %d taken, %d known, %d set aside",
            *(file.rows, file.taken, file.known, len(file.set_aside)),
            extra={"what": "taken", "about": file.file, "who": token.name, "seconds": file.seconds},
        )
        return jsonify(document(file))

    def admit(self, asked: Request) -> Token:
        """Return whose token a request carries, or refuse it."""
        said = asked.headers.get("Authorization", "")
        scheme, _, given = said.partition(" ")
        if scheme.lower() != "bearer" or not given.strip():
            raise NotTaken(words=say("A token is asked for: Authorization: Bearer …"), status=401)
        address = asked.remote_addr or ""
        token = _of_store(lambda: self._monitor.with_token(given.strip()))
        if token is None:
            try:  # counted only now, so that many programs of one address do not hold each other up
                self._attempts.begin(("address", f"token {address}"))
            except TooOften as often:
                raise NotTaken(words=str(often), status=429, again_s=int(often.wait_s) + 1) from often
            raise NotTaken(words=say("This token is not known here, or was withdrawn."), status=401)
        counted.name(token.name)
        if token.may is not May.READINGS:
            raise NotTaken(words=say("This token does not let anybody hand over rows."), status=403)
        return token

    def _take(self, raw: bytes, *, name: str, asked: Request) -> FileTaken:
        if not self._room.acquire(blocking=False):
            words = say_many(
                "{count} take is under way; nothing of this was read, send it again.",
                "{count} takes are under way; nothing of this was read, send it again.",
                AT_ONCE,
            )
            raise NotTaken(words=words, status=503, again_s=AGAIN_S)
        try:
            kind, unit = asked.args.get("kind"), asked.args.get("unit")
            [file] = _of_store(
                lambda: self._monitor.take_bytes(raw, name=name, kind=_kind(kind), unit=_unit(unit))
            ).files
        finally:
            self._room.release()
        if file.kind is None:
            raise NotTaken(words=f"{file.why_not}.", status=422)
        return file


def register(server: Flask, desk: Desk) -> None:
    """Answer programs that hand over rows."""

    @server.post(PATH)
    def hand_over() -> Response:
        return desk.answer(request)


def document(file: FileTaken) -> dict[str, Any]:
    """Return what became of rows that were handed over; rows = taken + known + set_aside."""
    aside = [{"line": one.line, "reason": str(one.reason), "text": one.text} for one in file.set_aside]
    return {
        "kind": file.kind,
        "rows": file.rows,
        "taken": file.taken,
        "known": file.known,
        "set_aside": len(aside),
        "aside": aside[:MOST_ASIDE],
        "flagged": file.flagged,
        "signals": file.signals,
        "notes": list(file.notes),
    }


def lines_of(raw: bytes) -> bytes:
    """Return the objects of a JSON array, or one object alone, as JSON lines.

    Raises
    ------
    NotTaken
        When it is neither.
    """
    try:
        found = orjson.loads(raw.removeprefix(b"\xef\xbb\xbf"))
    except orjson.JSONDecodeError as broken:
        raise NotTaken(words=say("This is not JSON: {why}.", why=broken.msg), status=422) from broken
    rows = found if isinstance(found, list) else [found]
    if not rows:
        raise NotTaken(words=say("The array is empty."), status=422)
    for place, row in enumerate(rows, start=1):
        if not isinstance(row, dict):
            words = say("Item {place} is no object; nothing was taken.", place=place)
            raise NotTaken(words=words, status=422)
    try:
        return b"\n".join(orjson.dumps(row) for row in rows) + b"\n"
    except orjson.JSONEncodeError as deep:  # it reads deeper than it writes
        raise NotTaken(words=say("Its objects lie too deep in each other."), status=422) from deep


def _body(asked: Request) -> tuple[bytes, str]:
    """Return the rows of a request as bytes that the intake reads, and how such a file's name ends."""
    site = asked.headers.get("Sec-Fetch-Site")
    if asked.headers.get("Origin") is not None or site not in (None, "none"):
        raise NotTaken(words=say("This comes from a page in a browser; programs send rows."), status=403)
    ending = ENDINGS.get(asked.mimetype)
    if ending is None or asked.headers.get("Content-Encoding", "identity").lower() != "identity":
        words = say("Rows come as {kinds}, not compressed.", kinds=", ".join(ENDINGS))
        raise NotTaken(words=words, status=415)
    most = say("At most {most} MB are read at once; send it in pieces.", most=MOST_BYTES // 2**20)
    if (asked.content_length or 0) > MOST_BYTES:
        raise NotTaken(words=most, status=413)
    raw = asked.get_data(cache=False)
    if len(raw) > MOST_BYTES:
        raise NotTaken(words=most, status=413)
    if raw.startswith(BINARY):
        raise NotTaken(words=say("This is no text; lay such a file into the inbox."), status=415)
    return (lines_of(raw), "jsonl") if ending == "json" else (raw, ending)


def _of_store(ask: Any) -> Any:
    """Return an answer of the cell; what it refuses is told to the program."""
    try:
        return ask()
    except StoreRefused as away:
        text = to_say("{why}; nothing of this was kept, send it again.")
        if isinstance(away, PerhapsKept):
            text = to_say("{why}; send it again: what was kept counts as known then.")
        words = say(text, why=away.why.rstrip("."))
        raise NotTaken(words=words, status=503, again_s=STORE_AGAIN_S) from away
    except CellmonError as refused:
        raise NotTaken(words=str(refused), status=422) from refused


def _kind(name: str | None) -> str | None:
    from cellmon.records import Kind

    if name is not None and name not in set(Kind):
        words = say("No kind of rows has this name; there are {kinds}.", kinds=", ".join(Kind))
        raise NotTaken(words=words, status=422)
    return name


def _unit(name: str | None) -> str | None:
    from cellmon.units import LengthUnit

    if name is not None and name not in set(LengthUnit):
        words = say("No unit has this name; there are {units}.", units=", ".join(LengthUnit))
        raise NotTaken(words=words, status=422)
    return name


def _refused(refusal: NotTaken) -> Response:
    answer: Response = jsonify({"error": refusal.words})
    answer.status_code = refusal.status
    if refusal.status == 401:  # RFC 6750, section 3
        answer.headers["WWW-Authenticate"] = 'Bearer realm="cellmon"'
    if refusal.again_s is not None:
        answer.headers["Retry-After"] = str(refusal.again_s)
    return answer
