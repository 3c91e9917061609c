"""Runs the real program on files that independent libraries write from the shipped recordings."""

import os
import pathlib
import resource
import subprocess

import numpy as np
import pytest

ROOT = pathlib.Path(__file__).resolve().parents[2]
PROGRAM = os.environ["KURBEL_PROGRAM"]
PICKUP = ROOT / "datasets" / "pickup-1-before"
MIB = 1 << 20


def run(*arguments, most_mib=None, cwd=None, timeout=240, env=None):
    """The finished process. `most_mib` limits the memory of the program and of each reader that it starts."""

    def limit():
        if most_mib is not None:
            resource.setrlimit(resource.RLIMIT_DATA, (most_mib * MIB, most_mib * MIB))

    return subprocess.run([PROGRAM, *map(str, arguments)], capture_output=True, text=True, cwd=cwd, timeout=timeout,
                          preexec_fn=limit, env={**os.environ, "OPENBLAS_NUM_THREADS": "1", **(env or {})})


def must(*arguments, **options):
    done = run(*arguments, **options)
    assert done.returncode == 0, done.stderr
    return done


def refused(*arguments, said, **options):
    """The call ends with status 3 and says this; nothing is printed as a result."""
    done = run(*arguments, **options)
    assert done.returncode == 3, (done.returncode, done.stdout, done.stderr)
    assert said in done.stderr, done.stderr
    assert done.stdout == ""
    return done


class Engine:
    """The edges and channels of a shipped recording, as its files tell them (NumPy reads those, not kurbel)."""

    HZ = 1_000_000

    def __init__(self, folder=PICKUP):
        self.folder = folder
        self.crank = np.load(folder / "crank.npy")
        self.cam = np.load(folder / "cam.npy")
        rows = np.genfromtxt(folder / "channels.csv", delimiter=",", names=True)
        self.channel_time = np.atleast_1d(rows["time_s"])
        self.load = np.atleast_1d(rows["load"])

    def mixed(self):
        """(tick, word) of all edges in order of time, the crank first where two meet."""
        ticks = np.concatenate([self.crank, self.cam])
        words = np.array(["crank"] * len(self.crank) + ["cam"] * len(self.cam))
        order = np.argsort(ticks, kind="stable")
        return ticks[order], words[order]


@pytest.fixture(scope="session")
def engine():
    return Engine()


@pytest.fixture(scope="session")
def events(tmp_path_factory):
    """The verdicts of the recording itself: what every format must come to."""
    out = tmp_path_factory.mktemp("own") / "result"
    must("analyze", PICKUP, "--out", out)
    return read_events(out)


def read_events(folder):
    return [line.split(",") for line in (folder / "events.csv").read_text().splitlines()]


def same_events(found, wanted):
    """Every firing with its verdict and cylinder the same. Times are whole ticks of the recording's clock, of a microsecond in one and of
    a nanosecond in the other: times differ by up to one, speeds by its share of a cycle, severities by what that turns."""
    assert found[0] == wanted[0]
    assert len(found) == len(wanted)
    words = [wanted[0].index(name) for name in ("cycle", "cylinder", "candidates", "verdict", "reason")]
    for a, b in zip(found[1:], wanted[1:]):
        assert [a[i] for i in words] == [b[i] for i in words], (a, b)
    for name, rtol, atol in (("time_s", 0.0, 1.1e-6), ("speed_rpm", 2e-5, 0.0), ("load", 1e-9, 0.0), ("severity", 0.0, 5e-3)):
        at = wanted[0].index(name)
        column = lambda rows: np.array([float(row[at] or "nan") for row in rows[1:]])
        np.testing.assert_allclose(column(found), column(wanted), rtol=rtol, atol=atol, equal_nan=True, err_msg=name)


def read_edges(folder):
    """(ticks of the crank, ticks of the cam, hz) of a converted recording folder."""
    text = (folder / "recording.toml").read_text()
    hz = float(text.split("hz = ")[1].split()[0]) if "[timer]" in text else 1e9
    if (folder / "crank.npy").exists():
        cam = folder / "cam.npy"
        return np.load(folder / "crank.npy"), np.load(cam) if cam.exists() else np.array([], np.int64), hz
    lines = [line.split(",") for line in (folder / "edges.csv").read_text().splitlines()[1:]]
    ticks = [int(time.replace(".", "")) if "." in time else int(time) for time, _ in lines]
    pick = lambda name: np.array([tick for tick, (_, word) in zip(ticks, lines) if word == name], np.int64)
    return pick("crank"), pick("cam"), hz


def write_mapping(file, **keys):
    """FILE.kurbel.toml with these keys and the engine of the shipped recording."""
    text = "".join(f"{key} = {value!r}\n" if not isinstance(value, str) else f'{key} = "{value}"\n' for key, value in keys.items())
    description = (PICKUP / "recording.toml").read_text().replace("contract = 1\n", "").split("[timer]")[0]
    pathlib.Path(f"{file}.kurbel.toml").write_text(text + "\n" + description)
    return file
