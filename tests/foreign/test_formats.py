"""Each reader against files that an independent library wrote; the same engine in every format gives the same events."""

import csv

import h5py
import numpy as np
import pandas
import pyarrow
import pyarrow.parquet
import pytest
from asammdf import MDF, Signal
from conftest import PICKUP, must, read_edges, read_events, same_events, write_mapping
from vcd import VCDWriter

# ---- writers: each puts the engine into `folder` and says which mapping tells of it --------------------------------------------


def text_by_csv(engine, folder):
    """Python's csv: one row an edge, seconds, a column of load that nobody asked for."""
    ticks, words = engine.mixed()
    file = folder / "edges-list.csv"
    with open(file, "w", newline="") as stream:
        writer = csv.writer(stream)
        writer.writerow(["t", "sensor", "remark"])
        writer.writerows([f"{tick / 1e6:.6f}", {"crank": "KW", "cam": "NW"}[word], 'said "so"'] for tick, word in zip(ticks, words))
    return write_mapping(file, time="t", signal="sensor", crank="KW", cam="NW")


def text_by_pandas(engine, folder):
    """pandas: semicolons and decimal commas in Windows' old encoding, lines of remarks before, names, units; lists of unequal length."""
    file = folder / "liste.txt"
    table = pandas.DataFrame({"Kurbelwelle": pandas.Series(engine.crank / 1e3), "Nockenwelle": pandas.Series(engine.cam / 1e3),
                              "Zeit F\u00fcllung": pandas.Series(engine.channel_time * 1e3), "F\u00fcllung": pandas.Series(engine.load * 100.0)})
    with open(file, "w", encoding="latin-1", newline="") as stream:
        stream.write("Messung am Hof;\r\nBearbeiter: M\u00fcller\r\n\r\n")
        stream.write("Kurbelwelle;Nockenwelle;Zeit F\u00fcllung;F\u00fcllung\r\nms;ms;ms;%\r\n")
        table.to_csv(stream, sep=";", decimal=",", header=False, index=False, lineterminator="\r\n")
    return write_mapping(file, crank="Kurbelwelle", cam="Nockenwelle", load="F\u00fcllung", load_unit="percent", load_time="Zeit F\u00fcllung")


def text_of_ticks(engine, folder):
    """numpy.savetxt: tabs, ticks of a counter of 32 bits that wraps on the way."""
    ticks, words = engine.mixed()
    file = folder / "ticks.tsv"
    raw = (ticks + (1 << 32) - 5_000_000) % (1 << 32)
    np.savetxt(file, np.column_stack([raw, words == "cam"]).astype(np.int64), fmt="%d", delimiter="\t", header="tick\tkind")
    return write_mapping(file, time="tick", time_unit="ticks", timer_hz=1e6, timer_bits=32, signal="kind", crank="0", cam="1")


def npz(engine, folder):
    file = folder / "edges.npz"
    np.savez(file, crank=engine.crank, cam=engine.cam.astype(np.uint64), t_load=(engine.channel_time * 1e6).round().astype(np.int32),
             load=engine.load)
    return write_mapping(file, crank="crank", cam="cam", time_unit="us", load="load", load_time="t_load")


def npz_packed(engine, folder):
    file = folder / "seconds.npz"
    np.savez_compressed(file, crank=engine.crank / 1e6, cam=engine.cam / 1e6, t_load=engine.channel_time, load=engine.load)
    return write_mapping(file, crank="crank", cam="cam", load="load", load_time="t_load")


def hdf5(engine, folder):
    file = folder / "edges.h5"
    with h5py.File(file, "w") as h5:
        h5.create_dataset("run/crank", data=engine.crank, chunks=(1000,), compression="gzip")
        h5["run/cam"] = engine.cam / 1.0
        h5["bus/load"] = engine.load
        h5["bus/time"] = engine.channel_time * 1e6
    return write_mapping(file, crank="run/crank", cam="run/cam", time_unit="ticks", timer_hz=1e6, load="bus/load", load_time="bus/time")


def parquet(engine, folder):
    file = folder / "edges.parquet"
    ticks, words = engine.mixed()
    table = pyarrow.table({"at": pyarrow.array(ticks), "what": pyarrow.array(words).dictionary_encode()})
    pyarrow.parquet.write_table(table, file, row_group_size=5000)
    return write_mapping(file, time="at", time_unit="us", signal="what")


def parquet_with_load(engine, folder):
    """pyarrow: a column of times for each sensor, as long as it is, nulls behind."""
    file = folder / "lists.parquet"
    lists = {"crank": engine.crank / 1e6, "cam": engine.cam / 1e6, "t_load": engine.channel_time, "load": engine.load}
    rows = max(map(len, lists.values()))
    padded = {name: pyarrow.array([*values.tolist(), *[None] * (rows - len(values))], pyarrow.float64()) for name, values in lists.items()}
    pyarrow.parquet.write_table(pyarrow.table(padded), file, row_group_size=7000)
    return write_mapping(file, crank="crank", cam="cam", load="load", load_time="t_load")


def mdf4(engine, folder):
    """asammdf: levels of a digital input, each channel at the times of its changes, as a bus logger keeps them."""
    file = folder / "log.mf4"
    with MDF(version="4.10") as mdf:
        for name, ticks in (("CKP", engine.crank), ("CMP", engine.cam)):
            times = np.sort(np.concatenate([ticks - 40, ticks])) / 1e6
            mdf.append([Signal(np.arange(len(times), dtype=np.uint8) % 2, times, name=name)])
        mdf.append([Signal(engine.load * 100.0, engine.channel_time, name="charge", unit="%")])
        mdf.save(file, compression=2)
    return write_mapping(file, crank="CKP", cam="CMP", content="levels", load="charge", load_unit="percent")


def vcd(engine, folder):
    """pyvcd: wires that rise at the edge, in a hierarchy, and a real variable for load."""
    file = folder / "logic.vcd"
    with open(file, "w") as stream, VCDWriter(stream, timescale="1 us", date="today") as writer:
        wires = {name: writer.register_var("top.inputs", name, "wire", size=1, init=0) for name in ("ckp", "cmp")}
        load = writer.register_var("top", "load", "real", init=float(engine.load[0]))
        changes = [(int(tick), wires[name], 1) for name, ticks in (("ckp", engine.crank), ("cmp", engine.cam)) for tick in ticks]
        changes += [(time + 40, wire, 0) for time, wire, _ in changes]
        changes += [(int(round(t * 1e6)), load, float(v)) for t, v in zip(engine.channel_time, engine.load)]
        for time, variable, value in sorted(changes, key=lambda change: change[0]):
            writer.change(variable, time, value)
    return write_mapping(file, crank="ckp", cam="top.inputs.cmp", load="load")


WRITERS = [text_by_csv, text_by_pandas, text_of_ticks, npz, npz_packed, hdf5, parquet, parquet_with_load, mdf4, vcd]
WITH_LOAD = {text_by_pandas, npz, npz_packed, hdf5, parquet_with_load, mdf4, vcd}


@pytest.mark.parametrize("write", WRITERS, ids=lambda write: write.__name__)
def test_edge_for_edge(write, engine, tmp_path):
    file = write(engine, tmp_path)
    must("convert", file, "--out", tmp_path / "recording")
    crank, cam, hz = read_edges(tmp_path / "recording")
    scale = round(hz / engine.HZ)
    shift = (1 << 32) - 5_000_000 if write is text_of_ticks else 0  # an unwrapped clock begins at the counter's first tick
    np.testing.assert_array_equal(crank, (engine.crank + shift) * scale)
    np.testing.assert_array_equal(cam, (engine.cam + shift) * scale)


@pytest.mark.parametrize("time", ["Zeit [ms]", "Zeit", "#1"])
def test_columns_are_named_with_or_without_their_unit(time, engine, tmp_path):
    file = tmp_path / "liste.csv"
    ticks, words = engine.mixed()
    pandas.DataFrame({"Zeit [ms]": ticks / 1e3, "Zeit [km]": 0.0, "Geber": words}).to_csv(file, index=False)
    must("convert", write_mapping(file, time=time, signal="Geber"), "--out", tmp_path / "recording")
    crank, _, hz = read_edges(tmp_path / "recording")
    np.testing.assert_array_equal(crank, engine.crank * round(hz / engine.HZ))


@pytest.mark.parametrize("write", [text_by_pandas, npz, hdf5, parquet_with_load, mdf4, vcd], ids=lambda write: write.__name__)
def test_same_events_without_conversion(write, engine, events, tmp_path):
    assert write in WITH_LOAD
    must("analyze", write(engine, tmp_path), "--out", tmp_path / "result")
    same_events(read_events(tmp_path / "result"), events)


@pytest.mark.parametrize("ending", [".vcd", ".parquet", "", "-npy"])
def test_own_writers_come_back(ending, engine, events, tmp_path):
    """What kurbel writes tells everything itself: no mapping, the same ticks on the same clock, bit for bit the same events."""
    out = tmp_path / f"again{ending}"
    must("convert", PICKUP, "--out", out, *(["--npy"] if ending == "-npy" else []))
    must("analyze", out, "--out", tmp_path / "result")
    assert read_events(tmp_path / "result") == events
    if ending in (".vcd", ".parquet"):
        must("convert", out, "--out", tmp_path / "folder", "--npy")
        crank, cam, hz = read_edges(tmp_path / "folder")
        assert hz == engine.HZ
        np.testing.assert_array_equal(crank, engine.crank)
        np.testing.assert_array_equal(cam, engine.cam)


def test_others_read_what_we_write(engine, tmp_path):
    must("convert", PICKUP, "--out", tmp_path / "a.parquet")
    table = pandas.read_parquet(tmp_path / "a.parquet")
    np.testing.assert_array_equal(table.tick[table.signal == "crank"], engine.crank)
    np.testing.assert_allclose(table.value[table.signal == "load"], engine.load)
    assert table.value[table.signal == "cam"].isna().all()
    must("convert", PICKUP, "--out", tmp_path / "a.vcd")
    picoseconds, now = [], 0
    for line in (tmp_path / "a.vcd").read_text().splitlines():
        now = int(line[1:]) if line.startswith("#") else now
        picoseconds += [now] if line == "1!" else []
    np.testing.assert_array_equal(picoseconds, engine.crank * 1_000_000)


def test_channels_with_a_clock_of_their_own(engine, tmp_path):
    """Times of a logger that started 3.25 s late and runs slow by 2 in 10000 come back to the crank's clock; what was before zero holds from there."""
    other = (engine.channel_time - 3.25) / (1.0 + 2e-4)
    np.savez(tmp_path / "two.npz", crank=engine.crank / 1e6, t_load=other, load=engine.load)
    file = write_mapping(tmp_path / "two.npz", crank="crank", load="load", load_time="t_load", channel_offset_s=3.25, channel_drift=2e-4)
    changes = np.r_[True, np.diff(engine.load) != 0.0]  # a value that stays is told once

    def times_and_loads(*options):
        must("convert", file, "--out", tmp_path / "r", *options)
        rows = np.genfromtxt(tmp_path / "r" / "channels.csv", delimiter=",", names=True)
        return rows["time_s"], rows["load"]

    times, loads = times_and_loads()
    np.testing.assert_allclose(times, engine.channel_time[changes], rtol=0.0, atol=2e-9)
    np.testing.assert_allclose(loads, engine.load[changes])
    times, loads = times_and_loads("--channel-offset-s", "-20", "--channel-drift", "0")
    np.testing.assert_allclose(times, np.where(other < 0.0, other - 20.0, np.maximum(other - 20.0, 0.0))[changes], rtol=0.0, atol=2e-9)
    np.testing.assert_allclose(loads, engine.load[changes])


def test_options_say_what_a_mapping_says(engine, tmp_path):
    file = text_by_csv(engine, tmp_path)
    mapping = tmp_path / "edges-list.csv.kurbel.toml"
    must("convert", file, "--out", tmp_path / "a")
    mapping.unlink()
    must("convert", file, "--out", tmp_path / "b", "--time", "t", "--signal", "sensor", "--crank", "KW", "--cam", "NW", "--describe", PICKUP)
    assert (tmp_path / "a" / "edges.csv").read_bytes() == (tmp_path / "b" / "edges.csv").read_bytes()
    assert (tmp_path / "a" / "recording.toml").read_text() == (tmp_path / "b" / "recording.toml").read_text()
