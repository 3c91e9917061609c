"""Apache Parquet: columns of a table, a batch at a time."""
from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from frames import BLOCK_ROWS, InputProblem, Wish, place_of, send

DESCRIPTION = b"kurbel.recording"


def open_file(path: str) -> pq.ParquetFile:
    try:
        return pq.ParquetFile(path, memory_map=False, buffer_size=1 << 20, thrift_string_size_limit=1 << 24,
                              thrift_container_size_limit=1 << 20)
    except (pa.ArrowException, OSError) as error:
        raise InputProblem(f"is no Parquet file, or cut off: {error}") from None


def look(path: str) -> None:
    file = open_file(path)
    for name in file.schema_arrow.names:
        send("C", name.encode())
    metadata = file.schema_arrow.metadata or {}
    if DESCRIPTION in metadata:
        send("D", metadata[DESCRIPTION])


def as_array(column: pa.Array, wish: Wish) -> np.ndarray:
    if pa.types.is_dictionary(column.type):
        column = column.dictionary_decode()
    if pa.types.is_timestamp(column.type) or pa.types.is_duration(column.type):
        column = column.cast(pa.int64())
    if column.null_count and not (pa.types.is_floating(column.type) or wish.kind == "w"):
        column = column.cast(pa.float64())
    return column.to_numpy(zero_copy_only=False)


def blocks(path: str, wishes: Sequence[Wish]) -> Iterator[tuple[float, list[np.ndarray]]]:
    file = open_file(path)
    names = file.schema_arrow.names
    columns = [names[place_of(wish.column, names)] for wish in wishes]
    rows = max(file.metadata.num_rows, 1)
    done = 0
    try:
        for batch in file.iter_batches(batch_size=BLOCK_ROWS, columns=list(dict.fromkeys(columns)), use_threads=False):
            done += batch.num_rows
            if batch.num_rows:
                yield done / rows, [as_array(batch.column(name), wish) for name, wish in zip(columns, wishes)]
    except (pa.ArrowException, OSError) as error:
        raise InputProblem(f"is damaged or cut off: {error}") from None
    if done != file.metadata.num_rows:
        raise InputProblem(f"tells of {file.metadata.num_rows} rows, but holds {done}")
