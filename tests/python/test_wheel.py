"""Learned wheels from Python: the pick-up's own recordings."""
import numpy as np
import pytest

import kurbel
from conftest import DATASETS


@pytest.fixture(scope="module")
def wheel():
    return kurbel.learn_wheel(DATASETS / "pickup-road")


def test_one_error_a_tooth_with_its_doubt(wheel):
    assert wheel.error_deg.shape == wheel.standard_error_deg.shape == wheel.angle_deg.shape == (35,)
    assert abs(wheel.error_deg.sum()) < 1e-3
    assert (wheel.standard_error_deg > 0.0).all()
    assert wheel.revolutions >= 100


def test_it_survives_a_file_and_knows_itself(wheel, tmp_path):
    wheel.write(tmp_path / "wheel.toml")
    again = kurbel.Wheel.read(tmp_path / "wheel.toml")
    np.testing.assert_allclose(again.error_deg, wheel.error_deg, atol=1e-5)
    assert again.compare(DATASETS / "pickup-road").same is True


def test_analyze_uses_it(wheel):
    plain = kurbel.analyze(DATASETS / "pickup-1-before")
    result = kurbel.analyze(DATASETS / "pickup-1-before", wheel=wheel)
    assert len(result.severity) == len(plain.severity)
    assert not np.array_equal(result.severity, plain.severity, equal_nan=True)
    with pytest.raises(TypeError, match="^wheel: "):
        kurbel.analyze(DATASETS / "pickup-1-before", wheel="wheel.toml")


def test_a_file_that_is_no_wheel(tmp_path):
    with pytest.raises(kurbel.InputError, match="wheel.toml"):
        kurbel.Wheel.read(tmp_path / "wheel.toml")
