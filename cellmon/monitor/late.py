"""Modules of the monitor that wait until something of them is asked: a command imports what it needs."""

from __future__ import annotations

from importlib import import_module
from typing import Any


class Late:
    """A module of `cellmon.monitor`, imported when something of it is first named."""

    def __init__(self, name: str) -> None:
        self._module = f"cellmon.monitor.{name}"

    def __getattr__(self, name: str) -> Any:
        """Import the module and return what it has of this name."""
        return getattr(import_module(self._module), name)
