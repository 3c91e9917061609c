"""What the Python tests share: a small invented engine and the shipped recordings."""
import os
from pathlib import Path

import numpy as np
import pytest

SOURCE = Path(os.environ["KURBEL_SOURCE"])
DATASETS = SOURCE / "datasets"

ENGINE = {"cylinders": 4, "firing_order": [1, 3, 4, 2]}
WHEEL = {"positions": 60, "absent": [58, 59], "tdc1_deg": 84.0}
CAM = {"edges_deg": [50.0]}
TIMER = {"hz": 1.0e6, "bits": 32}
TABLES = {"engine": ENGINE, "crank_wheel": WHEEL, "cam_wheel": CAM, "timer": TIMER}


def make_edges(seconds: float = 20.0, rpm: float = 1200.0, lost_every: int = 50):
    """Ticks (1 us, 32-bit counter that wraps early) and signals of a rigid inline four; every 50th firing brings no work.

    Everything about it is invented. Same recipe as tests/support/inline4_edges.hpp, by another integrator.
    """
    step = np.pi / 180 / 4
    mean = rpm * np.pi / 30
    firings = int(seconds * rpm / 30) + 2
    rng = np.random.default_rng(7)
    work = 800.0 * (1 + 0.05 * rng.uniform(-1, 1, firings))
    if lost_every:
        work[16::lost_every] = 0.0
    angle = np.arange(0, 720) * step
    shape = 2 / np.pi * np.sin(angle) ** 2
    inertia = -450.0 * np.sin(2 * angle)
    energy, times, time = 0.5 * mean**2, [], 0.0
    for firing in range(firings):
        load = 800.0 / np.pi + 0.02 * (energy - 0.5 * mean**2)
        path = energy + step * np.concatenate([[0.0], np.cumsum(work[firing] * shape + inertia - load)])
        passed = time + np.concatenate([[0.0], np.cumsum(step / np.sqrt(2 * path[:-1]))])
        times.append(passed[:-1])
        energy, time = path[-1], passed[-1]
    at = np.concatenate(times)
    crank = np.arange(0, at.size, 24)
    crank = crank[(crank // 24 + 14) % 60 < 58]
    cam = np.arange(201, at.size, 2880)
    where = np.concatenate([crank, cam])
    signals = np.concatenate([np.zeros(crank.size, np.uint8), np.ones(cam.size, np.uint8)])
    order = np.argsort(where, kind="stable")
    clock = 4_294_000_000 + (at[where[order]] * 1e6).astype(np.int64)
    keep = at[where[order]] < seconds
    return (clock & 0xFFFFFFFF)[keep], signals[order][keep]


def bits(events):
    """The bytes of every field: between fields lies padding that means nothing."""
    return [events[name].tobytes() for name in events.dtype.names]


@pytest.fixture(scope="session")
def edges():
    return make_edges()
