"""A cell kept elsewhere: a backup while it runs, what comes back from one, and a move to another store."""

from __future__ import annotations

import json
import os
import shutil
import tempfile
import zipfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np

from cellmon.errors import CellmonError, FileUnreadable
from cellmon.intake.sheet_file import parse_sheet
from cellmon.intake.store_line import with_store
from cellmon.store import Store, Tally, copy_into, leave, tallies
from cellmon.words import say

SHEET, DATABASE, COUNTED = "cell.toml", "cell.db", "tallies.json"
BESIDE = ("causes.toml", "words/*.po")
"""What else a cell folder holds that people wrote."""
SQLITE = f"sqlite:///{DATABASE}"
CHUNK = 1 << 20
Progress = Callable[[str], None]


@dataclass(frozen=True, kw_only=True)
class Copied:
    """What was copied, counted and hashed on both sides."""

    where: str
    tables: tuple[Tally, ...]

    @property
    def rows(self) -> int:
        """How many rows of the store."""
        return sum(t.rows for t in self.tables)


def back_up(
    folder: Path, store: Store, to: Path, *, at: np.datetime64, progress: Progress | None = None
) -> Copied:
    """Write one file that holds the whole cell as it is at one moment; takes may go on meanwhile.

    Raises
    ------
    CellmonError
        When the file is there already, or cannot be written; nothing is left behind then.
    """
    if to.exists():
        raise CellmonError(say("{file} is there already; name a new file", file=to))
    with _beside(to) as made:
        copy = Store(SQLITE, folder=made, at=_us(at))
        with store.reading() as session, copy.writing() as into:
            tables = copy_into(session, into, progress=progress)
        copy.close()
        (made / COUNTED).write_text(_counted(tables, at=at), encoding="utf-8")
        packed = made / to.name
        with zipfile.ZipFile(packed, "x", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
            archive.write(folder / SHEET, SHEET)
            for path in _of_people(folder):
                archive.write(path, path.relative_to(folder).as_posix())
            archive.write(made / COUNTED, COUNTED)
            archive.write(made / DATABASE, DATABASE)
        _settle(packed, to)
    return Copied(where=str(to), tables=tables)


def restore(file: Path, folder: Path, *, at: np.datetime64) -> Copied:
    """Make a cell folder from a backup, and hold what came back against what was counted then.

    Raises
    ------
    CellmonError
        When the folder is a cell already, or what came back differs; nothing is left behind then.
    FileUnreadable
        When the file is no backup.
    """
    if any((folder / name).exists() for name in (SHEET, DATABASE)):
        raise CellmonError(say("{folder} is a cell already; name a new folder", folder=folder))
    folder.parent.mkdir(parents=True, exist_ok=True)
    with _beside(folder) as made:
        counted = _unpacked(file, made)
        text = (made / SHEET).read_text(encoding="utf-8")
        (made / SHEET).write_text(with_store(text, SQLITE), encoding="utf-8")
        store = Store(SQLITE, folder=made, at=_us(at))
        with store.reading() as session:
            tables = tallies(session)
        store.close()
        _must_be_equal(counted, tables, file=file.name)
        (made / COUNTED).unlink()
        folder.mkdir(exist_ok=True)
        for one in sorted(made.iterdir()):
            os.replace(one, folder / one.name)
    return Copied(where=str(folder), tables=tables)


def move(
    folder: Path, store: Store, url: str, *, at: np.datetime64, progress: Progress | None = None
) -> Copied:
    """Copy the cell into another, empty store, leave the old one and name the new one in the sheet.

    Nothing is taken meanwhile: the old store is held as a writer holds it. Programs that still have it open
    are refused from then on. The old store is left before the sheet names the other: cut short in between,
    the cell is refused in a sentence, where the other order would have rows taken into a store that is left.

    Raises
    ------
    StoreRefused
        When the other store cannot be used, is not empty, or does not hold what was copied.
    CellmonError
        When the sheet's line cannot be changed.
    """
    path = folder / SHEET
    changed = with_store(path.read_text(encoding="utf-8-sig"), url)
    other = Store(url, folder=folder, at=_us(at))
    try:
        with store.writing() as session:
            with other.writing() as into:
                tables = copy_into(session, into, progress=progress)
            beside = _written(path, changed)
            leave(session, to=other.name, at=_us(at))
        os.replace(beside, path)
    finally:
        other.close()
    return Copied(where=other.name, tables=tables)


def _of_people(folder: Path) -> Iterator[Path]:
    for pattern in BESIDE:
        yield from sorted(p for p in folder.glob(pattern) if p.is_file())


def _counted(tables: Sequence[Tally], *, at: np.datetime64) -> str:
    return json.dumps({"at": str(at), "tables": [asdict(t) for t in tables]}, indent=1)


def _unpacked(file: Path, into: Path) -> dict[str, Tally]:
    """Unpack the parts of a backup by the names they must have; return what was counted."""
    try:
        with zipfile.ZipFile(file) as archive:
            names = set(archive.namelist())
            if lacking := sorted({SHEET, DATABASE, COUNTED} - names):
                why = say("is no backup of a cell: it lacks {names}", names=", ".join(lacking))
                raise FileUnreadable(file.name, why)
            if sum(part.file_size for part in archive.infolist()) > shutil.disk_usage(into).free:
                raise FileUnreadable(file.name, say("does not fit on this disk once unpacked"))
            for name in sorted(names):
                if name in (SHEET, DATABASE, COUNTED) or _is_of_people(name):
                    target = into / name
                    target.parent.mkdir(exist_ok=True)
                    with archive.open(name) as source, target.open("wb") as out:
                        shutil.copyfileobj(source, out, CHUNK)
        read = json.loads((into / COUNTED).read_text(encoding="utf-8"))
        counted = [Tally(**one) for one in read["tables"]]
    except (zipfile.BadZipFile, zipfile.LargeZipFile, EOFError, ValueError, KeyError, TypeError) as broken:
        why = say("is no backup of a cell, or a damaged one: {fault}", fault=broken)
        raise FileUnreadable(file.name, why) from broken
    except OSError as refused:
        raise FileUnreadable(file.name, (refused.strerror or say("cannot be read")).lower()) from refused
    parse_sheet((into / SHEET).read_text(encoding="utf-8-sig"), where=SHEET)
    return {t.table: t for t in counted}


def _is_of_people(name: str) -> bool:
    parts = Path(name).parts
    return ".." not in parts and any(Path(name).match(pattern) for pattern in BESIDE) and len(parts) < 3


def _must_be_equal(counted: dict[str, Tally], tables: Sequence[Tally], *, file: str) -> None:
    """Refuse what came back where any table that was counted differs; a newer program has more tables."""
    found = {t.table: t for t in tables}
    differing = [name for name, tally in counted.items() if found.get(name) != tally]
    if differing:
        names = ", ".join(differing)
        raise FileUnreadable(file, say("what came back differs from what was counted: {names}", names=names))


@contextmanager
def _beside(path: Path) -> Iterator[Path]:
    """Yield a new folder beside a path, gone at the end."""
    made = Path(tempfile.mkdtemp(prefix=f".{path.name}-", dir=path.absolute().parent))
    try:
        yield made
    finally:
        shutil.rmtree(made, ignore_errors=True)


def _settle(made: Path, to: Path) -> None:
    """Bring a finished file to its name, whole or not at all, also where the power fails."""
    with made.open("rb") as written:
        os.fsync(written.fileno())
    os.replace(made, to)


def _written(path: Path, text: str) -> Path:
    """Return a file beside a path that holds a text for good, to be put in its place."""
    beside = path.with_suffix(".new")
    with beside.open("w", encoding="utf-8") as out:
        out.write(text)
        out.flush()
        os.fsync(out.fileno())
    return beside


def _us(at: np.datetime64) -> int:
    return int(at.astype("datetime64[us]").astype(np.int64))
