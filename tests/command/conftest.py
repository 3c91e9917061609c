"""Runs the real program on small recordings of an invented rigid engine."""

import os
import pathlib
import subprocess

import numpy
import pytest

ROOT = pathlib.Path(__file__).resolve().parents[2]
PROGRAM = os.environ["KURBEL_PROGRAM"]
ORDER = (1, 3, 4, 2)
TOML = """\
contract = 1

[engine]
cylinders = 4
firing_order = [1, 3, 4, 2]
inertia_kg_m2 = 0.15

[crank_wheel]
positions = 60
absent = [58, 59]
tdc1_deg = 84.0

[cam_wheel]
edges_deg = [50.0]
"""


def run(*arguments, cwd=None):
    """The finished process: returncode, stdout, stderr."""
    return subprocess.run([PROGRAM, *map(str, arguments)], capture_output=True, text=True, cwd=cwd, timeout=120)


def make_edges(seconds=20.0, speed_rpm=1000.0, lost=lambda firing: firing % 24 == 17, seed=1):
    """Times of teeth and of cam edges, and the truth. Place 0 stands 84 degrees before cylinder 1's TDC."""
    random = numpy.random.default_rng(seed)
    start = 0.5 * (speed_rpm * numpy.pi / 30.0) ** 2
    work = 700.0  # rad^2/s^2 a firing
    steps = 180 * 4
    angle = (numpy.arange(steps) + 0.5) * numpy.pi / steps
    pulse = angle * numpy.exp(-angle / 0.45)  # torque of one combustion: most of it 26 degrees after TDC
    pulse /= pulse.sum() * numpy.pi / steps
    compression = 500.0 * numpy.sin(2.0 * angle)  # taken before TDC, given back behind it
    energy, clock, times, truth = start, 0.0, [0.0], []
    firing = 0
    while clock < seconds:
        missing = 1.0 if lost(firing) else 0.0
        truth.append((clock, ORDER[firing % 4], missing))
        given = work * (1.0 - missing) * (1.0 + 0.04 * random.standard_normal())
        load = work / numpy.pi + 0.05 * (energy - start)
        path = energy + numpy.cumsum(given * pulse + compression - load) * (numpy.pi / steps)
        passed = clock + numpy.cumsum(numpy.pi / steps / numpy.sqrt(2.0 * path))
        times.extend(passed)
        energy, clock = path[-1], passed[-1]
        firing += 1
    times = numpy.array(times)
    degrees = numpy.arange(len(times)) * 0.25
    places = numpy.arange(0.0, degrees[-1], 6.0)  # from cylinder 1's first TDC
    crank = numpy.interp(places[(places / 6.0 + 14.0) % 60.0 < 57.5], degrees, times)
    cam = numpy.interp(numpy.arange(50.0, degrees[-1], 720.0), degrees, times)
    return crank, cam, truth


def csv_rows(crank, cam):
    rows = sorted([(f"{t:.9f}", "crank") for t in crank] + [(f"{t:.9f}", "cam") for t in cam], key=lambda r: float(r[0]))
    return ["time_s,signal"] + [f"{time},{signal}" for time, signal in rows]


@pytest.fixture(scope="session")
def edges():
    return make_edges()


def write_recording(folder, edges):
    """A recording folder with edges.csv and truth.csv."""
    folder.mkdir()
    crank, cam, truth = edges
    (folder / "recording.toml").write_text(TOML)
    (folder / "edges.csv").write_text("\n".join(csv_rows(crank, cam)) + "\n")
    rows = [f"{t:.9f},{cylinder},{severity:.3f},0" for t, cylinder, severity in truth]
    (folder / "truth.csv").write_text("\n".join(["time_s,cylinder,severity,fuel_cut", *rows]) + "\n")
    return folder


@pytest.fixture
def recording(tmp_path, edges):
    """A recording free to be spoiled."""
    return write_recording(tmp_path / "recording", edges)
