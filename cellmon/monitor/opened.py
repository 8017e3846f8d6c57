"""One cell, opened: its store, the sheets that judge, and how a question is asked of it at one moment."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from types import MethodType
from typing import TYPE_CHECKING, Any, Concatenate, Generic, ParamSpec, Self, TypeVar, cast

import numpy as np

from cellmon import lengths
from cellmon.errors import CellmonError
from cellmon.intake.sheet_file import SheetFile, read_sheet, read_toml
from cellmon.monitor import press
from cellmon.monitor.force import notes_on, rules_of
from cellmon.monitor.language import speak_as
from cellmon.monitor.renewed import notes_on_signals
from cellmon.monitor.rules import Rules
from cellmon.monitor.view import View
from cellmon.shifts import to_utc
from cellmon.store import Session, Store
from cellmon.words import voice

if TYPE_CHECKING:
    from cellmon.diagnosis import Table
    from cellmon.monitor.stone_plan import Known

Asked = ParamSpec("Asked")
Answer = TypeVar("Answer")

SHEET_FILE = "cell.toml"
CAUSES_FILE = "causes.toml"
"""A site's own table of causes, laid over the packaged one."""


@dataclass(frozen=True, kw_only=True)
class Stamp:
    """What tells a file from the same file written anew."""

    number: int
    """Milliseconds and bytes: it moves with the file, and a browser can count so far."""
    written_ns: int = 0
    file: int = 0


@dataclass(frozen=True, kw_only=True, eq=False)
class _Stands:
    """The rules in force in one state of the store, what is noted on them, and its newest row."""

    state: tuple[Any, ...] | None
    """What tells it from other states; None in a session that writes."""
    rules: Rules
    notes: tuple[str, ...]
    newest: np.datetime64 | None


def _stamp(path: Path) -> Stamp:
    try:
        found = path.stat()
    except OSError:
        return Stamp(number=0)
    written = found.st_mtime_ns
    return Stamp(number=written // 1_000_000 + found.st_size, written_ns=written, file=found.st_ino)


def _number_of(place: tuple[int, int] | None) -> int:
    """Return a number that tells a store's file from another; far apart, and whole in every browser."""
    return 0 if place is None else place[1] % 1_000_003 * 1_000_000_007


class Opened:
    """The part of a monitor that opens a cell and shows it as it stands.

    Attributes
    ----------
    folder : Path
        The cell folder.
    on_disk : SheetFile
        The sheet as its file stands now.
    """

    def __init__(self, folder: Path, on_disk: SheetFile, store: Store, *, as_of: datetime | None) -> None:
        self.folder, self.on_disk, self._store = folder, on_disk, store
        self._as_of = None if as_of is None else to_utc(as_of)
        self._known: tuple[int, Rules] | None = None
        self._known_state: _Stands | None = None
        self._stamp = _stamp(folder / SHEET_FILE)
        self._own_causes: Table | None = None
        self._worked_out: tuple[tuple[Any, ...], Mapping[str, Any]] | None = None
        """What the last view worked out, and the state of the store and the sheet that it is of."""
        self._carried: dict[str, tuple[Any, Any]] = {}
        """What may hold for the next state of the store too, with what it rests on."""
        self._place = store.place
        self._stones: tuple[tuple[int, np.datetime64], Known] | None = None
        """What plans of stones start from, and the state of the store it was made of."""

    @classmethod
    def open(cls, folder: Path, *, as_of: datetime | None = None) -> Self:
        """Open the cell in a folder; refusals as `cellmon.open_cell` says."""
        on_disk, own_causes = read_sheet(folder / SHEET_FILE), None
        speak_as(folder, on_disk.sheet.cell.language)
        if (folder / CAUSES_FILE).exists():
            from cellmon.diagnosis import packaged_table, read_table

            given = read_toml(folder / CAUSES_FILE)
            own_causes = read_table(given, over=packaged_table(), where=CAUSES_FILE)
        store = Store(on_disk.sheet.store.url, folder=folder, at=int(clock().astype(np.int64)))
        opened = cls(folder, on_disk, store, as_of=as_of)
        opened._own_causes = own_causes
        try:
            opened._derive_if_needed()
        except CellmonError:
            opened.close()
            raise
        return opened

    def twin(self, *, before_each_look: Callable[[], None]) -> Self:
        """Open the same cell once more; `before_each_look` is called before each look into the store."""
        store = Store(self.on_disk.sheet.store.url, folder=self.folder, at=int(clock().astype(np.int64)))
        store.before_each_look(before_each_look)
        found = type(self)(self.folder, self.on_disk, store, as_of=None)
        found._as_of, found._own_causes = self._as_of, self._own_causes
        return found

    def take_over(self, twin: Opened) -> None:
        """Take over what a twin worked out; no question that is kept may be under way in either."""
        self._carried = self._carried | twin._carried
        mine, its = self._worked_out, twin._worked_out
        if its is not None and (mine is None or mine[0] == its[0]):
            self._worked_out = (its[0], {**its[1], **({} if mine is None else mine[1])})
        self._stones = self._stones or twin._stones

    def close(self) -> None:
        """Let go of the store."""
        self._store.close()

    def last_change(self) -> int:
        """Return a number that changes with everything committed and with the sheet's file; cheap to ask.

        Another store in the same place, such as a backup that was put back, counts from another number on.
        """
        self._look_at_sheet()
        with self._store.reading() as session:
            return session.last_change() + self._stamp.number + _number_of(self._store.place)

    def _look_at_sheet(self) -> None:
        """Read the sheet's file again where it was written since; the last good one stays in its place."""
        stamp = _stamp(self.folder / SHEET_FILE)
        if stamp == self._stamp:
            return
        self._stamp = stamp
        with suppress(CellmonError):
            self.on_disk, self._known = read_sheet(self.folder / SHEET_FILE), None

    def _derive_if_needed(self) -> None:
        """Judge everything again where an update of the program threw away what was derived.

        What an older program kept of signals is given what is shown of each.
        """
        with self._store.reading() as session:
            underived, without_outlines = session.is_underived(), session.is_without_outlines()
        if underived:
            from cellmon.monitor.check import rebuild_in

            with self._store.writing() as session:
                rebuild_in(session, self._rules(session), at=clock())
        elif without_outlines:
            from cellmon.monitor.judge.told import keep_outlines

            with self._store.writing() as session:
                keep_outlines(session)

    @contextmanager
    def _view(self) -> Iterator[View]:
        """Open what one question sees; what others worked out of the same state serves it too."""
        with self._store.reading() as session:
            self._know_its_store()
            stands = self._stands(session)
            view = self._view_of(session, stands)
            state = (stands.state, view.as_of, view.rules.now.version, lengths.shown())
            before = self._worked_out
            if before is not None and before[0] == state:
                view.take_over(before[1])
            yield view
            self._worked_out = (state, view.worked_out)

    @contextmanager
    def _doing(self) -> Iterator[Session]:
        """Yield a session in which a person's deed is kept, once for each press (`cellmon.monitor.press`).

        Raises
        ------
        KeptBefore
            When this very press was kept before.
        """
        with self._store.writing() as session, press.once(session, self._rules(session), at=clock()):
            yield session
        if (one := press.now()) is not None:
            one.was_kept = True

    def kept_before(self) -> str | None:
        """Return that what is pressed was kept before, and when; None where it was not."""
        if press.now() is None:
            return None
        with self._store.reading() as session:
            return press.words_of(session, self._rules(session))

    def _know_its_store(self) -> None:
        """Let go of all that was worked out of another store, whose file lay in the same place."""
        if self._store.place != self._place:
            self._place, self._carried = self._store.place, {}
            self._worked_out = self._known_state = self._known = self._stones = None

    def _view_of(self, session: Session, stands: _Stands | None = None) -> View:
        """Return the cell as a session sees it; in one that writes, nobody changes it meanwhile."""
        stands = stands or self._stands(session)
        return View(
            session=session,
            rules=stands.rules,
            as_of=self._as_of or stands.newest or clock(),
            notes=stands.notes,
            own_causes=self._own_causes,
            carried=self._carried if session.only_reads else {},  # what is not committed may never be
            past=self._as_of is not None,
        )

    def _stands(self, session: Session) -> _Stands:
        """Return what every question begins with; read once for each state of the store."""
        state = (session.last_change(), self._stamp, voice()) if session.only_reads else None
        known = self._known_state
        if known is None or state is None or known.state != state:
            rules = self._rules(session)
            notes = (*notes_on(session, self.on_disk), *notes_on_signals(session))
            known = _Stands(state=state, rules=rules, notes=notes, newest=session.newest_row())
        if state is not None:
            self._known_state = known
        return known

    def _rules(self, session: Session) -> Rules:
        sheets = session.sheets()
        in_force = sum(s.in_force_from is not None for s in sheets)
        if self._known is None or self._known[0] != in_force:
            self._known = (in_force, rules_of(sheets, self.on_disk))
        return self._known[1]


class Question(Generic[Asked, Answer]):
    def __init__(self, find: Callable[[], Callable[Concatenate[View, Asked], Answer]]) -> None:
        self._find = find

    def __set_name__(self, owner: type, name: str) -> None:
        self.__name__ = name

    @property
    def __wrapped__(self) -> Callable[Concatenate[View, Asked], Answer]:
        """The function of a view that answers; whoever looks for its terms finds them there."""
        return self._find()

    @property
    def __doc__(self) -> str | None:  # type: ignore[override]
        return self._find().__doc__

    def __get__(self, opened: Opened, owner: type | None = None) -> Callable[Asked, Answer]:
        return cast(Callable[Asked, Answer], self if opened is None else MethodType(self, opened))

    def __call__(self, opened: Opened, /, *given: Asked.args, **named: Asked.kwargs) -> Answer:
        with opened._view() as view:
            return self._find()(view, *given, **named)


def question(
    find: Callable[[], Callable[Concatenate[View, Asked], Answer]],
) -> Question[Asked, Answer]:
    """Make a method of a function of a view: it is asked of the cell as it stands at the call.

    The function is looked up at the call, so that nobody waits for modules of other questions.
    """
    return Question(find)


def clock() -> np.datetime64:
    """Return the present moment; the only clock the monitor looks at."""
    return to_utc(datetime.now(UTC))
