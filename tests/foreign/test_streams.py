"""Files much larger than the memory that the program may take; and the line that tells how far it is."""

import os
import pty
import subprocess
import time

import h5py
import numpy as np
import pyarrow
import pyarrow.parquet
import pytest
from conftest import MIB, PROGRAM, must, write_mapping

PIECE = "".join(f"{tick}\n" for tick in range(0, 1 << 24, 1024)).encode()  # of a counter of 24 bits, which wraps behind it
COUNT = 8_000_000  # most of an hour of a 60-2 wheel; 64 MB


@pytest.fixture(scope="module")
def microseconds():
    random = np.random.default_rng(3)
    return np.cumsum(random.integers(200, 400, COUNT))


def test_text_of_edges(tmp_path):
    """100 MB of text through 24 MiB of memory; the text repeats one piece, whose times run on by a wrapping counter."""
    file = tmp_path / "edges.csv"
    with open(file, "wb") as stream:
        stream.write(b"tick\n")
        while stream.tell() < 100 * MIB:
            stream.write(PIECE)
    write_mapping(file, crank="tick", time_unit="ticks", timer_hz=1e6, timer_bits=24)
    done = must("convert", file, "--out", tmp_path / "recording", "--npy", most_mib=24)
    edges = np.load(tmp_path / "recording" / "crank.npy", mmap_mode="r")
    assert f"{len(edges)} crank edges" in done.stdout
    assert len(edges) > 10_000_000 and (np.diff(edges) == 1024).all()


def test_arrays_and_tables(microseconds, tmp_path):
    """64 MB through 48 MiB of memory, for the program and for the reader each; pyarrow alone takes some 150 before it reads anything."""
    with h5py.File(tmp_path / "edges.h5", "w") as h5:
        h5.create_dataset("crank", data=microseconds, chunks=(65536,))
    write_mapping(tmp_path / "edges.h5", crank="crank", time_unit="us")
    pyarrow.parquet.write_table(pyarrow.table({"crank": microseconds}), tmp_path / "edges.parquet", row_group_size=1_000_000)
    write_mapping(tmp_path / "edges.parquet", crank="crank", time_unit="us")
    np.savez(tmp_path / "edges.npz", crank=microseconds)
    write_mapping(tmp_path / "edges.npz", crank="crank", time_unit="us")
    for name, most_mib in (("edges.h5", 48), ("edges.parquet", 200), ("edges.npz", 48)):
        must("convert", tmp_path / name, "--out", tmp_path / "recording", "--npy", most_mib=most_mib)
        np.testing.assert_array_equal(np.load(tmp_path / "recording" / "crank.npy"), microseconds * 1000)


def convert_on_a_terminal(file, out):
    """What is written to the terminal, and how long it took."""
    master, slave = pty.openpty()
    began = time.monotonic()
    done = subprocess.run([PROGRAM, "convert", str(file), "--out", str(out), "--npy"], stderr=slave, stdout=subprocess.PIPE, timeout=120)
    seconds = time.monotonic() - began
    os.set_blocking(master, False)
    try:
        seen = os.read(master, 1 << 16).decode()
    except BlockingIOError:
        seen = ""
    os.close(slave)
    os.close(master)
    assert done.returncode == 0
    return seen, seconds


def test_progress_on_a_terminal(tmp_path):
    """On a terminal a long read tells how far it is, and wipes that line; what is read in half a second tells nothing, so the file grows until
    this machine takes longer."""
    file = tmp_path / "edges.csv"
    file.write_bytes(b"tick\n")
    write_mapping(file, crank="tick", time_unit="ticks", timer_hz=1e6, timer_bits=24)
    for size in (50, 150, 600, 1800):
        with open(file, "ab") as stream:
            while stream.tell() < size * MIB:
                stream.write(PIECE)
        seen, seconds = convert_on_a_terminal(file, tmp_path / f"r{size}")
        if seconds > 1.5:
            break
    assert "\rreading edges.csv " in seen and " %" in seen and seen.endswith("\r\x1b[K")
