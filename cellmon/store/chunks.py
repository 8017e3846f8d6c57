"""Columns as one block of bytes: how rows that are always read together are kept together.

A block is a JSON head that names each column and how it is written, then the columns' bytes, packed
with LZ4. Texts become codes into a list, whole numbers take the narrowest integers, figures of four
decimals become integers exactly; what is missing throughout takes no room.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Collection, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

DECIMALS = 1e4
NARROW = ("i1", "i2", "i4", "i8")
HEAD = 8  # bytes that say how long the head is
NOTHING = -(2**31)  # stands for nan among four-decimal integers
MINUS_ZERO = NOTHING + 1


def encode(columns: Mapping[str, NDArray[Any]]) -> bytes:
    """Write columns of equal length as one block.

    Columns are object arrays of texts and None, `datetime64[us]`, float64, bool or integers; the
    first axis counts rows.
    """
    import pyarrow as pa

    heads, bodies = [], []
    for name, values in columns.items():
        how, body, more = _written(values)
        heads.append([name, how, list(values.shape), len(body), more])
        bodies.append(body)
    packed = b"".join(bodies)
    head = json.dumps([len(packed), heads], ensure_ascii=False).encode()
    squeezed: bytes = pa.compress(packed, codec="lz4", asbytes=True) if packed else b""
    return len(head).to_bytes(HEAD, "little") + head + squeezed


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


def _written(values: NDArray[Any]) -> tuple[str, bytes, Any]:
    if values.dtype == object:
        return _texts(values)
    if values.dtype.kind == "M":
        return "time", values.astype("datetime64[us]").astype("<i8").tobytes(), None
    if values.dtype.kind in "bi":
        return _integers(values)
    if np.isnan(values).all():
        return "nan", b"", None
    with np.errstate(over="ignore"):  # the largest figures are no four-decimal ones
        scaled = np.rint(values * DECIMALS)
    whole = np.isnan(values) | ((scaled / DECIMALS == values) & (np.abs(scaled) < -MINUS_ZERO))
    if whole.all():
        scaled[np.isnan(values)] = NOTHING
        scaled[(values == 0) & np.signbit(values)] = MINUS_ZERO
        return "scaled", scaled.astype("<i4").tobytes(), None
    return "float", values.astype("<f8").tobytes(), None


def _texts(values: NDArray[Any]) -> tuple[str, bytes, Any]:
    import pandas as pd

    texts = values.tolist()
    if texts and texts.count(texts[0]) == len(texts):  # most columns say the same throughout
        if texts[0] is None:
            return "none", b"", None
        return "text-int", bytes(len(texts)), [NARROW[0], texts[:1]]
    codes, words = pd.factorize(values)
    if not len(words):
        return "none", b"", None
    how, body, kind = _integers(codes)
    return f"text-{how}", body, [kind, list(words)]


def _integers(values: NDArray[Any]) -> tuple[str, bytes, Any]:
    low, high = (int(values.min()), int(values.max())) if values.size else (0, 0)
    kind = next(k for k in NARROW if np.iinfo(k).min <= low and high <= np.iinfo(k).max)
    return "int", values.astype(f"<{kind}").tobytes(), kind


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
