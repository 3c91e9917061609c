"""kurbel simulate: the list, the description, the picture, drawn scenarios, and recordings by a shipped name."""

import re
import xml.etree.ElementTree as xml

import numpy
import pytest
from conftest import ROOT, run

SCENARIOS = ROOT / "datasets" / "scenarios"


def figures(text, label):
    """All numbers of the line that begins with `label`."""
    line = next(line for line in text.splitlines() if line.strip().startswith(label))
    return [float(n) for n in re.findall(r"-?\d+(?:\.\d+)?", line[line.index(label) + len(label):])]


def test_list_names_every_shipped_scenario_with_a_line():
    done = run("simulate", "--list")
    assert done.returncode == 0
    for path in SCENARIOS.glob("*.toml"):
        line = next(line for line in done.stdout.splitlines() if line.startswith(f"  {path.stem} "))
        assert len(line.split(None, 1)[1]) > 20, line
    for folder in ("cells", "engines"):
        for path in (ROOT / "datasets" / folder).glob("*.toml"):
            assert f"  {path.stem} " in done.stdout


def test_list_of_another_folder(tmp_path):
    (tmp_path / "scenarios").mkdir()
    (tmp_path / "scenarios" / "mine.toml").write_text("# My engine. It has a past.\n[scenario]\n")
    done = run("simulate", "--list", tmp_path)
    assert done.returncode == 0
    assert "mine  My engine\n" in done.stdout
    assert run("simulate", "--list", tmp_path / "nowhere").returncode == 3


def test_description_of_the_pickup():
    done = run("simulate", "pickup-1-before", "--describe")
    assert (done.returncode, done.stderr) == (0, "")
    text = done.stdout
    assert text.startswith("The pick-up of a farm co-operative stumbles at idle")
    assert figures(text, "displacement")[0] == 2.48  # pi/4 0.825^2 0.928 dm^3 times 5
    assert figures(text, "from firing to firing") == [144.0]
    assert "340.0 Hz  pulley +1.00" in text
    assert figures(text, "mean speed")[0] == pytest.approx(750, abs=8)
    # 1 us at 750 rpm turns 6 * 750 * 1e-6 degrees; a tooth of 10 degrees lasts 2222 us.
    assert figures(text, "timer step")[:2] == [1.0, 0.0045]
    assert figures(text, "from tooth to tooth")[1] == pytest.approx(2222, rel=0.01)
    assert "cylinder 4: 14 % of the firings, at random" in text


def test_timer_steps_at_6000_rpm(tmp_path):
    # Angle step of a timer = 6 rpm tau: 0.036 degrees for 1 us at 6000 rpm, 0.00045 for 12.5 ns (arithmetic).
    text = (SCENARIOS / "pickup-1-before.toml").read_text().replace("speed_rpm = 750.0", "speed_rpm = 6000.0")
    for hz, step in (("1000000", 0.036), ("80000000", 0.00045)):
        (tmp_path / "s.toml").write_text(text.replace("hz = 1000000", f"hz = {hz}"))
        done = run("simulate", tmp_path / "s.toml", "--describe")
        assert figures(done.stdout, "timer step")[1] == pytest.approx(step, rel=0.02)


def test_picture_shows_the_lost_firing(tmp_path):
    picture = tmp_path / "two.svg"
    done = run("simulate", "pickup-1-before", "--picture", picture)
    assert done.returncode == 0 and str(picture) in done.stdout
    root = xml.parse(picture).getroot()
    words = ["".join(node.itertext()) for node in root.iter("{http://www.w3.org/2000/svg}text")]
    assert "cylinder 4: lost" in words
    for title in ("Speed / rpm", "Torque", "Pressure"):
        assert any(word.startswith(title) for word in words)
    curves = [node for node in root.iter("{http://www.w3.org/2000/svg}path") if node.get("class") == "curve"]
    points = [node.get("d").count("L") for node in curves]
    # Two speeds, torque and five pressures, at least a point a degree over 1440 degrees.
    assert sum(count > 1400 for count in points) == 8
    peaks = [w for w in words if w in "12345"]  # the axis has a 5 of its own
    assert [peaks.count(str(n)) for n in (1, 2, 3, 4)] == [2] * 4


def test_drawn_scenario_gives_the_same_recording(tmp_path):
    ranged = tmp_path / "ranged.toml"
    text = (SCENARIOS / "pickup-1-before.toml").read_text()
    text = text.replace("bore_mm = 82.5", "bore_mm = { from = 70, to = 90 }").replace("seconds = 60", "seconds = 1")
    ranged.write_text(text)
    drawn = tmp_path / "drawn.toml"
    assert run("simulate", ranged, "--draw", 5, "--drawn", drawn, "--out", tmp_path / "a").returncode == 0
    assert "from =" not in drawn.read_text()
    assert run("simulate", drawn, "--out", tmp_path / "b").returncode == 0
    assert run("simulate", ranged, "--draw", 6, "--out", tmp_path / "c").returncode == 0
    edges = [(tmp_path / folder / "edges.csv").read_bytes() for folder in "abc"]
    assert edges[0] == edges[1]
    assert edges[0] != edges[2]


def test_a_name_that_nobody_knows(tmp_path):
    done = run("simulate", "pickup-9", "--out", tmp_path / "x")
    assert done.returncode == 3
    assert "--list" in done.stderr
    assert not (tmp_path / "x").exists()


def test_nothing_asked_for():
    done = run("simulate", "pickup-1-before")
    assert done.returncode == 2
    assert "--out, --describe, --picture" in done.stderr


def test_full_truth_fits_the_recording(tmp_path):
    out = tmp_path / "rec"
    done = run("simulate", "stall-and-restart", "--seconds", "4", "--out", out, "--full-truth")
    assert (done.returncode, done.stderr) == (0, "")

    def table(name):
        return [line.split(",") for line in (out / name).read_text().splitlines()[1:]]

    assert len(table("truth_edges.csv")) == len(table("edges.csv"))
    assert [row[:2] for row in table("truth_firings.csv")] == [row[:2] for row in table("truth.csv")]
    wheel = table("truth_wheel.csv")
    assert [int(row[0]) for row in wheel] == list(range(58))  # 60 - 2
    assert all(abs(float(row[1]) - 6.0 * int(row[0])) < 1e-6 for row in wheel)
    errors = [float(row[2]) - float(row[1]) for row in wheel]
    assert 0.02 < max(errors) < 0.3 and sum(errors) != 0.0
    assert re.fullmatch(r"start_deg = \d+\.\d{6}", (out / "truth_phase.toml").read_text().splitlines()[-1])
    volts = [float(row[1]) for row in table("truth_battery.csv")]
    assert 7.0 < min(volts) < 11.5 and max(volts) == pytest.approx(12.6, abs=0.01)
    # The same command without the flag takes the files away again, and analyze does not mind them.
    assert run("analyze", out, "--out", tmp_path / "result").returncode == 0
    run("simulate", "stall-and-restart", "--seconds", "4", "--out", out)
    assert sorted(path.name for path in out.iterdir()) == ["channels.csv", "edges.csv", "recording.toml", "truth.csv"]


COIL = """
[sensor]
kind = "inductive"
hum_v = 0.02
"""


def test_waveform_crosses_zero_where_the_edges_are(tmp_path):
    # Falling zeros of the sampled voltage after a half-wave that arms, by straight lines between samples.
    text = (SCENARIOS / "pickup-1-before.toml").read_text()
    text = text.replace("jitter_deg = 0.008", "jitter_deg = 0.0").replace("hz = 1000000", "hz = 1000000000")
    text = text.replace("bits = 32", "") + COIL
    (tmp_path / "coil.toml").write_text(text)
    done = run("simulate", tmp_path / "coil.toml", "--seconds", 3, "--npy", "--out", tmp_path / "r",
               "--waveform", tmp_path / "w.npy", "--rate", 200000)
    assert done.returncode == 0 and "600000 samples" in done.stdout
    volts = numpy.load(tmp_path / "w.npy")
    assert len(volts) == 600000
    edges = numpy.load(tmp_path / "r" / "crank.npy") / 1e9
    falls = numpy.flatnonzero((volts[:-1] > 0.0) & (volts[1:] <= 0.0))
    rises = numpy.flatnonzero((volts[:-1] <= 0.0) & (volts[1:] > 0.0))
    zeros = []
    for fall in falls:
        before = rises[rises < fall]
        if len(before) and volts[before[-1]:fall + 1].max() >= 0.2:
            zeros.append((fall + volts[fall] / (volts[fall] - volts[fall + 1])) / 200000.0)
    zeros = numpy.array(zeros)
    inside = edges[(edges > 0.05) & (edges < 2.95)]
    nearest = numpy.abs(inside[:, None] - zeros[None, :]).min(axis=1)
    assert len(inside) > 1200
    # The coil's speed stands still while the edge is found with hum; a straight line between samples does the rest.
    assert nearest.max() < 1e-6
    assert abs(len(zeros) - len(edges)) <= 3


def test_a_ready_edge_sensor_gives_a_square_wave(tmp_path):
    run("simulate", "pickup-1-before", "--seconds", 1, "--out", tmp_path / "r", "--waveform", tmp_path / "w.csv")
    table = numpy.loadtxt(tmp_path / "w.csv", delimiter=",", skiprows=1)
    assert table.shape == (100000, 2)
    assert set(table[:, 1]) == {0.0, 5.0}
    assert numpy.allclose(numpy.diff(table[:, 0]), 1e-5)
    rises = table[1:, 0][numpy.diff(table[:, 1]) > 0]
    # 35 teeth a turn at 750 rpm.
    assert abs(len(rises) - 35 * 750 / 60) < 20


def test_waveform_needs_a_recording(tmp_path):
    done = run("simulate", "pickup-1-before", "--waveform", tmp_path / "w.csv")
    assert done.returncode == 2 and "--out" in done.stderr
    done = run("simulate", "pickup-1-before", "--seconds", 86400, "--out", tmp_path / "r",
               "--waveform", tmp_path / "w.csv", "--rate", 1e6)
    assert done.returncode == 2 and "50 million" in done.stderr
