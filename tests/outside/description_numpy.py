"""What `kurbel simulate --describe` tells against NumPy and SciPy on what the simulator writes.

Usage: description_numpy.py KURBEL PROBE SCENARIO...
1. Speed swing at the sensor: from the tooth times of a recording without scatter, instantaneous speed over each pitch, highest less
   lowest in each engine cycle.
2. Drop after a lost firing: the same recording with one firing of cylinder 1 lost; mean difference of the two speeds from a
   quarter to three quarters of a turn after its TDC.
3. Shapes of the natural frequencies: SciPy's generalised eigenvectors of the probe's chain.
"""
import csv
import json
import re
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
from scipy.linalg import eigh

CALM = """
[combustion]
scatter = 0.0
scatter_low_load = 0.0
ca50_scatter_deg = 0.0
"""


def call(program, *arguments):
    return subprocess.run([program, *map(str, arguments)], check=True, capture_output=True, text=True).stdout


def told(text, label):
    line = next(line for line in text.splitlines() if line.strip().startswith(label))
    return [float(n) for n in re.findall(r"-?\d+\.?\d*", line[line.index(label) + len(label):])]


def crank_times(folder):
    with open(folder / "edges.csv") as file:
        return np.array([float(row["time_s"]) for row in csv.DictReader(file) if row["signal"] == "crank"])


def tdc_times(folder):
    with open(folder / "truth.csv") as file:
        return [float(row["time_s"]) for row in csv.DictReader(file) if row["cylinder"] == "1"]


def speed_of(times, pitch_deg, gap):
    """Middle time and speed of each pitch, without the gap."""
    step = np.diff(times)
    keep = step < (gap - 0.5) * np.median(step)
    return (times[:-1] + 0.5 * step)[keep], (pitch_deg / 6.0 / step)[keep]


def check(kurbel, base, speed_rpm, load):
    text = Path(base).read_text() + CALM + f"""
[operation]
mode = "hold"
speed_rpm = {speed_rpm}
load = {load}
"""
    with tempfile.TemporaryDirectory() as folder:
        folder = Path(folder)
        healthy = folder / "healthy.toml"
        healthy.write_text(text)
        call(kurbel, "simulate", healthy, "--seconds", 4, "--out", folder / "healthy")
        description = call(kurbel, "simulate", healthy, "--describe")
        tdc = next(t for t in tdc_times(folder / "healthy") if t > 2.0)
        turn = 60.0 / speed_rpm
        lost = folder / "lost.toml"
        lost.write_text(text + f"""
[[misfire]]
pattern = "continuous"
cylinders = [1]
from_s = {tdc - 0.75 * turn}
to_s = {tdc - 0.25 * turn}
""")
        call(kurbel, "simulate", lost, "--seconds", 4, "--out", folder / "lost")
        a, b = crank_times(folder / "healthy"), crank_times(folder / "lost")
        pitch, gap = 6.0, 3.0
        middle, speed = speed_of(a, pitch, gap)
        cycles = (middle / (2.0 * turn)).astype(int)
        swings = [np.ptp(speed[cycles == c]) for c in range(1, cycles.max())]
        swing = np.mean(swings)
        # The same teeth of both recordings, from a quarter to three quarters of a turn after TDC; a gap is three pitches long.
        teeth = np.flatnonzero((a[1:] > tdc + 0.25 * turn) & (a[:-1] < tdc + 0.75 * turn))
        wide = np.round(np.diff(a)[teeth] / (pitch / 360.0 * turn))
        drops = wide * pitch / 6.0 * (1.0 / np.diff(a)[teeth] - 1.0 / np.diff(b)[teeth])
        drop = np.average(drops, weights=wide)
    said_swing = told(description, "speed swing in a cycle")
    said_drop = told(description, "slower after a lost firing")
    said_speed = told(description, "mean speed")[0]
    print(f"{speed_rpm} rpm, load {load}: swing {swing:.2f} rpm from teeth, told {said_swing[2]}; drop {drop:.2f} rpm, told {said_drop[2]}")
    assert abs(said_speed / (60.0 * (len(swings)) / (len(swings) * turn)) - 1.0) < 0.01
    # A pitch averages the speed over 6 degrees, which takes a little off the extremes.
    assert 0.93 < swing / said_swing[2] < 1.02, (swing, said_swing)
    assert abs(drop - said_drop[2]) < 0.04 * drop + 0.1, (drop, said_drop)
    return description


def check_shapes(kurbel, probe, path):
    chain = json.loads(call(probe, "modes", path))
    inertia, stiffness = np.array(chain["inertia_kg_m2"]), np.array(chain["stiffness_nm_rad"])
    k = np.zeros((len(inertia), len(inertia)))
    for i, link in enumerate(stiffness):
        k[i : i + 2, i : i + 2] += link * np.array([[1.0, -1.0], [-1.0, 1.0]])
    squares, shapes = eigh(k, np.diag(inertia))
    text = call(kurbel, "simulate", path, "--describe")
    lines = re.findall(r"^ +(\d+\.\d) Hz  (.*)$", text, re.MULTILINE)
    assert lines
    for i, (hz, words) in enumerate(lines):
        shape = shapes[:, i + 1] / shapes[np.abs(shapes[:, i + 1]).argmax(), i + 1]
        shape *= np.sign(shape[0])
        said = np.array([float(n) for n in re.findall(r"[+-]\d\.\d\d", words)])
        assert abs(float(hz) - np.sqrt(squares[i + 1]) / 2.0 / np.pi) < 0.051
        assert np.abs(said - shape).max() < 0.0051, (said, shape)
    print(f"{len(lines)} shapes agree")


def main(kurbel, probe, path):
    for speed_rpm, load in ((900, 0.3), (2000, 0.6), (4500, 0.5)):
        check(kurbel, path, speed_rpm, load)
    check_shapes(kurbel, probe, path)


if __name__ == "__main__":
    main(*sys.argv[1:])
