"""Writes a recording as one Parquet table: tick, signal (crank, cam or a channel's name), value (of channels alone)."""
from __future__ import annotations

import json
import struct

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from frames import receive, send

GROUP_ROWS = 1 << 20


def write(path: str) -> None:
    """Takes D (recording.toml), W (the names of signals, as JSON), then blocks of (tick int64, place of the name int64, value)."""
    kind, description = receive()
    kind, names = receive()
    words = pa.array(json.loads(names), pa.string())
    schema = pa.schema(
        [("tick", pa.int64()), ("signal", pa.dictionary(pa.int8(), pa.string())), ("value", pa.float64())],
        metadata={"kurbel.recording": description},
    )
    with pq.ParquetWriter(path, schema, compression="zstd") as writer:
        waiting: list[pa.RecordBatch] = []
        for kind, payload in iter(receive, ("Z", b"")):
            (rows,) = struct.unpack("<Q", payload[:8])
            tick, place, value = (payload[8 + i * 8 * rows : 8 + (i + 1) * 8 * rows] for i in range(3))
            numbers = np.frombuffer(value, "<f8")
            signal = pa.DictionaryArray.from_arrays(pa.array(np.frombuffer(place, "<i8").astype(np.int8)), words)
            waiting.append(
                pa.RecordBatch.from_arrays(
                    [pa.array(np.frombuffer(tick, "<i8")), signal, pa.array(numbers, mask=np.isnan(numbers))], schema=schema
                )
            )
            if sum(batch.num_rows for batch in waiting) >= GROUP_ROWS:
                writer.write_table(pa.Table.from_batches(waiting))
                waiting = []
        if waiting:
            writer.write_table(pa.Table.from_batches(waiting))
    send("Z")
