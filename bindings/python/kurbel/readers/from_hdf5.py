"""HDF5: data sets of one dimension, named by their path in the file."""
from __future__ import annotations

from collections.abc import Iterator, Sequence

import h5py
import numpy as np
from frames import BLOCK_ROWS, InputProblem, Wish, no_such_column, send

MOST_NAMES = 10000
MOST_CHUNK_BYTES = 256 << 20


def open_file(path: str) -> h5py.File:
    try:
        return h5py.File(path, "r")
    except OSError as error:
        raise InputProblem(f"is no HDF5 file, or cut off: {error}") from None


def names_in(file: h5py.File) -> list[str]:
    """Every data set once: visititems follows no link twice, so that a ring of groups ends."""
    names: list[str] = []

    def add(name: str, thing: object) -> bool | None:
        if isinstance(thing, h5py.Dataset):
            names.append(name)
        return True if len(names) >= MOST_NAMES else None

    file.visititems(add)
    return names


def look(path: str) -> None:
    with open_file(path) as file:
        for name in names_in(file):
            send("C", name.encode())


def data_set(file: h5py.File, name: str) -> h5py.Dataset:
    try:
        found = file[name] if name else None
    except (KeyError, OSError, ValueError, RuntimeError):
        found = None
    if not isinstance(found, h5py.Dataset):
        raise no_such_column(name, names_in(file))
    if len([length for length in found.shape or () if length != 1]) > 1 or not found.shape:
        raise InputProblem(f"{name}: must have one dimension, not the shape {found.shape}")
    if found.chunks and np.prod(found.chunks, dtype=float) * found.dtype.itemsize > MOST_CHUNK_BYTES:
        raise InputProblem(f"{name}: is stored in pieces of more than {MOST_CHUNK_BYTES >> 20} MiB")
    # A data set may tell of more than it holds: what was never written would come as an endless row of fill values.
    if found.size and found.id.get_storage_size() == 0:
        raise InputProblem(f"{name}: tells of {found.size} values, but none of them was ever written")
    return found


def blocks(path: str, wishes: Sequence[Wish]) -> Iterator[tuple[float, list[np.ndarray]]]:
    with open_file(path) as file:
        sets = [data_set(file, wish.column) for wish in wishes]
        rows = sets[0].size
        for one, wish in zip(sets, wishes):
            if one.size != rows:
                raise InputProblem(f"{wish.column} has {one.size} values, but {wishes[0].column} has {rows}; they belong together")
        for first in range(0, rows, BLOCK_ROWS):
            last = min(first + BLOCK_ROWS, rows)
            yield last / rows, [cut(one, first, last) for one in sets]


def cut(one: h5py.Dataset, first: int, last: int) -> np.ndarray:
    """Values first to last along the only dimension that is longer than 1."""
    axis = max(range(len(one.shape)), key=lambda i: one.shape[i])
    place = tuple(slice(first, last) if i == axis else 0 for i in range(len(one.shape)))
    try:
        return np.asarray(one[place])
    except OSError as error:
        raise InputProblem(f"{one.name}: is damaged or cut off: {error}") from None
