"""Damaged and hostile files end with status 3 and a message that says what is wrong, in bounded memory and bounded time."""

import os
import struct
import subprocess
import zipfile

import h5py
import numpy as np
import pyarrow
import pyarrow.parquet
import pytest
import scipy.io.wavfile
from asammdf import MDF, Signal
from conftest import PICKUP, PROGRAM, refused, write_mapping

MOST_MIB = 1024  # Python's libraries alone take some hundred; the program itself some ten


def check(file, said, tmp_path, most_mib=MOST_MIB, **mapping):
    before = None
    if mapping:
        write_mapping(file, **mapping)
    before = sorted(os.listdir(tmp_path))
    done = refused("convert", file, "--out", tmp_path / "recording", said=said, most_mib=most_mib, timeout=60,
                   env={"KURBEL_READER_PATIENCE_S": "20"})
    assert str(file) in done.stderr
    assert sorted(os.listdir(tmp_path)) == before  # nothing half-written


# ---- text -------------------------------------------------------------------------------------------------------------------------


TEXTS = {
    "cut off": (b"t,s\n0.001,crank\n0.002,crank\n0.003,crank\n0.0", "list.csv:5: has 1 of at least 2 fields; the file seems to be cut off"),
    "UTF-16": ("t,s\n0.1,crank\n".encode("utf-16"), "is UTF-16 text; save it as UTF-8"),
    "UTF-16 without a mark": ("t,s\n0.1,crank\n".encode("utf-16-le"), "list.csv:1: holds zero bytes"),
    "no table": (b"dear diary\ntoday it rained\n", "no rows of numbers found in its first 2 lines"),
    "huge header": (b"# nothing\n# but remarks\n" * 200_000, "no rows of numbers found in its first 1000 lines"),
    "endless line": (b"1," * 3_000_000, "list.csv:1: is a line of more than 1 MiB"),
    "empty": (b"", "is empty"),
    "not a number": (b"t,s\n0.1,crank\n0.2,crank\n0.2x,crank\n0.3,crank\n" * 1 + b"0.4,crank\n" * 60, 'list.csv:4: t: must be a time, not "0.2x"'),
    "backwards": (b"t,s\n0.1,crank\n0.3,crank\n0.2,crank\n" + b"0.4,crank\n" * 5, "list.csv:4: time runs backwards"),
    "lines of an old computer": (b"t,s\r0.1,crank\r0.2,crank\r", "has lines that end in carriage returns alone; save it with line feeds"),
    "no such column": (b"time,s\n0.1,crank\n0.2,crank\n", 'has no column "t"; it has time, s'),
    "not a number's word": (b"t,s\n0.1,crank\n0.2,crank\nNaN,crank\n", 'list.csv:4: t: must be a time, not "NaN"'),
    "beyond all numbers": (b"t,s\n0.1,crank\n-inf,crank\n0.2,crank\n", 'list.csv:3: t: must be a time, not "-inf"'),
    "header alone": (b"t,s\n", "no rows of numbers found in its first 1 lines"),
    "cam alone": (b"t,s\n0.1,cam\n0.2,cam\n", "holds no edges of the crank"),
}


@pytest.mark.parametrize("fault", TEXTS.values(), ids=TEXTS)
def test_text(fault, tmp_path):
    file = tmp_path / "list.csv"
    file.write_bytes(fault[0])
    check(file, fault[1], tmp_path, most_mib=64, time="t", signal="s")


def test_what_is_no_file(tmp_path):
    """Empty under every ending, a folder, a pipe, nothing there, and what one may not read: each cause by its own name."""
    for ending in ("csv", "wav", "vcd", "npz", "h5", "parquet", "mf4"):
        (tmp_path / f"empty.{ending}").touch()
        check(tmp_path / f"empty.{ending}", "is empty: record or copy it again", tmp_path, most_mib=64)
    (tmp_path / "folder.vcd").mkdir()
    check(tmp_path / "folder.vcd", "recording.toml: is missing; a recording is a folder that holds it", tmp_path, most_mib=64)
    os.mkfifo(tmp_path / "pipe.vcd")
    check(tmp_path / "pipe.vcd", "is no regular file", tmp_path, most_mib=64)
    check(tmp_path / "nowhere.csv", "is missing: check the name", tmp_path, most_mib=64)
    secret = tmp_path / "secret.csv"
    secret.write_text("t\n0.1\n0.2\n")
    secret.chmod(0)
    # Root reads everything, unless it lays that right down.
    humble = ["setpriv", "--bounding-set=-all", "--inh-caps=-all"] if os.geteuid() == 0 else []
    done = subprocess.run([*humble, PROGRAM, "convert", secret, "--out", tmp_path / "r"], capture_output=True, text=True, timeout=60)
    assert done.returncode == 3 and "secret.csv: cannot be opened: check who may read it" in done.stderr, done.stderr


# ---- value change dumps -------------------------------------------------------------------------------------------------------------

HEAD = b"$timescale 1 ns $end\n$scope module m $end\n$var wire 1 ! crank $end\n$upscope $end\n$enddefinitions $end\n"
VCDS = {
    "cut off in the header": (HEAD[:60], "it seems to be cut off"),
    "cut off within a line": (HEAD + b"#0\n0!\n#10\n1!\n#2", "stops within a line: it seems to be cut off"),
    "scopes without end": (HEAD[:21] + b"$scope module m $end\n" * 1000, "more than 256 deep"),
    "endless header": (HEAD[:21] + b"$var wire 1 ! a $end\n" * 70_000, "declares more than 65536 variables"),
    "zeros": (HEAD + bytes(1 << 19), "holds zero bytes"),
    "endless word": (HEAD + b"b" + b"1" * (3 << 20), "is a line of more than 1 MiB"),
    "beyond all clocks": (HEAD + b"#0\n0!\n#99999999999999999999\n1!\n", ":8: the time #99999999999999999999 is no whole number below 2^63"),
    "levels that are none": (HEAD + b"#0\n0!\n#5\nx!\n#9\nz!\n", "holds no edges of the crank"),
    "backwards": (HEAD + b"#5\n1!\n#4\n0!\n", ":8: time runs backwards: #4 behind #5"),
    "unknown code": (HEAD + b"#5\n1?\n", 'changes "?", which no $var declares'),
    "no timescale": (HEAD[21:], "names no $timescale"),
    "no variable": (HEAD + b"#5\n", "holds no edges of the crank"),
    "comment without end": (HEAD[:21] + b"$comment " + b"x " * 300_000, "a $comment has no $end"),
}


@pytest.mark.parametrize("fault", VCDS.values(), ids=VCDS)
def test_vcd(fault, tmp_path):
    file = tmp_path / "logic.vcd"
    file.write_bytes(fault[0])
    check(file, fault[1], tmp_path, most_mib=64, crank="crank")


def test_endless_source(tmp_path):
    """What never ends is no file."""
    (tmp_path / "zero.vcd").symlink_to("/dev/zero")
    check(tmp_path / "zero.vcd", "is no regular file", tmp_path, most_mib=64)
    with open(tmp_path / "sparse.vcd", "wb") as stream:  # a terabyte of zeros that takes no space
        stream.write(HEAD)
        stream.truncate(1 << 40)
    check(tmp_path / "sparse.vcd", "more than 1 MiB", tmp_path, most_mib=64, crank="crank")


# ---- sound --------------------------------------------------------------------------------------------------------------------------


def test_wav(tmp_path):
    good = tmp_path / "good.wav"
    scipy.io.wavfile.write(good, 8000, np.zeros(8000, np.int16))
    data = good.read_bytes()
    good.unlink()
    for name, bytes_, said in (("cut", data[:9000], "is cut off: its header tells of 16000 bytes of samples, and 8956 are there"),
                               ("head", data[:20], "is no sound file that libsndfile can read"),
                               ("format", data[:16] + struct.pack("<I", 0x7FFFFFF0) + data[20:], "is no sound file that libsndfile can read"),
                               ("no rate", data[:24] + bytes(4) + data[28:], "is no sound file that libsndfile can read"),
                               ("channels", data[:22] + b"\xff\xff" + data[24:], "")):
        file = tmp_path / f"{name}.wav"
        file.write_bytes(bytes_)
        check(file, said, tmp_path, most_mib=128, crank="1")


# ---- NumPy archives -----------------------------------------------------------------------------------------------------------------


def npy_head(shape, kind="<f8"):
    text = f"{{'descr': '{kind}', 'fortran_order': False, 'shape': {shape}, }}".ljust(117) + "\n"
    return b"\x93NUMPY\x01\x00" + struct.pack("<H", len(text)) + text.encode()


def test_npz_bomb(tmp_path):
    """Two gigabytes of zeros in two megabytes; NumPy would unpack them all."""
    file = tmp_path / "bomb.npz"
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive, archive.open("crank.npy", "w", force_zip64=True) as stream:
        stream.write(npy_head(f"({1 << 28},)"))
        for _ in range(64):
            stream.write(bytes(4 << 20))
    check(file, "crank: unpacks to more than 1000 times its size", tmp_path, crank="crank")


NPZS = {
    "false shape": (npy_head("(999999999999,)") + bytes(800), "crank: tells of 999999999999 values, and 928 bytes are there"),
    "two dimensions": (npy_head("(10, 10)") + bytes(800), "crank: must have one dimension"),
    "objects": (npy_head("(1,)", "|O") + bytes(8), "crank: holds Python objects, which are never loaded"),
    "no array": (b"hello", "crank: is no NumPy array"),
    "words": (npy_head("(2,)", "<U2") + bytes(16), "crank: must hold numbers"),
    "voltages for times": (npy_head("(3,)") + struct.pack("<ddd", 0.5, 5.0, 0.4), "time runs backwards; if these are voltages, name"),
    "not finite": (npy_head("(2,)") + struct.pack("<dd", 0.5, float("inf")), "value 1 (counted from 0): is no time"),
}


@pytest.mark.parametrize("fault", NPZS.values(), ids=NPZS)
def test_npz(fault, tmp_path):
    file = tmp_path / "edges.npz"
    with zipfile.ZipFile(file, "w") as archive:
        archive.writestr("crank.npy", fault[0])
    check(file, fault[1], tmp_path, crank="crank")


def test_npz_damaged(tmp_path):
    good = tmp_path / "good.npz"
    np.savez_compressed(good, crank=np.arange(20_000) * 1e-3)
    data = good.read_bytes()
    good.unlink()
    (tmp_path / "cut.npz").write_bytes(data[: len(data) // 2])
    check(tmp_path / "cut.npz", "is no NumPy archive, or cut off", tmp_path, crank="crank")
    (tmp_path / "spoilt.npz").write_bytes(data[:3000] + bytes(500) + data[3500:])
    check(tmp_path / "spoilt.npz", "spoilt.npz: ", tmp_path, crank="crank")


# ---- HDF5, Parquet ------------------------------------------------------------------------------------------------------------------


def test_hdf5(tmp_path):
    file = tmp_path / "edges.h5"
    with h5py.File(file, "w") as h5:
        h5["crank"] = np.arange(50_000) * 1e-3
        h5.create_dataset("vast", shape=(1 << 40,), dtype="f8", chunks=(1024,))
        h5["ring/inner"] = h5py.SoftLink("/ring")
        h5["text"] = [b"a", b"b"]
        h5["none"] = np.array([], float)
        h5["endless"] = np.array([0.1, 0.2, np.inf])
    check(file, 'has no column "speed"; it has crank', tmp_path, crank="speed")
    check(file, "vast: tells of 1099511627776 values, but none of them was ever written", tmp_path, crank="vast")
    check(file, 'has no column "ring"', tmp_path, crank="ring")
    check(file, "must hold numbers", tmp_path, crank="text")
    check(file, "holds no edges of the crank", tmp_path, crank="none")
    check(file, "value 2 (counted from 0): is no time", tmp_path, crank="endless")
    data = file.read_bytes()
    file.write_bytes(data[: len(data) // 2])
    check(file, "is no HDF5 file, or cut off", tmp_path, crank="crank")


def test_parquet(tmp_path):
    file = tmp_path / "edges.parquet"
    pyarrow.parquet.write_table(pyarrow.table({"crank": np.arange(50_000) * 1e-3}), file)
    data = file.read_bytes()
    file.write_bytes(data[:-1000])
    check(file, "is no Parquet file, or cut off", tmp_path, crank="crank")
    file.write_bytes(data[:2000] + bytes(3000) + data[5000:])
    check(file, "is damaged or cut off", tmp_path, crank="crank")
    file.write_bytes(data[:-8] + struct.pack("<I", 1 << 30) + data[-4:])
    check(file, "is no Parquet file, or cut off", tmp_path, crank="crank")


# ---- MDF ----------------------------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def mdf(tmp_path_factory):
    file = tmp_path_factory.mktemp("mdf") / "good.mf4"
    with MDF(version="4.10") as log:
        log.append([Signal(np.arange(20_000) % 2, np.arange(20_000) * 1e-3, name="crank")])
        log.save(file)
    return file.read_bytes()


def patch(data, kind, offset, value):
    """`data` with 8 bytes behind the first block of `kind` replaced."""
    at = data.index(kind) + offset
    return data[:at] + struct.pack("<Q", value) + data[at + 8 :]


def mdf_faults(data):
    group = data.index(b"##CN")
    yield "cut", data[: len(data) // 2], "it is cut off, or its l"
    yield "false length", patch(data, b"##DT", 8, 1 << 50), "which the file does not hold"
    yield "link out of the file", patch(data, b"##HD", 24, 1 << 40), "where no block can be"
    yield "link into the middle", patch(data, b"##HD", 24, 176), "where no block begins"
    yield "many links", patch(data, b"##CN", 16, 1 << 60), "links, which do not fit its length"
    yield "ring", patch(data, b"##CN", 24, group), "comes back to byte"
    yield "false number of rows", patch(data, b"##CG", 24 + 8 * 6 + 8, 1 << 45), ""
    yield "head alone", data[:64], ""


@pytest.mark.parametrize("number", range(8))
def test_mdf(number, mdf, tmp_path):
    name, data, said = list(mdf_faults(mdf))[number]
    file = tmp_path / "log.mf4"
    file.write_bytes(data)
    check(file, said, tmp_path, crank="crank", content="levels")


# ---- what is missing, and readers that misbehave ----------------------------------------------------------------------------------------


def test_missing_library_is_named(tmp_path):
    """An interpreter that has none of the packages says which one to install, for each format."""
    bare = tmp_path / "bare-python"
    bare.write_text("#!/bin/sh\nshift\nexec /usr/bin/python3 -S -B \"$@\"\n")
    bare.chmod(0o755)
    file = tmp_path / "edges.parquet"
    pyarrow.parquet.write_table(pyarrow.table({"crank": np.arange(10) * 1e-3}), file)
    write_mapping(file, crank="crank")
    done = refused("convert", file, "--out", tmp_path / "r", said="apt-get install python3-numpy", env={"KURBEL_PYTHON": str(bare)})
    assert "edges.parquet" in done.stderr
    refused("convert", file, "--out", tmp_path / "r", said="cannot be started", env={"KURBEL_PYTHON": "/nowhere/python3"})
    # A file to be written is called by its name, not by the one that it bears until it is whole.
    refused("convert", PICKUP, "--out", tmp_path / "own.parquet", said=f"{tmp_path}/own.parquet: ", env={"KURBEL_PYTHON": str(bare)})


@pytest.mark.parametrize("script, said", [("sleep 30", "said nothing for 1 s and was ended"), ("kill -SEGV $$", "crashed (signal 11)"),
                                          ("exit 7", "ended with status 7"), ("head -c 4096 /dev/zero", "answered nonsense")])
def test_a_reader_that_misbehaves(script, said, tmp_path):
    fake = tmp_path / "fake-python"
    fake.write_text(f"#!/bin/sh\n{script}\n")
    fake.chmod(0o755)
    file = tmp_path / "edges.npz"
    np.savez(file, crank=np.arange(10) * 1e-3)
    write_mapping(file, crank="crank")
    refused("convert", file, "--out", tmp_path / "r", said=said, env={"KURBEL_PYTHON": str(fake), "KURBEL_READER_PATIENCE_S": "1"})


def test_inspect_asks_which_column_is_the_crank_s(tmp_path):
    file = tmp_path / "scope.csv"
    file.write_text("Time,Channel A\n" + "".join(f"0.{i:03},1.5\n" for i in range(100)))
    refused("inspect", file, said="which column is the crank's? Write")
    refused("inspect", file, said="there are Time, Channel A")


# ---- mappings -----------------------------------------------------------------------------------------------------------------------

MAPPINGS = {
    "unknown key": ('crnk = "t"\n', ".kurbel.toml:1: unknown key crnk; a mapping knows engine"),
    "wrong word": ('crank = "t"\nformat = "spreadsheet"\n', '.kurbel.toml:2: format: must be "text", "wav"'),
    "wrong number": ('crank = "t"\nrate_hz = 0\n', ".kurbel.toml:2: rate_hz: must lie in 1 to 1e+09"),
    "no engine": ('crank = "t"\n', "nothing tells of the engine and its wheel: give a file with [engine]"),
    "no crank": ("", "which column is the crank's?"),
    "ticks of nothing": ('crank = "t"\ntime_unit = "ticks"\n', "tell how many a second with timer_hz"),
    "wrong engine": ('crank = "t"\n[engine]\ncylinders = 99\n', ".kurbel.toml:3: engine.cylinders: must lie in 1 to 16"),
}


@pytest.mark.parametrize("fault", MAPPINGS.values(), ids=MAPPINGS)
def test_mapping(fault, tmp_path):
    file = tmp_path / "list.csv"
    file.write_text("t\n0.1\n0.2\n0.3\n")
    (tmp_path / "list.csv.kurbel.toml").write_text(fault[0])
    refused("convert", file, "--out", tmp_path / "r", said=fault[1])
    refused("analyze", file, said=fault[1])
