"""Channels from Python: against NumPy, SciPy and numbers worked by hand."""
import doctest
import shutil

import numpy as np
import pytest
from scipy import interpolate

import kurbel
import kurbel._channel
from conftest import DATASETS


def test_loads_are_arrays_of_the_same_shape():
    pressures = np.array([[50.6625, 101.325], [20.265, 152.0]])
    load = kurbel.load_from_manifold_pressure(pressures)
    np.testing.assert_allclose(load, pressures / 101.325)
    assert load.shape == (2, 2)
    # Ideal four-stroke by hand, r = 10, gamma 1.3: see tests/channel/load_test.cpp.
    assert kurbel.load_from_manifold_pressure(50.0, barometric_kpa=100.0, compression_ratio=10.0) == pytest.approx(0.5 * 0.91453, abs=1e-5)
    assert np.isnan(kurbel.load_from_manifold_pressure([0.0])).all()


def test_air_by_mass_and_by_flow_agree():
    # 2000 cm3, four cylinders, 3000 rpm: 100 fillings of one cylinder a second.
    flow = np.array([10.0, 30.0, 55.0])
    per_stroke = flow / (3000.0 / 60.0 * 2.0) * 1e3
    np.testing.assert_allclose(
        kurbel.load_from_air_flow(flow, 3000.0, 2000.0), kurbel.load_from_air_per_stroke(per_stroke, 500.0), rtol=1e-12
    )
    # Density of air at 100 kPa and 25 degrees C by the gas law, R = 287.05 J/(kg K) (ISO 2533).
    assert kurbel.load_from_air_per_stroke(500.0 * 1e5 / (287.05 * 298.15) / 1e3 * 1e3, 500.0) == pytest.approx(1.0, abs=1e-9)
    assert np.isnan(kurbel.load_from_air_flow(10.0, [0.0, 10.0], 2000.0)).all()
    assert kurbel.load_from_air_flow(flow[:, None], [1500.0, 3000.0], 2000.0).shape == (3, 2)


def test_throttle_rises_to_full_and_falls_with_speed():
    degrees = np.linspace(1.0, 80.0, 30)
    load = kurbel.load_from_throttle(degrees, 3000.0, bore_mm=50.0, engine_cm3=2000.0)
    assert (np.diff(load) >= 0.0).all() and load[-1] == pytest.approx(1.0, abs=0.02)
    assert (np.diff(kurbel.load_from_throttle(8.0, [1000.0, 2000.0, 4000.0])) < 0.0).all()
    with pytest.raises(TypeError, match="bore"):
        kurbel.load_from_throttle(10.0, 1000.0, bore=50.0)


def test_resampling_is_scipys():
    rng = np.random.default_rng(3)
    time_s = np.cumsum(rng.uniform(0.01, 0.3, 200))
    value = rng.standard_normal(200)
    at = np.sort(rng.uniform(time_s[0], time_s[-1], 500))
    for between, kind in {"hold": "previous", "linear": "linear"}.items():
        np.testing.assert_allclose(
            kurbel.resample(time_s, value, at, between=between), interpolate.interp1d(time_s, value, kind=kind)(at), rtol=1e-12
        )
    assert np.isnan(kurbel.resample(time_s, value, [time_s[0] - 1.0], between="hold")).all()
    assert kurbel.resample(time_s, value, [time_s[-1] + 1.0])[0] == value[-1]
    with pytest.raises(ValueError, match="between"):
        kurbel.resample(time_s, value, at, between="cubic")
    with pytest.raises(ValueError, match="time_s"):
        kurbel.resample(time_s[::-1], value, at)
    with pytest.raises(ValueError, match="value"):
        kurbel.resample(time_s, value[1:], at)


def test_clocks():
    other_s = np.linspace(0.0, 60.0, 40)
    reference_s = 2.5 + (1.0 + 4e-5) * other_s
    reference_s[7] += 0.4
    fit = kurbel.align_events(reference_s, other_s)
    assert fit.known and fit.offset_s == pytest.approx(2.5, abs=1e-9) and fit.drift == pytest.approx(4e-5, abs=1e-10)
    np.testing.assert_allclose(fit.to_reference_s([0.0, 10.0]), [2.5, 12.5004], atol=1e-8)
    # One speed seen by both, at another scale.
    rng = np.random.default_rng(4)
    grid = np.arange(0.0, 60.0, 0.02)
    speed = 1500.0 + 40.0 * np.cumsum(rng.standard_normal(grid.size))
    fit = kurbel.align_speeds(grid, speed, grid[200:2500] - 1.37, 0.5 * speed[200:2500] + 3.0)
    assert fit.known and fit.offset_s == pytest.approx(1.37, abs=0.01)
    assert not kurbel.align_speeds(grid, speed, grid, rng.standard_normal(grid.size)).known
    with pytest.raises(ValueError, match="other_s"):
        kurbel.align_events([1.0, 2.0, 3.0], [1.0, 2.0])


def test_load_from_the_crank_alone(tmp_path):
    folder = tmp_path / "road"
    shutil.copytree(DATASETS / "pickup-road", folder)
    rows = np.genfromtxt(folder / "channels.csv", delimiter=",", names=True)
    there = np.isfinite(rows["load"])
    (folder / "channels.csv").unlink()
    found = kurbel.load_from_crank(folder)
    assert found.why_not == "" and found.pistons_known
    real = kurbel.resample(rows["time_s"][there], rows["load"][there], found.time_s)
    seen = np.isfinite(real)
    assert np.corrcoef(real[seen], found.load[seen])[0, 1] > 0.98
    assert found.doubt.shape == found.load.shape == found.time_s.shape
    with pytest.raises(kurbel.InputError):
        kurbel.load_from_crank(tmp_path / "nowhere")


def test_examples():
    failed, tried = doctest.testmod(kurbel._channel)
    assert tried >= 1 and failed == 0
