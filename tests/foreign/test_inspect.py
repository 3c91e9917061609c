"""kurbel inspect on files of others: what they hold is found without a description, and crank and cam that changed places are noticed."""

import json

import numpy as np
import pytest
import scipy.io.wavfile
from conftest import must, refused


def mapping(file, **keys):
    """FILE.kurbel.toml without any description of the engine."""
    lines = [f"{key} = {json.dumps(value)}\n" for key, value in keys.items()]
    file.with_name(file.name + ".kurbel.toml").write_text("".join(lines))
    return file


def text(engine, folder, crank="crank", cam="cam"):
    file = folder / "log.csv"
    ticks, words = engine.mixed()
    rows = "".join(f"{tick / engine.HZ:.6f};{word}\n" for tick, word in zip(ticks, words))
    file.write_text("t;what\n" + rows.replace(".", ","))
    return mapping(file, time="t", signal="what", crank=crank, cam=cam)


def npz(engine, folder):
    file = folder / "log.npz"
    np.savez(file, a=engine.crank / engine.HZ, b=engine.cam / engine.HZ)
    return mapping(file, crank="a", cam="b")


def vcd(engine, folder):
    """A logic analyser's dump: both lines go up for 100 us at an edge."""
    file = folder / "log.vcd"
    changes = sorted(
        [(int(tick), f"1{name}") for name, ticks in (("!", engine.crank), ('"', engine.cam)) for tick in ticks]
        + [(int(tick) + 100, f"0{name}") for name, ticks in (("!", engine.crank), ('"', engine.cam)) for tick in ticks]
    )
    body = "".join(f"#{tick}\n{change}\n" for tick, change in changes)
    file.write_text(
        '$timescale 1 us $end\n$scope module top $end\n$var wire 1 ! D0 $end\n$var wire 1 " D1 $end\n$upscope $end\n'
        "$enddefinitions $end\n" + body
    )
    return mapping(file, crank="D0", cam="D1")


def found_in(file, folder):
    done = must("inspect", file, "--out", folder / "out")
    return done.stdout, json.loads((folder / "out" / "inspection.json").read_text())


@pytest.mark.parametrize("write", [text, npz, vcd], ids=lambda write: write.__name__)
def test_wheel_and_cam_are_found(engine, write, tmp_path):
    said, found = found_in(write(engine, tmp_path), tmp_path)
    assert found["wheel"]["name"] == "36-1" and found["wheel"]["sureness"] == "sure"
    assert found["second_line"]["tells_cycle"] and len(found["second_line"]["edges_deg_from_place_0"]) == 1
    assert not found["channels_swapped"] and "exchanged" not in said
    assert "positions = 36 " in (tmp_path / "out" / "draft-recording.toml").read_text()


def test_sound_of_a_coil(tmp_path):
    """A coil's voltage as a stereo WAV by SciPy: 36-1, Gaussian dipoles, 1200 rpm with a swing of 4 % twice a turn."""
    rate = 48000
    time = np.arange(8 * rate) / rate
    place = 36.0 * (20.0 * time + 0.04 / (2.0 * np.pi * 2.0) * np.sin(2.0 * np.pi * 40.0 * time))
    nearest = np.rint(place)
    x = (place - nearest) / 0.25
    volts = np.where(nearest % 36 == 35, 0.0, -x * np.exp(-0.5 * x * x))
    volts += 0.003 * np.random.default_rng(1).standard_normal(volts.size)
    file = tmp_path / "coil.wav"
    scipy.io.wavfile.write(file, rate, np.column_stack([np.zeros_like(volts), volts]).astype(np.float32))
    _, found = found_in(mapping(file, crank="#2"), tmp_path)
    assert found["wheel"]["name"] == "36-1" and found["lowest_rpm"] == pytest.approx(1200.0, rel=0.01)


def test_exchanged_lines_are_noticed(engine, tmp_path):
    file = text(engine, tmp_path, crank="cam", cam="crank")
    said, found = found_in(file, tmp_path)
    assert found["channels_swapped"] and found["wheel"]["name"] == "36-1"
    assert "Crank and cam are exchanged" in said and "Next: Exchange crank and cam" in said
    # With a description convert writes what it is told, and says so, too.
    done = must("convert", file, "--describe", engine.folder, "--out", tmp_path / "recording")
    assert "crank and cam seem to be exchanged" in " ".join(done.stdout.split())


def test_standing_engine_is_refused(tmp_path):
    """Noise of few converter steps, in which one may see edges or not: no crank's either way."""
    file = tmp_path / "noise.npz"
    np.savez(file, v=np.round(2.0 * np.random.default_rng(2).standard_normal(60000)) * 1e-3)
    refused("inspect", mapping(file, crank="v", rate_hz=100000.0), said="only noise")
