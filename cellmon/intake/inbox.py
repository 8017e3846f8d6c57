"""The inbox of a cell: which files are there whole, and where each goes once it is dealt with."""

from __future__ import annotations

import os
import shutil
from dataclasses import dataclass
from pathlib import Path

SETTLE_S = 2.0
"""A file that did not change for so long is taken."""
DOUBT_S = 30.0
"""One that looks cut off, or that nothing could be read of, is given so long to be finished."""
UNFINISHED = (".part", ".partial", ".tmp", ".crdownload", ".filepart", ".swp", "~")
BY_LINES = (".csv", ".txt", ".tsv", ".jsonl", ".ndjson", ".json")


@dataclass(frozen=True, kw_only=True)
class Look:
    """How a file looked, and since when (in seconds of the caller's clock) it has looked so."""

    size: int
    changed_ns: int
    since: float

    def is_as(self, other: Look) -> bool:
        """Return whether nothing changed between two looks."""
        return (self.size, self.changed_ns) == (other.size, other.changed_ns)


class Inbox:
    """A folder that others write into; it remembers how each file looked last."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._seen: dict[Path, Look] = {}

    def look(self, now: float) -> None:
        """See how every file looks at a moment; OSError where the folder is gone."""
        found: dict[Path, Look] = {}
        with os.scandir(self.folder) as entries:
            names = {e.name: e for e in entries}
        for name, entry in names.items():
            path = self.folder / name
            if _is_unfinished(name) or _is_open(name, names):
                continue
            try:
                if not entry.is_file(follow_symlinks=False):
                    continue
                stat = entry.stat(follow_symlinks=False)
            except FileNotFoundError:
                continue
            now_ = Look(size=stat.st_size, changed_ns=stat.st_mtime_ns, since=now)
            before = self._seen.get(path)
            found[path] = before if before is not None and before.is_as(now_) else now_
        self._seen = found

    def whole(self, now: float) -> list[Path]:
        """Return the files that are there whole, the one that has waited longest first."""
        ready = [p for p, seen in self._seen.items() if now - seen.since >= self._patience(p)]
        return sorted(ready, key=lambda p: (self._seen[p].changed_ns, p.name))

    def files(self) -> tuple[Path, ...]:
        """Return the files that were there at the last look, whole or not."""
        return tuple(p for p in self._seen if p.exists())

    def is_doubtful(self, path: Path, now: float) -> bool:
        """Return whether a file of which nothing could be read may still be written."""
        seen = self._seen.get(path)
        return seen is not None and now - seen.since < DOUBT_S

    def changed_since(self, path: Path) -> bool:
        """Return whether a file changed after it was looked at; one that is gone did."""
        seen = self._seen.get(path)
        try:
            stat = path.stat(follow_symlinks=False)
        except OSError:
            return True
        return seen is None or (seen.size, seen.changed_ns) != (stat.st_size, stat.st_mtime_ns)

    def _patience(self, path: Path) -> float:
        cut_off = path.suffix.lower() in BY_LINES and not _ends_its_line(path)
        return DOUBT_S if cut_off else SETTLE_S


def put_away(path: Path, into: Path) -> Path:
    """Move a file into a folder under a name free there, also from another disk; return where it is."""
    into.mkdir(parents=True, exist_ok=True)
    number, target = 1, into / path.name
    while target.exists():
        number += 1
        target = into / f"{path.stem}-{number}{path.suffix}"
    shutil.move(path, target)
    return target


def _is_unfinished(name: str) -> bool:
    return name.startswith((".", "~$")) or name.lower().endswith(UNFINISHED)


def _is_open(name: str, names: dict[str, os.DirEntry[str]]) -> bool:
    """Return whether a spreadsheet program has left its mark that it has the file open."""
    return f"~${name}" in names or f"~${name[2:]}" in names or f".~lock.{name}#" in names


def _ends_its_line(path: Path) -> bool:
    try:
        with path.open("rb") as file:
            file.seek(0, os.SEEK_END)
            if not file.tell():
                return False
            file.seek(-1, os.SEEK_END)
            return file.read(1) in (b"\n", b"\r", b"\x00")
    except OSError:
        return False
