"""A sensor's sampled voltage in every format that can hold one, written by independent libraries: the same edges from all of them, and
those that the engine on paper had."""

import pathlib

import h5py
import numpy as np
import pandas
import pyarrow
import pyarrow.parquet
import pytest
import scipy.io.wavfile
import soundfile
from asammdf import MDF, Signal
from conftest import ROOT, must, read_edges, read_events, same_events, write_mapping

RATE_HZ = 50_000
SECONDS = 6


@pytest.fixture(scope="module")
def capture(tmp_path_factory):
    """(volts of an inductive crank sensor, the edges' times in seconds, the recording), by kurbel simulate."""
    folder = tmp_path_factory.mktemp("capture")
    must("simulate", ROOT / "datasets" / "cells" / "wheel-inductive.toml", "--draw", "1", "--seconds", SECONDS, "--npy",
         "--out", folder / "own", "--waveform", folder / "volts.npy", "--rate", RATE_HZ)
    volts = np.load(folder / "volts.npy")
    if volts.ndim == 2:
        volts = volts[:, -1]
    hz = float((folder / "own" / "recording.toml").read_text().split("hz = ")[1].split()[0])
    return np.ascontiguousarray(volts, np.float64), np.load(folder / "own" / "crank.npy") / hz, folder / "own"


def times(volts):
    return np.arange(len(volts)) / RATE_HZ


def text(volts, folder):
    """Time and voltage with decimal commas and tabs, a line of units under the names."""
    file = folder / "scope.txt"
    with open(file, "w") as stream:
        stream.write("Zeit\tKanal A\nms\tV\n")
        table = pandas.DataFrame({"t": times(volts) * 1e3, "v": volts})
        table.to_csv(stream, sep="\t", decimal=",", header=False, index=False)
    return write_mapping(file, time="Zeit", crank="Kanal A")


def wav(volts, folder):
    file = folder / "sound.wav"
    scipy.io.wavfile.write(file, RATE_HZ, np.column_stack([np.zeros_like(volts), volts]))
    return write_mapping(file, crank="#2")


def npz(volts, folder):
    file = folder / "scope.npz"
    np.savez(file, a=volts)
    return write_mapping(file, crank="a", rate_hz=RATE_HZ)


def hdf5(volts, folder):
    file = folder / "scope.hdf5"
    with h5py.File(file, "w") as h5:
        h5.create_dataset("bench/a", data=volts.reshape(-1, 1), chunks=True, compression="gzip")
    return write_mapping(file, crank="bench/a", rate_hz=RATE_HZ)


def parquet(volts, folder):
    file = folder / "scope.parquet"
    pyarrow.parquet.write_table(pyarrow.table({"a": volts, "t": times(volts)}), file)
    return write_mapping(file, crank="a", time="t")


def mdf4(volts, folder):
    file = folder / "bench.mf4"
    with MDF(version="4.10") as mdf:
        mdf.append([Signal(volts, times(volts), name="a")])
        mdf.save(file)
    return write_mapping(file, crank="a")


def edges_of(file, folder):
    must("convert", file, "--out", folder / "recording")
    crank, _, hz = read_edges(folder / "recording")
    return crank / hz


@pytest.fixture(scope="module")
def wanted(capture, tmp_path_factory):
    folder = tmp_path_factory.mktemp("wanted")
    return edges_of(npz(capture[0], folder), folder)


@pytest.mark.parametrize("write", [text, wav, hdf5, parquet, mdf4], ids=lambda write: write.__name__)
def test_same_edges(write, capture, wanted, tmp_path):
    found = edges_of(write(capture[0], tmp_path), tmp_path)
    assert len(found) == len(wanted)
    # A rate that is taken from a column of times differs in the last bits: a nanosecond either way.
    np.testing.assert_allclose(found, wanted, rtol=0, atol=2.1e-9)


def described(file, folder):
    """The file, its mapping with the description of the simulated engine in the place of the shipped one's."""
    mapping = pathlib.Path(f"{file}.kurbel.toml")
    keys = mapping.read_text().split("[engine]")[0]
    engine = (folder / "recording.toml").read_text().split("[timer]")[0]
    mapping.write_text(keys + engine[engine.index("[engine]"):])
    return file


@pytest.fixture(scope="module")
def wanted_events(capture, tmp_path_factory):
    folder = tmp_path_factory.mktemp("events")
    must("analyze", described(npz(capture[0], folder), capture[2]), "--out", folder / "result")
    events = read_events(folder / "result")
    assert len(events) > 100
    assert {row[events[0].index("verdict")] for row in events[1:]} >= {"fired"}
    return events


@pytest.mark.parametrize("write", [text, wav, hdf5, parquet, mdf4], ids=lambda write: write.__name__)
def test_same_events(write, capture, wanted_events, tmp_path):
    must("analyze", described(write(capture[0], tmp_path), capture[2]), "--out", tmp_path / "result")
    same_events(read_events(tmp_path / "result"), wanted_events)


def test_whole_numbers_of_sixteen_bits(capture, wanted, tmp_path):
    """soundfile writes 16 bits: 65536 steps, so that edges move by fractions of a step's share of the slope."""
    volts = capture[0]
    soundfile.write(tmp_path / "pcm.wav", 0.9 * volts / np.abs(volts).max(), RATE_HZ, subtype="PCM_16")
    write_mapping(tmp_path / "pcm.wav")
    found = edges_of(tmp_path / "pcm.wav", tmp_path)
    assert len(found) == len(wanted)
    assert np.sqrt(np.mean((found - wanted) ** 2)) < 0.01 / RATE_HZ


def test_edges_are_the_engine_s(capture, wanted):
    """The simulator notes an edge where the voltage crosses zero, by a timer of 250 kHz whose step alone scatters by 1.2 us."""
    own = capture[1]
    nearest = own[np.clip(np.searchsorted(own, wanted), 1, len(own) - 1)]
    before = own[np.clip(np.searchsorted(own, wanted) - 1, 0, len(own) - 1)]
    off = np.where(np.abs(nearest - wanted) < np.abs(before - wanted), nearest, before) - wanted
    assert len(wanted) == len(own)
    assert np.std(off) < 3e-6


def test_a_jump_in_time_is_refused(capture, tmp_path):
    from conftest import refused

    volts = capture[0][:50_000]
    at = times(volts)
    at[20_000:] += 0.01
    np.savetxt(tmp_path / "torn.csv", np.column_stack([at, volts]), fmt="%.7f", delimiter=",", header="t,v", comments="")
    write_mapping(tmp_path / "torn.csv", time="t", crank="v")
    refused("convert", tmp_path / "torn.csv", "--out", tmp_path / "recording", said="torn.csv:20002: the time jumps by 500")
    assert not (tmp_path / "recording").exists()


def test_standing_engine_is_refused_with_the_cause(tmp_path):
    from conftest import refused

    noise = np.random.default_rng(1).normal(0.0, 0.002, 100_000)
    np.savez(tmp_path / "still.npz", a=noise)
    write_mapping(tmp_path / "still.npz", crank="a", rate_hz=RATE_HZ)
    refused("convert", tmp_path / "still.npz", "--out", tmp_path / "recording", said="holds no edges of the crank; crank: no tooth was seen")
