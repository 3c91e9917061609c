"""Talks with the program that started this process: frames of a letter, a length (8 bytes, little endian) and bytes.

Reading, in: L (what columns are there?), O (open the wishes in the payload, parted by ASCII's record separator; they are counted from 0),
N (the next block of that number, uint64). Out, behind L: C a column's name, D a description, U the unit of times, Z the end; behind O: H types of
the columns ('i' int64, 'f' float64); behind N: P the share that was read (float64) and B a block (rows as uint64, then each column's 8-byte
values), or Z behind the last. At any time: E what went wrong.
Writing, in: D, W, B and Z; out: Z.
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


class Reading:
    """The blocks of some columns, of (share read, one array a wish); the types of the first one are those of all. One block is made
    ready while the program works on the one before."""

    def __init__(self, blocks: Iterator[tuple[float, Sequence[np.ndarray]]], wishes: Sequence[Wish]) -> None:
        self.blocks = blocks
        self.wishes = wishes
        self.types = "i" * len(wishes)  # of a file without rows
        self.ready: tuple[float, bytes] | Exception | None = self.make(first=True)
        if isinstance(self.ready, Exception):
            raise self.ready

    def make(self, first: bool = False) -> tuple[float, bytes] | Exception | None:
        """The next block as bytes; None behind the last. What goes wrong is told when its turn comes."""
        try:
            share, arrays = next(self.blocks)
            columns = [as_column(np.asarray(values), wish) for values, wish in zip(arrays, self.wishes)]
        except StopIteration:
            return None
        except Exception as error:
            return error
        found = "".join("i" if column.dtype.kind == "i" else "f" for column in columns)
        if first:
            self.types = found
        if found != self.types:  # a missing value makes floats of a block of whole numbers
            columns = [np.asarray(c, "<i8" if t == "i" else "<f8") for c, t in zip(columns, self.types)]
        return share, struct.pack("<Q", len(columns[0])) + b"".join(column.tobytes() for column in columns)

    def send_next(self) -> None:
        if isinstance(self.ready, Exception):
            raise self.ready
        if self.ready is None:
            send("Z")
            return
        share, block = self.ready
        send("P", struct.pack("<d", share))
        send("B", block)
        OUT.flush()
        self.ready = self.make()


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


def receive_or_end() -> tuple[str, bytes] | None:
    """The next frame, or None where the program needs nothing more."""
    return receive() if sys.stdin.buffer.peek(1) else None


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
