"""Delimited text to a table: separators, quotes, encodings, and the lines that do not fit.

A clean file is parsed in one go. Only one that is not is looked at line by line, and then in whole
arrays: just the lines with quotes are parsed singly.
"""

from __future__ import annotations

import codecs
import csv
import io
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.csv as arrow_csv
from numpy.typing import NDArray

from cellmon.errors import FileUnreadable
from cellmon.intake.table import CODED, Table, distinct_names, joined, shortened
from cellmon.records import Flags, Reason, Refused, Whole
from cellmon.words import say

SEPARATORS = (",", ";", "\t")
LONGEST_LINE = 100_000
"""Bytes in a line beyond which it is no row."""
MOST_COLUMNS = 1000
MOST_JOINED = 20
"""Lines that one quoted cell may span."""
MOST_TRIES = 1000
"""Quotes left open after which no further line is joined to the next."""
AT_ONCE = 1 << 18
"""Bytes looked through at once."""
PARSED_AT_ONCE = 1 << 24
"""Bytes that are parsed as one block, and coded before the next is parsed into the same memory: to find room
for all cells of a large file side by side would take most of the time."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Lines:
    """The lines below the header; line i is `data[starts[i]:ends[i]]`."""

    whole: bytes
    begin: int
    """Where they begin in the file; they are cut out of it only where some are looked at singly."""
    first: int
    """File line of line 0."""

    @cached_property
    def data(self) -> bytes:
        """The lines themselves."""
        return self.whole[self.begin :]

    @cached_property
    def ends(self) -> Whole:
        """Where each line ends, its line break left out."""
        found = np.flatnonzero(np.frombuffer(self.data, np.uint8) == ord("\n"))
        if not self.data.endswith(b"\n"):
            found = np.append(found, len(self.data))
        return found.astype(np.int64)

    @cached_property
    def starts(self) -> Whole:
        """Where each line starts."""
        return np.concatenate([[0], self.ends[:-1] + 1]).astype(np.int64)

    def text(self, first: int, last: int | None = None) -> str:
        """Return the text from one line to another, both included."""
        end = int(self.ends[first if last is None else last])
        return self.data[int(self.starts[first]) : end].decode("utf-8", "replace")

    def short(self, line: int, last: int | None = None) -> str:
        """Return the text of a line, or of lines, cut where it is longer than anyone reads."""
        start = int(self.starts[line])
        end = min(int(self.ends[line if last is None else last]), start + 4096)
        return shortened(self.data[start:end].decode("utf-8", "replace").replace("\x00", "␀"))


@dataclass(frozen=True, kw_only=True, eq=False)
class Rows:
    """Rows found line by line: the first and last line of each, and what was refused."""

    first: Whole
    last: Whole
    refused: tuple[Refused, ...]


def delimited_table(raw: bytes, *, name: str) -> Table:
    """Parse delimited text.

    Parameters
    ----------
    raw : bytes
        The file: UTF-8 with or without byte-order mark, UTF-16 with one, else Latin-1.
    name : str
        How to call it in a refusal.

    Raises
    ------
    FileUnreadable
        When it is not text or has no header.
    """
    data = _as_utf8(raw)
    if not data or data.isspace():
        raise FileUnreadable(name, say("is empty"))
    header_end, header_line = _header_end(data, name)
    start = data.rfind(b"\n", 0, header_end) + 1
    header_text = data[start:header_end].decode()
    separator = separator_of(
        header_text, data[header_end + 1 : header_end + 20_000].decode("utf-8", "replace")
    )
    names = next(csv.reader([header_text], delimiter=separator))
    if len(names) > MOST_COLUMNS:
        why = say("has {count} columns, more than {most}", count=len(names), most=MOST_COLUMNS)
        raise FileUnreadable(name, why)
    lines = Lines(whole=data, begin=min(header_end + 1, len(data)), first=header_line + 1)
    columns = _in_one_go(lines, separator, len(names))
    if columns is None:
        return _line_by_line(lines, separator, names, header_text)
    return Table(
        header=distinct_names(names),
        columns=columns,
        line=np.arange(lines.first, lines.first + len(columns[0]), dtype=np.int64),
        refused=(),
        separator=separator,
        header_text=header_text,
        text_of=lambda wanted: [lines.short(int(i)) for i in wanted],
    )


def _as_utf8(raw: bytes) -> bytes:
    if raw.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        raw = raw.decode("utf-16", "replace").encode()
    raw = raw.removeprefix(codecs.BOM_UTF8)
    if not raw.isascii():
        try:
            raw.decode("utf-8")
        except UnicodeDecodeError:
            raw = raw.decode("latin-1").encode()
    if b"\r" in raw:
        raw = raw.replace(b"\r\n", b"\n")
        raw = raw.replace(b"\r", b" " if b"\n" in raw else b"\n")
    return raw


def _control(data: NDArray[np.uint8]) -> Flags:
    found: Flags = (data < 9) | ((data > 13) & (data < 32) & (data != 27))
    return found


def _header_end(data: bytes, name: str) -> tuple[int, int]:
    """Return where the header's line ends and which line of the file it is."""
    start, line = 0, 1
    while True:
        end = data.find(b"\n", start)
        end = len(data) if end < 0 else end
        if data[start:end].strip() or end == len(data):
            break
        start, line = end + 1, line + 1
    if end - start > LONGEST_LINE or _control(np.frombuffer(data[start:end], np.uint8)).any():
        raise FileUnreadable(name, say("does not begin with a header; it may not be text at all"))
    return end, line


def separator_of(header: str, sample: str) -> str:
    """Return the separator that cuts the header into most columns and its lines alike."""

    def merit(separator: str) -> tuple[bool, int]:
        counts = [line.count(separator) for line in sample.split("\n")[:50] if line.strip()]
        there = header.count(separator)
        alike = sum(count == there for count in counts)
        return there > 0 and alike * 2 >= len(counts), there

    return max(SEPARATORS, key=merit)


def _in_one_go(lines: Lines, separator: str, width: int) -> tuple[Any, ...] | None:
    """Parse clean text; None where some line is not as wide as the header, blank or torn."""
    data, begin = lines.whole, lines.begin
    if begin == len(data):
        return tuple(pa.array([], CODED) for _ in range(width))
    if np.frombuffer(data, np.uint8, offset=begin).min() < 9:
        return None
    expected = _line_breaks(data, begin) + (not data.endswith(b"\n"))
    quoted = data.find(b'"', begin) >= 0
    try:
        found = _parse(pa.py_buffer(data).slice(begin), separator, width, quoted=quoted)
    except pa.ArrowInvalid:
        return None
    return found if len(found[0]) == expected else None


def _line_breaks(data: bytes, begin: int) -> int:
    """Count line breaks in pieces that stay in the processor's cache."""
    each = np.frombuffer(data, np.uint8, offset=begin)
    pieces = (each[i : i + AT_ONCE] for i in range(0, len(each), AT_ONCE))
    return sum(int(np.count_nonzero(piece == ord("\n"))) for piece in pieces)


def _parse(data: Any, separator: str, width: int, *, quoted: bool) -> tuple[Any, ...]:
    names = [str(i) for i in range(width)]
    at_once, several = min(data.size + 1, PARSED_AT_ONCE), data.size >= PARSED_AT_ONCE
    read = arrow_csv.open_csv(
        pa.BufferReader(data),
        read_options=arrow_csv.ReadOptions(column_names=names, block_size=at_once, use_threads=several),
        parse_options=arrow_csv.ParseOptions(
            delimiter=separator, newlines_in_values=quoted, ignore_empty_lines=width > 1
        ),
        convert_options=arrow_csv.ConvertOptions(
            column_types=dict.fromkeys(names, CODED), strings_can_be_null=False
        ),
    )
    blocks = [block.columns for block in read]
    return tuple(joined(pieces) for pieces in zip(*blocks, strict=True))


def _line_by_line(lines: Lines, separator: str, names: list[str], header_text: str) -> Table:
    rows = _rows_of(lines, separator, len(names))
    columns = _columns_of(lines, rows, separator, len(names))
    return Table(
        header=distinct_names(names),
        columns=columns,
        line=rows.first + lines.first,
        refused=rows.refused,
        separator=separator,
        header_text=header_text,
        text_of=lambda wanted: [lines.short(int(rows.first[i]), int(rows.last[i])) for i in wanted],
    )


def _rows_of(lines: Lines, separator: str, width: int) -> Rows:
    data = np.frombuffer(lines.data, np.uint8)
    size = lines.ends - lines.starts
    count = np.bincount(_line_at(lines, data == ord(separator)), minlength=len(size))
    torn = np.zeros(len(size), dtype=bool)
    torn[_line_at(lines, _control(data))] = True
    torn |= size > LONGEST_LINE
    blank = size == 0
    for i in np.flatnonzero(~blank & ((count != width - 1) | (size <= width + 8))):
        blank[i] = not lines.data[lines.starts[i] : min(lines.ends[i], lines.starts[i] + 4096)].strip(
            (" \t" + separator).encode()
        )
    fits = ~torn & ~blank & (count == width - 1)
    last = np.arange(len(size))
    quoted = np.zeros(len(size), dtype=bool)
    quoted[_line_at(lines, data == ord('"'))] = True
    _settle_quoted(lines, np.flatnonzero(quoted & ~torn), separator, width, fits=fits, blank=blank, last=last)
    wrong = np.flatnonzero(~fits & ~blank)
    refused = tuple(
        Refused(
            line=int(i) + lines.first,
            reason=Reason.UNREADABLE if torn[i] else Reason.FIELD_COUNT,
            text=lines.short(int(i)),
        )
        for i in wrong
    )
    first = np.flatnonzero(fits)
    return Rows(first=first, last=last[first], refused=refused)


def _line_at(lines: Lines, where: Flags) -> Whole:
    return np.searchsorted(lines.ends, np.flatnonzero(where)).astype(np.int64)


def _settle_quoted(
    lines: Lines, quoted: Whole, separator: str, width: int, *, fits: Flags, blank: Flags, last: Whole
) -> None:
    """Count the cells of lines with quotes singly, and join lines that one quoted cell spans.

    Lines swallowed by the one before are marked blank: they are no rows of their own.
    """
    taken, patience = -1, MOST_TRIES
    for start in quoted.tolist():
        if start <= taken:
            continue
        got = _width(lines.text(start), separator)
        end = start
        while got is None and patience and end + 1 < len(last) and end - start < MOST_JOINED:
            end += 1
            got = _width(lines.text(start, end), separator)
            if got is not None and got != width:
                got = None
        fits[start] = got == width
        patience -= got is None and patience > 0
        if got == width and end > start:
            blank[start + 1 : end + 1], fits[start + 1 : end + 1] = True, False
            last[start] = taken = end


def _width(text: str, separator: str) -> int | None:
    """Return how many cells a text holds, None where a quote is left open or it makes no sense."""
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True))
    except csv.Error:
        return None
    return len(rows[0]) if len(rows) == 1 else None


def _columns_of(lines: Lines, rows: Rows, separator: str, width: int) -> tuple[Any, ...]:
    if len(rows.first) == 0:
        return tuple(pa.array([], CODED) for _ in range(width))
    edges = np.zeros(len(lines.data) + 2, dtype=np.int8)
    edges[lines.starts[rows.first]] += 1
    np.add.at(edges, lines.ends[rows.last] + 1, -1)
    inside = np.cumsum(edges[: len(lines.data)], dtype=np.int8).astype(bool)
    good = np.frombuffer(lines.data, np.uint8)[inside].tobytes()
    try:
        found = _parse(pa.py_buffer(good), separator, width, quoted=b'"' in good)
    except pa.ArrowInvalid:
        found = ()
    if found and len(found[0]) == len(rows.first):
        return found
    singly = [
        next(csv.reader(io.StringIO(lines.text(int(a), int(b)), newline=""), delimiter=separator))
        for a, b in zip(rows.first, rows.last, strict=True)
    ]
    return tuple(pa.array(column, CODED) for column in zip(*singly, strict=True))
