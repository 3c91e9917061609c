"""ASAM MDF, versions 3 and 4: each channel comes with the times of its own master channel, in seconds."""
from __future__ import annotations

import functools
import logging
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import mdf_check
import numpy as np
from frames import BLOCK_ROWS, InputProblem, Wish, no_such_column, send

if TYPE_CHECKING:
    from asammdf import MDF

logging.disable(logging.CRITICAL)


@functools.lru_cache(maxsize=1)
def open_file(path: str) -> MDF:
    """Opened once for all its channels; it is closed when this process ends."""
    mdf_check.check(path)
    from asammdf import MDF  # takes most of a second: a damaged file is refused without it

    try:
        return MDF(path, use_display_names=False)
    except Exception as error:  # the library's errors have no common kind
        raise InputProblem(f"is no MDF file, or damaged: {error}") from None


def names_in(file: MDF) -> list[str]:
    """Channels by name; "GROUP/NAME" (group counted from 0) where a name occurs in several groups. Masters are left out."""
    names = []
    for name, places in file.channels_db.items():
        wanted = [(g, c) for g, c in places if file.masters_db.get(g) != c]
        names += [name] if len(wanted) == 1 else [f"{g}/{name}" for g, _ in wanted]
    return names


def look(path: str) -> None:
    for name in names_in(open_file(path)):
        send("C", name.encode())


def place_of(file: MDF, name: str) -> tuple[int, int]:
    group, slash, plain = name.partition("/")
    for wanted, only in ((name, None), (plain, int(group) if slash and group.isdigit() else -1)):
        places = [p for p in file.channels_db.get(wanted, ()) if only is None or p[0] == only]
        if len(places) > 1:
            inner = [p for p in places if file.masters_db.get(p[0]) != p[1]]
            places = inner or places
        if len(places) == 1:
            return places[0]
    raise no_such_column(name, names_in(file))


def blocks(path: str, wishes: Sequence[Wish]) -> Iterator[tuple[float, list[np.ndarray]]]:
    file = open_file(path)
    named = [wish for wish in wishes if wish.column]
    places = [place_of(file, wish.column) for wish in named]
    group = places[0][0]
    if any(place[0] != group for place in places):
        raise InputProblem("has the wanted channels in different groups, whose rows do not belong together; leave time out, each has its own")
    rows = file.groups[group].channel_group.cycles_nr
    needs_time = any(not wish.column for wish in wishes)
    for first in range(0, rows, BLOCK_ROWS):
        count = min(BLOCK_ROWS, rows - first)
        got = dict(zip((wish.column for wish in named), read(file, places, first, count)))
        times = file.get_master(group, record_offset=first, record_count=count) if needs_time else None
        arrays = [times if not wish.column else got[wish.column] for wish in wishes]
        if any(len(array) != count for array in arrays):
            raise InputProblem(f"tells of {rows} rows in group {group}, but rows {first} to {first + count - 1} are not all there: it is cut off")
        yield (first + count) / rows, arrays


def read(file: MDF, places: Sequence[tuple[int, int]], first: int, count: int) -> list[np.ndarray]:
    arrays = []
    for group, index in places:
        try:
            signal = file.get(group=group, index=index, record_offset=first, record_count=count, samples_only=True)
        except Exception as error:
            raise InputProblem(f"is damaged: {error}") from None
        arrays.append(np.asarray(signal[0]))
    return arrays
