"""kurbel.inspect from arrays and folders, and SciPy's view of the same edges."""
import doctest
import os

import numpy as np
import pytest
from scipy import signal

import kurbel
import kurbel._inspect
from conftest import DATASETS


def wheel_36_1(turns, rng):
    """Edges of a 36-1 wheel whose teeth stand 0.1 degrees off; speed drifts by a third."""
    deg = np.concatenate([360.0 * turn + 10.0 * np.arange(35) for turn in range(turns)])
    deg = deg + np.tile(0.1 * rng.standard_normal(35), turns)
    return np.cumsum(np.diff(deg, prepend=deg[0]) / (6.0 * np.linspace(900, 1200, deg.size)))


def test_arrays():
    time_s = wheel_36_1(80, np.random.default_rng(1))
    answer = kurbel.inspect(time_s=time_s)
    assert answer.verdict == "sure" and answer.evidence["wheel"]["absent"] == [35]
    ticks = np.rint(time_s * 1e6).astype(np.int64)
    wrapped = kurbel.inspect(ticks=ticks % 2**16, timer={"hz": 1e6, "bits": 16})
    assert wrapped.evidence["wheel"]["name"] == "36-1"
    assert "bits = 16" in wrapped.evidence["draft_recording_toml"]


def test_period_is_the_peak_of_scipys_autocorrelation():
    """scipy.signal.correlate of the detrended logarithmic intervals peaks where inspect finds the revolution."""
    time_s = wheel_36_1(80, np.random.default_rng(2))
    x = signal.detrend(np.log(np.diff(time_s)))
    correlation = signal.correlate(x, x, mode="full")[x.size - 1:]
    peak = 5 + int(np.argmax(correlation[5:200]))
    assert kurbel.inspect(time_s=time_s).evidence["wheel"]["teeth"] == peak == 35


def test_folder_and_refusals(tmp_path):
    answer = kurbel.inspect(DATASETS / "foreign-inline4-idle")
    assert answer.evidence["wheel"]["name"] == "36-1" and answer.evidence["against_description"] == []
    with pytest.raises(TypeError, match="ticks"):
        kurbel.inspect(DATASETS / "pickup-road", ticks=[1])
    with pytest.raises(ValueError, match="timer"):
        kurbel.inspect(ticks=[1, 2], timer={"herz": 1})
    with pytest.raises(kurbel.InputError, match="missing"):
        kurbel.inspect(tmp_path / "nowhere")


def test_example():
    os.chdir(DATASETS)
    failed, tried = doctest.testmod(kurbel._inspect, extraglobs={"datasets": str(DATASETS)})
    assert tried >= 2 and failed == 0
