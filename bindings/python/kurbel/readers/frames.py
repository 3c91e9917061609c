"""Talks with the program that started this process: frames of a letter, a length (8 bytes, little endian) and bytes.

Out: H types of the columns ('i' int64, 'f' float64), B a block (rows as uint64, then each column's 8-byte values), P the share that was
read (float64), C a column's name, D a description, U the unit of times, E what went wrong, Z the end.
In (writing): D, B and Z.
"""
from __future__ import annotations

import os
import struct
import sys
from collections.abc import Iterator, Sequence

import numpy as np

BLOCK_ROWS = 16384
OUT = os.fdopen(os.dup(1), "wb", buffering=1 << 20)
os.dup2(2, 1)  # what a library prints must not come among the frames


class InputProblem(Exception):
    """The file cannot be used; the text is for a person."""


class Wish:
    """A column that is wanted: kind 'n' number, 't' time, 'w' one of `words`. The name '' stands for the file's own times."""

    def __init__(self, text: str) -> None:
        self.kind, _, rest = text.partition(":")
        self.column, *self.words = rest.split("\x1f")


def send(kind: str, payload: bytes = b"") -> None:
    OUT.write(kind.encode() + struct.pack("<Q", len(payload)) + payload)
    if kind != "B":
        OUT.flush()


def as_column(values: np.ndarray, wish: Wish) -> np.ndarray:
    """The values as little-endian int64 or float64, never losing a whole number."""
    if wish.kind == "w":
        texts = np.asarray([v.decode("utf-8", "replace") if isinstance(v, bytes) else str(v) for v in values.tolist()])
        codes = np.full(len(texts), -1, np.int64)
        for place, word in enumerate(wish.words):
            codes[texts == word] = place
        return codes
    if values.dtype.kind in "iub":
        if values.dtype.kind == "u" and values.size and values.max() > np.iinfo(np.int64).max:
            raise InputProblem(f"{wish.column}: holds a number beyond 2^63")
        return np.ascontiguousarray(values, "<i8")
    if values.dtype.kind == "f":
        return np.ascontiguousarray(values, "<f8")
    raise InputProblem(f"{wish.column}: must hold numbers, not {values.dtype}")


def send_blocks(blocks: Iterator[tuple[float, Sequence[np.ndarray]]], wishes: Sequence[Wish]) -> None:
    """Sends blocks of (share read, one array a wish); the types of the first one are those of all."""
    types = None
    for share, arrays in blocks:
        columns = [as_column(np.asarray(values), wish) for values, wish in zip(arrays, wishes)]
        found = "".join("i" if column.dtype.kind == "i" else "f" for column in columns)
        if types is None:
            types = found
            send("H", types.encode())
        if found != types:  # a missing value makes floats of a block of whole numbers
            columns = [np.asarray(c, "<i8" if t == "i" else "<f8") for c, t in zip(columns, types)]
        send("B", struct.pack("<Q", len(columns[0])) + b"".join(column.tobytes() for column in columns))
        send("P", struct.pack("<d", share))
    if types is None:
        send("H", b"i" * len(wishes))
    send("Z")


def no_such_column(name: str, names: Sequence[str]) -> InputProblem:
    shown = ", ".join(names[:40]) + (f" and {len(names) - 40} more" if len(names) > 40 else "")
    return InputProblem(f'has no column "{name}"; it has {shown or "none"}')


def place_of(name: str, names: Sequence[str]) -> int:
    """Place of a column, by name or as '#3'."""
    if name in names:
        return list(names).index(name)
    digits = name[1:] if name.startswith("#") else name
    if digits.isdigit() and 1 <= int(digits) <= len(names):
        return int(digits) - 1
    raise no_such_column(name, names)


def receive() -> tuple[str, bytes]:
    """The next frame from the program."""
    head = sys.stdin.buffer.read(9)
    if len(head) < 9:
        raise InputProblem("the program that started the writer is gone")
    (size,) = struct.unpack("<Q", head[1:])
    payload = sys.stdin.buffer.read(size)
    if len(payload) < size:
        raise InputProblem("the program that started the writer is gone")
    return head[:1].decode(), payload
