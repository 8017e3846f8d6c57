"""The monitor: questions to the cell, and what a person does about it; modules of their own do the work."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cellmon.errors import CellmonError, WrongUsage
from cellmon.monitor.admitting import Admitting
from cellmon.monitor.late import Late
from cellmon.monitor.opened import clock
from cellmon.monitor.questions import Questions
from cellmon.monitor.renewed import taking
from cellmon.records import Kind

if TYPE_CHECKING:
    from cellmon.monitor import adopt as _adopt
    from cellmon.monitor import again as _again
    from cellmon.monitor import baseline as _baseline
    from cellmon.monitor import capability as _capability
    from cellmon.monitor import check as _check
    from cellmon.monitor import copies as _copies
    from cellmon.monitor import first_bores as _first_bores
    from cellmon.monitor import flags as _flags
    from cellmon.monitor import hold as _hold
    from cellmon.monitor import proposals as _proposals
    from cellmon.monitor import signals as _signals
    from cellmon.monitor import signing as _signing
    from cellmon.monitor import statements as _statements
    from cellmon.monitor import take as _take
    from cellmon.monitor import typed as _typed
    from cellmon.monitor.bore import block as _block
    from cellmon.monitor.bore import keeping as _keeping
    from cellmon.monitor.bore import measured as _measured
else:
    _adopt = Late("adopt")
    _again = Late("again")
    _baseline = Late("baseline")
    _capability = Late("capability")
    _check = Late("check")
    _copies = Late("copies")
    _first_bores = Late("first_bores")
    _flags = Late("flags")
    _hold = Late("hold")
    _signals = Late("signals")
    _signing = Late("signing")
    _statements = Late("statements")
    _take = Late("take")
    _typed = Late("typed")
    _block = Late("bore.block")
    _keeping = Late("bore.keeping")
    _measured = Late("bore.measured")
from cellmon.words import say, to_say

Progress = Callable[[str], None]


class Monitor(Questions, Admitting):
    """One cell, opened; every method answers one question (`Questions`) or does one thing.

    Where somebody may have decided the same thing before, `knew` is the newest decision that was known:
    `decided` of the answer that was looked at. What was decided later is not decided anew
    (`monitor/meanwhile.py`); without `knew` it is.

    Attributes
    ----------
    folder : Path
        The cell folder.
    on_disk : SheetFile
        The sheet as its file stands now.
    took_s : float, optional
        How long the last take of bytes took here.
    """

    took_s: float | None = None

    def take(
        self,
        paths: Sequence[Path | str],
        *,
        kind: str | None = None,
        unit: str | None = None,
        progress: Progress | None = None,
    ) -> _take.Taken:
        """Take files, each in a transaction of its own."""
        taken = []
        for path in map(Path, paths):
            if progress is not None:
                with self._store.reading() as session:
                    progress(taking(session, path.name))
            taken.append(
                _take.take_file(
                    self._store, self._rules, self.on_disk, path, kind=kind, unit=unit, at=clock()
                )
            )
        with self._view() as view:
            return _take.Taken(**view.head(), files=tuple(taken))

    def take_bytes(
        self, raw: bytes, *, name: str, kind: str | None = None, unit: str | None = None
    ) -> _take.Taken:
        """Take a file that was handed over as bytes, in a transaction of its own."""
        taken = _take.take_bytes(
            self._store, self._rules, self.on_disk, raw, name=name, kind=kind, unit=unit, at=clock()
        )
        self.took_s = taken.seconds
        with self._view() as view:
            return _take.Taken(**view.head(), files=(taken,))

    def take_row(self, row: str, *, text: str, by: str, why: str, unit: str | None = None) -> _take.FileTaken:
        """Take a row set aside, by its number or as FILE:LINE, as a person wrote it."""
        return _again.take_row(
            self._store,
            self._rules,
            self.on_disk,
            row,
            text=text,
            unit=unit,
            by=by,
            why=why,
            at=clock(),
        )

    def retry_aside(self) -> _take.Taken:
        """Try again every row set aside whose reason may have gone."""
        taken = _again.retry(self._store, self._rules, self.on_disk, at=clock())
        with self._view() as view:
            return _take.Taken(**view.head(), files=tuple(taken))

    def log(self, kind: Kind, values: dict[str, str]) -> _take.FileTaken:
        """Keep one row typed by hand: a cell event, a stone measurement, a gauge check, a movement."""
        return self.log_rows(kind, [values])

    def log_rows(self, kind: Kind, rows: Sequence[dict[str, str]]) -> _take.FileTaken:
        """Keep rows of one kind typed by hand, in one transaction; `asked` says what is odd about them."""
        with self._doing() as session:
            return _typed.log_rows(session, self._view_of(session), self.on_disk, kind, rows, at=clock())

    def keep_round(self, typed: _keeping.TypedRound) -> _keeping.LookedRound:
        """Keep one round of a bore in the hand, in one transaction; what was odd stands in `asked`."""
        looked = self.look_at_round(typed)
        _kept(self.log_rows(Kind.SIZING, _keeping.rows_of(typed, looked, at=clock())))
        return looked

    def keep_measured(self, typed: _measured.TypedBore) -> _measured.LookedBore:
        """Keep one bore whose readings were typed, in one transaction; what was odd stands in `asked`."""
        looked = self.look_at_measured(typed)
        _kept(self.log_rows(Kind.READINGS, _measured.rows_of_measured(typed, looked, at=clock())))
        return looked

    def tell_block(self, part: str, *, by: str, **said: Any) -> None:
        """Journal what is said of a block honed by hand: `job`, `reference`, whether it was `cleaned`."""
        with self._doing() as session:
            _block.tell(self._view_of(session), session, part, by=by, at=clock(), **said)

    def respond(
        self,
        signal: str,
        *,
        by: str,
        cause: str | None = None,
        action: str | None = None,
        seen: bool = False,
        knew: int | None = None,
    ) -> _signals.Signal:
        """Answer a signal with a cause and an action, or acknowledge it as seen."""
        answer: dict[str, Any] = {"cause": cause, "action": action, "seen": seen}
        with self._doing() as session:
            rules = self._rules(session)
            _signals.respond(session, rules, signal, by=by, **answer, at=clock(), knew=knew)
        found = self.signal_named(signal).signal
        assert found is not None
        return found

    def release(
        self, signal: str, *, parts: Sequence[str], as_: str, by: str, why: str, knew: int | None = None
    ) -> _hold.Hold:
        """Say what became of held parts."""
        with self._doing() as session:
            view = self._view_of(session)
            _hold.release(view, session, signal, parts=parts, as_=as_, by=by, why=why, at=clock(), knew=knew)
        return self.hold(signal)

    def extend_hold(
        self, signal: str, *, from_part: str, to_part: str | None = None, by: str, why: str
    ) -> _hold.Hold:
        """Hold bores made before a hold list begins as well, from one part on or to another."""
        with self._doing() as session:
            view = self._view_of(session)
            _hold.extend_hold(
                view, session, signal, from_part=from_part, to_part=to_part, by=by, why=why, at=clock()
            )
        return self.hold(signal)

    def release_setup(
        self,
        spindle: str,
        *,
        by: str,
        why: str,
        changed_at: datetime | None = None,
        knew: int | None = None,
    ) -> _first_bores.FirstBores:
        """Let a spindle run after its newest change, which was that of `changed_at`, in a person's name."""
        looked: dict[str, Any] = {"changed_at": changed_at, "knew": knew}
        with self._doing() as session:
            view = self._view_of(session)
            _first_bores.sign(view, session, spindle, by=by, why=why, at=clock(), **looked)
        return self.first_bores()

    def correct(
        self, flag: str, *, accept: bool, by: str, why: str, alike: bool = False, knew: int | None = None
    ) -> _flags.FlagRow:
        """Accept what a doubt proposes, or keep the row as it was read; with `alike` all like it too."""
        said: dict[str, Any] = {"accept": accept, "by": by, "why": why, "alike": alike, "knew": knew}
        with self._doing() as session:
            _flags.correct(session, self._rules(session), flag, at=clock(), **said)
        return self.flag(flag).flag

    def freeze(
        self,
        *,
        by: str,
        why: str,
        spindle: str | None = None,
        bore: str | None = None,
        feature: str | None = None,
        knew: int | None = None,
    ) -> _baseline.Baselines:
        """Freeze the proposed limits of the streams named (all by default)."""
        with self._doing() as session:
            chosen = _baseline.baselines(self._view_of(session), spindle=spindle, bore=bore, feature=feature)
            _baseline.freeze(session, self._rules(session), chosen, by=by, why=why, at=clock(), knew=knew)
        return self.baselines(spindle=spindle, bore=bore, feature=feature)

    def sign(self, proposal: str, *, by: str, why: str, refuse: bool = False) -> _proposals.Proposals:
        """Sign what another person proposed, so that it stands; or refuse it."""
        with self._doing() as session:
            _signing.sign(session, self._rules(session), proposal, by=by, why=why, at=clock(), refuse=refuse)
        return self.proposals()

    def sign_capability(
        self,
        *,
        by: str,
        why: str,
        spindle: str | None = None,
        bore: str | None = None,
        feature: str | None = None,
        since: datetime | None = None,
        until: datetime | None = None,
        knew: int | None = None,
    ) -> _capability.CapabilityAnswer:
        """Sign the figures of the streams named (all by default); a second person may have to as well."""
        asked: dict[str, Any] = {"spindle": spindle, "bore": bore, "feature": feature}
        asked |= {"since": since, "until": until}
        with self._doing() as session:
            rows = _capability.capability(self._view_of(session), **asked).capability
            window = _statements.Window.of(since, until)
            rules = self._rules(session)
            _statements.state_figures(session, rules, rows, window, by=by, why=why, at=clock(), knew=knew)
        return self.capability(**asked)

    def adopt(self, *, by: str, why: str, seen: str | None = None) -> _check.Check:
        """Put the sheet on disk in force, for what is measured from now on; `seen` as `disk_sheet` said."""
        found = self.disk_sheet()
        if found.mistakes is not None:
            raise WrongUsage(found.mistakes)
        if seen not in (None, found.seen):
            text = to_say("the sheet on disk was changed since it was looked at; look again, then adopt")
            raise WrongUsage(say(text))
        with self._doing() as session:
            _adopt.adopt(session, self.on_disk, by=by, why=why, at=clock())
        return self.check()

    def back_up(self, to: Path, *, progress: Progress | None = None) -> _copies.Copied:
        """Write one file that holds the whole cell, while it goes on."""
        return _copies.back_up(self.folder, self._store, to, at=clock(), progress=progress)

    def move(self, url: str, *, progress: Progress | None = None) -> _copies.Copied:
        """Copy the cell into another, empty store, leave this one, and name the other in the sheet."""
        return _copies.move(self.folder, self._store, url, at=clock(), progress=progress)


__all__ = ["CellmonError", "Monitor"]


def _kept(taken: _take.FileTaken) -> None:
    """Refuse what was typed where a row of it was not taken."""
    if taken.why_not is not None or taken.set_aside:
        told = "; ".join(f"{row.reason}: {row.text}" for row in taken.set_aside)
        raise WrongUsage(taken.why_not or told)
