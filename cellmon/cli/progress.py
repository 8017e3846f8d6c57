"""How far long work has come: one line on a terminal, nothing in a pipe."""

from __future__ import annotations

import sys
from types import TracebackType

from cellmon.cli.terminal import clean


class Progress:
    """Call it with a text; the line is taken away again at the end of the `with` block."""

    def __enter__(self) -> Progress:
        self._shown = False
        return self

    def __call__(self, text: str) -> None:
        """Show what is being done now."""
        if sys.stderr.isatty():
            sys.stderr.write(f"\r\x1b[K{clean(text)[:76]}")
            sys.stderr.flush()
            self._shown = True

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._shown:
            sys.stderr.write("\r\x1b[K")
            sys.stderr.flush()
