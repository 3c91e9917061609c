"""NumPy archives: arrays of one dimension in a zip file, unpacked a block at a time."""
from __future__ import annotations

import zipfile
from collections.abc import Iterator, Sequence
from typing import IO

import numpy as np
from frames import BLOCK_ROWS, InputProblem, Wish, no_such_column, send

# Deflate cannot shrink by more than 1032 to 1; what comes close holds one value over and over, which no recording does.
MOST_RATIO = 1000


def open_archive(path: str) -> zipfile.ZipFile:
    try:
        return zipfile.ZipFile(path)
    except zipfile.BadZipFile as error:
        raise InputProblem(f"is no NumPy archive, or cut off: {error}") from None


def names_in(archive: zipfile.ZipFile) -> list[str]:
    return [name[:-4] for name in archive.namelist() if name.endswith(".npy")]


def look(path: str) -> None:
    with open_archive(path) as archive:
        for name in names_in(archive):
            send("C", name.encode())


class Array:
    """One array of an archive, opened behind its header."""

    def __init__(self, archive: zipfile.ZipFile, name: str) -> None:
        if name not in names_in(archive):
            raise no_such_column(name, names_in(archive))
        info = archive.getinfo(name + ".npy")
        if info.file_size > 1 << 20 and info.file_size > MOST_RATIO * max(info.compress_size, 1):
            raise InputProblem(f"{name}: unpacks to more than {MOST_RATIO} times its size: this is no recording")
        self.name = name
        self.stream: IO[bytes] = archive.open(info)
        try:
            version = np.lib.format.read_magic(self.stream)
            read = np.lib.format.read_array_header_1_0 if version == (1, 0) else np.lib.format.read_array_header_2_0
            shape, _, self.dtype = read(self.stream)
        except (ValueError, zipfile.BadZipFile) as error:
            raise InputProblem(f"{name}: is no NumPy array: {error}") from None
        if self.dtype.hasobject:
            raise InputProblem(f"{name}: holds Python objects, which are never loaded; save numbers or texts")
        self.rows = int(np.prod(shape, dtype=np.uint64))
        if len([length for length in shape if length != 1]) > 1:
            raise InputProblem(f"{name}: must have one dimension, not the shape {shape}")
        if self.rows * self.dtype.itemsize > info.file_size:
            raise InputProblem(f"{name}: tells of {self.rows} values, and {info.file_size} bytes are there")

    def take(self, rows: int) -> np.ndarray:
        size = rows * self.dtype.itemsize
        data = bytearray()
        while len(data) < size:
            try:
                piece = self.stream.read(size - len(data))
            except (zipfile.BadZipFile, EOFError, OSError) as error:
                raise InputProblem(f"{self.name}: is damaged: {error}") from None
            if not piece:
                raise InputProblem(f"{self.name}: is cut off")
            data += piece
        return np.frombuffer(bytes(data), self.dtype)


def blocks(path: str, wishes: Sequence[Wish]) -> Iterator[tuple[float, list[np.ndarray]]]:
    with open_archive(path) as archive:
        arrays = [Array(archive, wish.column) for wish in wishes]
        rows = arrays[0].rows
        for array in arrays:
            if array.rows != rows:
                raise InputProblem(f"{array.name} has {array.rows} values, but {arrays[0].name} has {rows}; they belong together")
        for first in range(0, rows, BLOCK_ROWS):
            count = min(BLOCK_ROWS, rows - first)
            yield (first + count) / rows, [array.take(count) for array in arrays]
