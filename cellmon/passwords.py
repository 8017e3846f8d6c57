"""Passwords and tap codes as they are kept: never themselves, only what a slow hash makes of them.

scrypt needs memory as well as time, so guessing at a stolen store is dear. Its parameters stand with each
hash, in the PHC string format, so they can be raised later and old hashes still be checked.
"""

from __future__ import annotations

import hashlib
import hmac
import os
import re
import unicodedata
from base64 import b64decode, b64encode
from functools import cache
from itertools import pairwise
from threading import BoundedSemaphore

from cellmon.errors import WrongUsage
from cellmon.people import key_of
from cellmon.words import say, to_say

LOG_N, R, P = 15, 8, 3
"""32 MB and three passes; the OWASP Password Storage Cheat Sheet counts it as much as 64 MB once or more."""
SALT_BYTES, HASH_BYTES = 16, 32
MEMORY = 256 * 2**20
"""A hash that wants more than this is not computed."""
AT_ONCE = 2
"""So many are computed side by side, however many ask: 64 MB."""
LEAST, MOST = 10, 1024
"""Characters of a password."""
CODE = re.compile(r"[0-9]{4,8}")
KEPT = re.compile(r"\$scrypt\$ln=(\d{1,2}),r=(\d{1,3}),p=(\d{1,3})\$([A-Za-z0-9+/]+)\$([A-Za-z0-9+/]+)")
_room = BoundedSemaphore(AT_ONCE)


def hashed(secret: str) -> str:
    """Return what is kept of a password or code, with a salt of its own.

    References
    ----------
    RFC 7914 (scrypt). PHC string format, the open specification of the Password Hashing Competition.
    """
    salt = os.urandom(SALT_BYTES)
    made = _scrypt(secret, salt, log_n=LOG_N, r=R, p=P, size=HASH_BYTES)
    return f"$scrypt$ln={LOG_N},r={R},p={P}${_text(salt)}${_text(made)}"


def fits(secret: str, kept: str | None) -> bool:
    """Return whether a password or code is the one of which this was kept; None takes as long and says no."""
    found = KEPT.fullmatch(kept or _nobodys())
    if found is None:
        return False
    log_n, r, p = (int(number) for number in found.groups()[:3])
    if not (0 < log_n < 31 and r and p and 128 * r * (2**log_n + p + 2) <= MEMORY):
        return False
    salt, made = (b64decode(text + "=" * (-len(text) % 4)) for text in found.groups()[3:])
    again = _scrypt(secret, salt, log_n=log_n, r=r, p=p, size=len(made))
    return hmac.compare_digest(again, made) and kept is not None


def check_password(password: str, *, name: str) -> None:
    """Refuse a password that is too short, too long, or the name.

    No letters, digits or marks are demanded: length is what counts (NIST SP 800-63B, section 5.1.1.2).

    Raises
    ------
    WrongUsage
        When it is.
    """
    if not LEAST <= len(password) <= MOST:
        text = to_say("a password has {least} to {most} characters; a short sentence is easy to keep")
        raise WrongUsage(say(text, least=LEAST, most=MOST))
    rest = key_of(password).replace(key_of(name), "")
    if len(set(password)) < 4 or len(rest) < LEAST // 2:
        raise WrongUsage(
            say("this password is too easily guessed: a few words that are not the name are better")
        )


def check_code(code: str) -> None:
    """Refuse a tap code that is not 4 to 8 digits, or is one digit or a run of them.

    Raises
    ------
    WrongUsage
        When it is.
    """
    if not CODE.fullmatch(code):
        raise WrongUsage(say("a tap code has 4 to 8 digits"))
    steps = {int(b) - int(a) for a, b in pairwise(code)}
    if steps in ({0}, {1}, {-1}):
        raise WrongUsage(say("this tap code is the first that anyone would try; choose another"))


def _scrypt(secret: str, salt: bytes, *, log_n: int, r: int, p: int, size: int) -> bytes:
    said = unicodedata.normalize("NFKC", secret).encode("utf-8", "surrogatepass")
    with _room:
        return hashlib.scrypt(said, salt=salt, n=2**log_n, r=r, p=p, maxmem=MEMORY, dklen=size)


def _text(data: bytes) -> str:
    return b64encode(data).decode().rstrip("=")


@cache
def _nobodys() -> str:
    """What is checked where there is no such person, so that the time taken does not tell."""
    return hashed(os.urandom(SALT_BYTES).hex())
