"""How the dashboard is reached: by which names, through what, and whether it asks who is there."""

from __future__ import annotations

import re
import socket
from dataclasses import dataclass
from ipaddress import ip_address

from cellmon.errors import WrongUsage
from cellmon.words import say

HOST = re.compile(r"(?P<name>\[[0-9A-Fa-f:.]+\]|[^:\[\]]+)(:(?P<port>[0-9]{1,5}))?")
NAME = re.compile(r"[A-Za-z0-9]([A-Za-z0-9-]*[A-Za-z0-9])?(\.[A-Za-z0-9]([A-Za-z0-9-]*[A-Za-z0-9])?)*")


@dataclass(frozen=True, kw_only=True)
class Reached:
    """How people come to the dashboard.

    Attributes
    ----------
    sign_in : bool
        Whether it asks who they are; False only where it answers this machine alone.
    names : frozenset of str
        Host names by which it is called, beside addresses in figures.
    proxy : str, optional
        The address of the https proxy in front of it, whose word on the visitor's address is taken.
    """

    sign_in: bool = False
    names: frozenset[str] = frozenset({"localhost"})
    proxy: str | None = None

    def is_called(self, host: str) -> bool:
        """Return whether a request's Host names this dashboard; any other was led here by a stranger's name.

        A page of another site can have its own name resolved to this machine; it cannot have a figure
        resolved, so addresses pass, but on this machine alone only those of this machine.
        """
        found = HOST.fullmatch(host)
        if found is None or int(found["port"] or 0) > 65535:
            return False
        name = found["name"].strip("[]").lower().rstrip(".")
        if name in self.names:
            return True
        address = _address(name)
        return address is not None and (self.sign_in or ip_address(address).is_loopback)


def reached(
    host: str, *, sign_in: bool = False, names: tuple[str, ...] = (), proxy: str | None = None
) -> Reached:
    """Return how a dashboard is reached that listens on a host.

    Raises
    ------
    WrongUsage
        When a name or the proxy's address is none.
    """
    for name in names:
        if not NAME.fullmatch(name):
            raise WrongUsage(
                say(
                    "--name {name}: a host name such as line3.example is expected, without https://",
                    name=name,
                )
            )
    if proxy is not None and _address(proxy) is None:
        raise WrongUsage(
            say("--proxy {proxy}: the address of the proxy is expected, such as 127.0.0.1", proxy=proxy)
        )
    asked = sign_in or proxy is not None or not is_loopback(host)
    own = socket.gethostname().lower()
    called = {"localhost", *(name.lower() for name in names)} | ({own, f"{own}.local"} if asked else set())
    return Reached(sign_in=asked, names=frozenset(called), proxy=proxy)


def is_loopback(host: str) -> bool:
    """Return whether a host name or address means this machine alone."""
    return host == "localhost" or bool(_address(host) and ip_address(host).is_loopback)


def _address(text: str) -> str | None:
    try:
        return str(ip_address(text))
    except ValueError:
        return None
