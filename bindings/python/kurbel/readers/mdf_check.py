"""Walks the blocks of an MDF 4 file before a library is let at it: every link must lead into the file, every length must fit
it, and no chain may come back to where it was.

Source: ASAM MDF 4.x as published in outline (block = id, 4 reserved bytes, length, number of links, links, data); field
positions from memory, and checked against files that asammdf writes.
"""
from __future__ import annotations

import os
import struct
from typing import BinaryIO

from frames import InputProblem

# Blocks that hold samples: their links end here, their length counts.
DATA = {b"##DT", b"##DV", b"##DI", b"##SD", b"##RD", b"##RV", b"##RI", b"##DZ"}
MOST_BLOCKS = 10_000_000
MOST_TEXT = 16 << 20


def check(path: str) -> None:
    """Throws InputProblem where the file's own structure is false. Memory: a few bytes a block."""
    size = os.path.getsize(path)
    with open(path, "rb") as file:
        head = file.read(64)
        if len(head) < 64 or head[:8] not in (b"MDF     ", b"UnFinMF "):
            raise InputProblem("is no MDF file, or cut off")
        if head[8:9] == b"3":
            return  # version 3 has another structure; its library finds what is wrong
        if head[8:9] != b"4":
            raise InputProblem(f"is MDF of version {head[8:16].decode('latin-1').strip()}; 3 and 4 are known")
        walk(file, size)


def walk(file: BinaryIO, size: int) -> None:
    seen: set[int] = set()
    waiting = [64]
    data_bytes = 0
    while waiting:
        at = waiting.pop()
        if at == 0 or at in seen:
            continue  # a tree's blocks may be shared (units, sources); that a chain comes back is looked at in chains
        seen.add(at)
        if len(seen) > MOST_BLOCKS:
            raise InputProblem("has more than ten million blocks")
        kind, length, links = block_at(file, at, size)
        if kind in DATA:
            data_bytes += length
        waiting.extend(links)
    if data_bytes > size:
        raise InputProblem("its data blocks overlap: their lengths are false")
    check_chains(file, seen, size)


def block_at(file: BinaryIO, at: int, size: int) -> tuple[bytes, int, list[int]]:
    """Kind, length and links of the block at `at`."""
    if at % 8 or at + 24 > size:
        raise InputProblem(f"a link leads to byte {at}, where no block can be: the file holds {size}; it is cut off, or its links are false")
    file.seek(at)
    kind, length, count = struct.unpack("<4s4xQQ", file.read(24))
    if kind[:2] != b"##":
        raise InputProblem(f"a link leads to byte {at}, where no block begins")
    if length < 24 or at + length > size:
        raise InputProblem(f"the block {kind[2:].decode('latin-1')} at byte {at} tells of {length} bytes, which the file does not hold: "
                           "it is cut off, or its lengths are false")
    if count > (length - 24) // 8:
        raise InputProblem(f"the block {kind[2:].decode('latin-1')} at byte {at} tells of {count} links, which do not fit its length")
    if kind in (b"##TX", b"##MD") and length > MOST_TEXT:
        raise InputProblem(f"a text at byte {at} has more than {MOST_TEXT >> 20} MiB")
    if kind == b"##DZ":
        check_packed(file, at, length)
        return kind, length, []
    return kind, length, list(struct.unpack(f"<{count}Q", file.read(8 * count)))


def check_packed(file: BinaryIO, at: int, length: int) -> None:
    """A packed block: deflate cannot unpack to more than 1032 times its size."""
    file.seek(at + 24)
    data = file.read(24)
    if len(data) < 24:
        raise InputProblem(f"the packed block at byte {at} is cut off")
    unpacked, packed = struct.unpack("<8xQQ", data)
    if packed > length - 48 or unpacked > 1100 * max(packed, 64):
        raise InputProblem(f"the packed block at byte {at} tells of {unpacked} bytes unpacked from {packed}: its lengths are false")


# Kinds of blocks that are strung together by their first link.
CHAINS = {b"##DG", b"##CG", b"##CN", b"##DL", b"##FH", b"##AT", b"##EV", b"##CH"}


def check_chains(file: BinaryIO, blocks: set[int], size: int) -> None:
    """No chain of next-links may form a ring."""
    sound: set[int] = set()
    for start in blocks:
        here: set[int] = set()
        at = start
        while at and at not in sound:
            kind, _, links = block_at(file, at, size)
            if kind not in CHAINS or not links:
                break
            if at in here:
                raise InputProblem(f"the chain of {kind[2:].decode('latin-1')} blocks comes back to byte {at}: it has no end")
            here.add(at)
            at = links[0]
        sound |= here
