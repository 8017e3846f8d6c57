"""Columns as one block of bytes: how rows that are always read together are kept together.

A block is a JSON head that names each column and how it is written, then the columns' bytes, packed
with LZ4. Texts become codes into a list, whole numbers take the narrowest integers, figures of four
decimals become integers exactly; what is missing throughout takes no room.
"""

from __future__ import annotations

import itertools
import json
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cellmon.records.alike import numbered

DECIMALS = 1e4
NARROW = ("i1", "i2", "i4", "i8")
MOST = tuple(int(np.iinfo(kind).max) for kind in NARROW)
AT_ONCE = 16_384
"""Figures packed at once: so many stay in the processor's cache."""
HEAD = 8  # bytes that say how long the head is
NOTHING = -(2**31)  # stands for nan among four-decimal integers
MINUS_ZERO = NOTHING + 1

Body = bytes | memoryview
Written = tuple[str, Body, Any]
"""How it is written, its bytes, which an array may hold, and what else a reader needs."""
Writer = Callable[[int, slice], Written]
"""Writes the rows of one block, given its number and where they stand."""


def encode(columns: Mapping[str, NDArray[Any]]) -> bytes:
    """Write columns of equal length as one block.

    Columns are object arrays of texts and None, `datetime64[us]`, float64, bool or integers; the
    first axis counts rows.
    """
    return next(encode_each(columns, (0, max(map(len, columns.values()), default=0))))


def encode_each(
    columns: Mapping[str, NDArray[Any]], edges: Sequence[int], order: NDArray[np.int64] | None = None
) -> Iterator[bytes]:
    """Write the rows from each edge to the next as a block of their own, each as `encode` writes them.

    What a column is made of is looked at once for all blocks, which takes a third of the time. With `order`
    the rows are put into it first; texts are told apart as they stand before, where they may say the same
    for longer.
    """
    import pyarrow as pa

    bounds = np.asarray(edges, dtype=np.int64)
    writers = {name: _writer(values, bounds, order) for name, values in columns.items()}
    for i, (begin, end) in enumerate(itertools.pairwise(bounds.tolist())):
        heads, bodies = [], []
        for name, write in writers.items():
            how, body, more = write(i, slice(begin, end))
            heads.append([name, how, [end - begin, *columns[name].shape[1:]], memoryview(body).nbytes, more])
            bodies.append(body)
        packed = b"".join(bodies)
        head = json.dumps([len(packed), heads], ensure_ascii=False).encode()
        squeezed: bytes = pa.compress(packed, codec="lz4", asbytes=True) if packed else b""
        yield len(head).to_bytes(HEAD, "little") + head + squeezed


def decode(block: bytes, names: Collection[str] | None = None) -> dict[str, NDArray[Any]]:
    """Read a block back as the columns it was written from, or only those of some names."""
    import pyarrow as pa

    start = HEAD + int.from_bytes(block[:HEAD], "little")
    size, heads = json.loads(block[HEAD:start])
    packed = pa.decompress(block[start:], decompressed_size=size, codec="lz4", asbytes=True) if size else b""
    found, at = {}, 0
    for name, how, shape, length, more in heads:
        if names is None or name in names:
            found[name] = _read(packed[at : at + length], how, tuple(shape), more)
        at += length
    return found


def _writer(values: NDArray[Any], edges: NDArray[np.int64], order: NDArray[np.int64] | None) -> Writer:
    if values.dtype == object:
        return _texts(values, edges, order)
    if order is not None:
        values = values.take(order, axis=0)
    if values.dtype.kind == "M":
        moments = values.astype("datetime64[us]").astype("<i8")
        return lambda _, rows: ("time", moments[rows].data, None)
    if values.dtype.kind in "bi":
        return _integers(values, edges)
    return _figures(values, edges)


def _figures(values: NDArray[Any], edges: NDArray[np.int64]) -> Writer:
    gone, fits, packed = (np.empty(values.shape, dtype=kind) for kind in (bool, bool, "<i4"))
    rows = max(AT_ONCE // max(values[:1].size, 1), 1)
    with np.errstate(over="ignore", invalid="ignore"):  # what is too large does not fit, and is not packed
        for begin in range(0, len(values), rows):
            here = slice(begin, begin + rows)
            _pack(values[here], gone[here], fits[here], packed[here])
    nothing, whole = (_each(np.logical_and, of, edges) for of in (gone, fits))

    def write(block: int, rows: slice) -> Written:
        if nothing[block]:
            return "nan", b"", None
        if whole[block]:
            return "scaled", packed[rows].data, None
        return "float", values[rows].astype("<f8").data, None

    return write


def _pack(values: NDArray[Any], gone: NDArray[Any], fits: NDArray[Any], packed: NDArray[Any]) -> None:
    """Write figures as four-decimal integers, where they are nan, and where nothing is lost by it."""
    np.isnan(values, out=gone)
    scaled = values * DECIMALS
    np.rint(scaled, out=scaled)
    np.equal(scaled / DECIMALS, values, out=fits)
    fits &= np.abs(scaled) < -MINUS_ZERO
    fits |= gone
    np.copyto(scaled, NOTHING, where=gone)
    nought = values == 0
    if nought.any():
        np.copyto(scaled, MINUS_ZERO, where=nought & np.signbit(values))
    np.copyto(packed, scaled, casting="unsafe")


def _texts(values: NDArray[Any], edges: NDArray[np.int64], order: NDArray[np.int64] | None) -> Writer:
    codes, words = numbered(values)
    if not words:
        return lambda _, rows: _one_text(None, rows)
    if len(words) == 1 and codes.min() == 0:
        return lambda _, rows: _one_text(words[0], rows)
    if order is None and len(edges) == 2:  # they come as numbered
        each = _Each(number=codes, words=words, begins=np.array((0, len(words))))
    else:
        each = _Each.of(codes if order is None else codes.take(order), words, edges)

    def write(block: int, rows: slice) -> Written:
        said = each.words[each.begins[block] : each.begins[block + 1]]
        if not said:
            return _one_text(None, rows)
        kind = _narrowest(0, len(said) - 1)
        return "text-int", each.number[rows].astype(f"<{kind}").data, [kind, said]

    return write


@dataclass(frozen=True, kw_only=True, eq=False)
class _Each:
    """Texts by the numbers of those that a block says, as they come first in it; -1 where there is none."""

    number: NDArray[np.int64]
    words: list[str]
    """What each block says, block after block; `begins` where that of each begins, and the last ends."""
    begins: NDArray[np.int64]

    @classmethod
    def of(cls, codes: NDArray[np.int64], words: list[str], edges: NDArray[np.int64]) -> _Each:
        """Number anew in each block what is numbered throughout."""
        import pandas as pd

        blocks, there = np.arange(len(edges)), np.flatnonzero(codes >= 0)
        block = np.repeat(blocks[:-1], np.diff(edges))[there]
        place, seen = pd.factorize(block * len(words) + codes[there])
        begins = np.searchsorted(seen // len(words), blocks)
        number = np.full(len(codes), -1)
        number[there] = place - begins[block]
        said = [words[code] for code in (seen % len(words)).tolist()]
        return cls(number=number, words=said, begins=begins)


def _one_text(text: str | None, rows: slice) -> Written:
    if text is None or rows.start == rows.stop:
        return "none", b"", None
    return "text-int", bytes(rows.stop - rows.start), [NARROW[0], [text]]


def _integers(values: NDArray[Any], edges: NDArray[np.int64]) -> Writer:
    if not values.size:
        return lambda _, __: ("int", b"", NARROW[0])
    low, high = (_each(of, values, edges).tolist() for of in (np.minimum, np.maximum))

    def write(block: int, rows: slice) -> Written:
        kind = _narrowest(low[block], high[block])
        return "int", values[rows].astype(f"<{kind}").data, kind

    return write


def _narrowest(low: int, high: int) -> str:
    return next(k for k, most in zip(NARROW, MOST, strict=True) if -most - 1 <= low and high <= most)


def _each(of: np.ufunc, values: NDArray[Any], edges: NDArray[np.int64]) -> NDArray[Any]:
    """Return what a reduction makes of each block."""
    if not values.size:
        return np.ones(len(edges) - 1, dtype=values.dtype)
    if len(edges) == 2:
        return np.asarray(of.reduce(values, axis=None)).reshape(1)
    flat = values if values.ndim == 1 else of.reduce(values.reshape(len(values), -1), axis=1)
    found = np.ones(len(edges) - 1, dtype=values.dtype)
    filled = edges[1:] > edges[:-1]
    found[filled] = of.reduceat(flat, edges[:-1][filled])
    return found


def _read(body: bytes, how: str, shape: tuple[int, ...], more: Any) -> NDArray[Any]:
    if how in ("none", "nan"):
        return np.full(shape, None if how == "none" else np.nan, dtype=object if how == "none" else float)
    reader = _read_text if how.startswith("text") else READERS[how]
    found: NDArray[Any] = reader(body, more).reshape(shape)
    return found


def _read_scaled(body: bytes, _more: Any) -> NDArray[Any]:
    scaled = np.frombuffer(body, dtype="<i4")
    found = scaled / DECIMALS
    found[scaled == NOTHING] = np.nan
    found[scaled == MINUS_ZERO] = -0.0
    return found


def _read_text(body: bytes, more: Any) -> NDArray[Any]:
    kind, words = more
    lookup = np.empty(len(words) + 1, dtype=object)
    lookup[:-1] = words  # the last stays None, which code -1 picks
    found: NDArray[Any] = lookup[np.frombuffer(body, dtype=f"<{kind}")]
    return found


READERS: dict[str, Callable[[bytes, Any], NDArray[Any]]] = {
    "time": lambda body, _: np.frombuffer(body, dtype="<i8").astype(np.int64).view("datetime64[us]"),
    "float": lambda body, _: np.frombuffer(body, dtype="<f8").astype(np.float64),
    "int": lambda body, kind: np.frombuffer(body, dtype=f"<{kind}").astype(np.int64),
    "scaled": _read_scaled,
}
