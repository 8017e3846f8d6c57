"""Receiving: what arrives in the inbox is taken, whatever goes wrong around it, and nothing of it is lost."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from cellmon.errors import CellmonError, StoreRefused
from cellmon.intake.inbox import Inbox, Look, put_away
from cellmon.local import number
from cellmon.monitor import Monitor
from cellmon.monitor.opened import SHEET_FILE
from cellmon.monitor.take import FileTaken
from cellmon.words import say

INBOX, TAKEN, SET_ASIDE = "inbox", "taken", "set-aside"
GROWS_S = 3600.0
"""For so long a file that was put away is watched: whoever still had it open may have gone on writing."""


@dataclass(frozen=True, kw_only=True)
class Received:
    """Something that happened at the inbox.

    Attributes
    ----------
    what : str
        `taken`, `set-aside`, `waits` (it is tried again) or `back`.
    about : str
        The file, else `inbox`, `store` or `sheet`.
    words : str
        One sentence.
    file : FileTaken, optional
        What became of its rows.
    """

    what: str
    about: str
    words: str
    file: FileTaken | None = None


@dataclass
class Receiver:
    """A cell's inbox and the cell; `look` does what there is to do at one moment.

    What keeps coming back is said once until it is over: a store that is away, a share that is gone, a file
    that another program holds.
    """

    folder: Path
    open_cell: Callable[[Path], Monitor]
    _monitor: Monitor | None = None
    _sheet_ns: int = 0
    _said: dict[str, str] = field(default_factory=dict)
    _put_away: dict[Path, Look] = field(default_factory=dict)
    _done: dict[Path, Look] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._inbox = Inbox(self.folder / INBOX)

    def close(self) -> None:
        """Let go of the store."""
        if self._monitor is not None:
            self._monitor.close()
            self._monitor = None

    def look(self, now: float) -> Iterator[Received]:
        """Take every file that is there whole, at a moment in seconds of a clock that only goes on."""
        try:
            self._inbox.look(now)
        except OSError as gone:
            yield from self._waits(
                INBOX,
                say("{folder} cannot be read: {why}; it is tried again", folder=INBOX, why=gone.strerror),
            )
            return
        yield from self._back(INBOX, say("{folder} is there again", folder=INBOX))
        whole = [p for p in self._inbox.whole(now) if not self._is_done(p)]
        grown = self._grown(now)
        if not whole and not grown:
            return
        try:
            monitor = self._opened()
        except CellmonError as refused:
            yield from self._waits("store", _store_away(refused, whole))
            return
        for path in (*grown, *whole):
            try:
                yield from self._take(monitor, path, now)
            except StoreRefused as away:
                yield from self._waits("store", _store_away(away, whole))
                self.close()
                return
            except CellmonError as refused:
                yield from self._waits(
                    path.name, say("{file}: {why}; it is tried again", file=path.name, why=refused)
                )
        yield from self._back("store", say("the store is there again"))

    @property
    def is_busy(self) -> bool:
        """Whether a file is there that a next look may take: none that waits for something else."""
        if {INBOX, "store"} & set(self._said):
            return False
        return any(p.name not in self._said and not self._is_done(p) for p in self._inbox.files())

    def _take(self, monitor: Monitor, path: Path, now: float) -> Iterator[Received]:
        try:
            with path.open("rb"):
                pass
        except OSError as held:
            yield from self._waits(
                path.name,
                say("{file} cannot be read: {why}; it is tried again", file=path.name, why=held.strerror),
            )
            return
        [file] = monitor.take([path]).files
        self._said.pop(path.name, None)
        if path.parent != self._inbox.folder:
            yield Received(what="taken", about=path.name, words=words_of(file), file=file)
            return
        if file.kind is None and self._inbox.is_doubtful(path, now):
            return
        if self._inbox.changed_since(path):
            return  # it grew while it was read: what was read stands, the rest is taken at a next look
        yield self._put(path, file, now)

    def _put(self, path: Path, file: FileTaken, now: float) -> Received:
        read = file.kind is not None and bool(file.taken + file.known or not file.rows)
        into = self.folder / (TAKEN if read else SET_ASIDE)
        words = words_of(file)
        try:
            target = put_away(path, into)
        except OSError as stuck:
            self._done[path] = _look(path, now)
            words = say("{words} It stays in {folder}: {why}.", words=words, folder=INBOX, why=stuck.strerror)
            return Received(what="taken" if read else "set-aside", about=path.name, words=words, file=file)
        if read:
            self._put_away[target] = _look(target, now)
        else:
            target.with_name(f"{target.name}.why.txt").write_text(f"{words}\n", encoding="utf-8")
        return Received(what="taken" if read else "set-aside", about=path.name, words=words, file=file)

    def _grown(self, now: float) -> list[Path]:
        """Return files that went on growing after they were put away."""
        grown = []
        for path, seen in list(self._put_away.items()):
            if now - seen.since > GROWS_S or not path.exists():
                del self._put_away[path]
            elif not (current := _look(path, now)).is_as(seen):
                self._put_away[path] = current
                grown.append(path)
        return grown

    def _is_done(self, path: Path) -> bool:
        """Return whether a file was taken and could not be put away, and is as it was then."""
        done = self._done.get(path)
        return done is not None and path.exists() and _look(path, 0.0).is_as(done)

    def _opened(self) -> Monitor:
        """Return the cell, opened anew where its sheet changed or it was let go."""
        sheet = self.folder / SHEET_FILE
        changed = sheet.stat().st_mtime_ns if sheet.exists() else 0
        if self._monitor is None or changed != self._sheet_ns:
            self.close()
            self._monitor, self._sheet_ns = self.open_cell(self.folder), changed
        return self._monitor

    def _waits(self, about: str, words: str) -> Iterator[Received]:
        if self._said.get(about) != words:
            self._said[about] = words
            yield Received(what="waits", about=about, words=words)

    def _back(self, about: str, words: str) -> Iterator[Received]:
        if self._said.pop(about, None) is not None:
            yield Received(what="back", about=about, words=words)


def _store_away(refused: CellmonError, waiting: Sequence[Path]) -> str:
    return say("{why}; {count} files wait in {folder}", why=refused, count=len(waiting), folder=INBOX)


def _look(path: Path, now: float) -> Look:
    stat = path.stat(follow_symlinks=False)
    return Look(size=stat.st_size, changed_ns=stat.st_mtime_ns, since=now)


def words_of(file: FileTaken) -> str:
    """Return what became of a file in one sentence, in which the counts add up to the rows."""
    if file.why_not and not file.rows:
        return f"{file.why_not}."
    return say(
        "{file}: {rows} rows of {kind}: {taken} taken, {known} already known, {aside} set aside; "
        "{signals} new signals.",
        file=file.file,
        rows=number(file.rows),
        kind=file.kind,
        taken=number(file.taken),
        known=number(file.known),
        aside=number(len(file.set_aside)),
        signals=number(file.signals),
    )
