"""Keyword tables: the names of recording.toml, strictly."""
import numpy as np
import pytest

import kurbel
from conftest import CAM, ENGINE, TABLES, WHEEL


def detector(**change):
    return kurbel.Detector(**{**TABLES, **change})


@pytest.mark.parametrize(
    ("change", "error", "text"),
    [
        ({"engine": {**ENGINE, "cilinders": 4}}, ValueError, "^engine.cilinders: is not known; did you mean 'cylinders'"),
        ({"engine": {"cylinders": 4}}, ValueError, "^engine.firing_order: is missing"),
        ({"engine": {"firing_order": [1]}}, ValueError, "^engine.cylinders: is missing"),
        ({"engine": {**ENGINE, "cylinders": 4.0}}, TypeError, "^engine.cylinders: must be a whole number"),
        ({"engine": {**ENGINE, "cylinders": 17}}, ValueError, "^engine.cylinders: must lie in 1 to 16"),
        ({"engine": {**ENGINE, "cylinders": 2**40}}, ValueError, "^engine.cylinders: 1099511627776 is out"),
        ({"engine": {**ENGINE, "firing_order": [1, 3, 3, 2]}}, ValueError, "^engine.firing_order: a cylinder is named"),
        ({"engine": {**ENGINE, "firing_order": [3, 1, 4, 2]}}, ValueError, "^engine.firing_order: must start with"),
        ({"engine": {**ENGINE, "firing_order": [1, 2]}}, ValueError, "^engine.firing_order: has 2 entries"),
        ({"engine": {**ENGINE, "firing_order": "1342"}}, TypeError, "^engine.firing_order: must be a list"),
        ({"engine": {**ENGINE, "firing_order": [1, 3, "4", 2]}}, TypeError, r"^engine.firing_order\[2\]: must be a whole"),
        ({"engine": {**ENGINE, "firing_tdc_deg": [0, 180]}}, ValueError, "^engine.firing_tdc_deg: has 2 entries"),
        ({"engine": {**ENGINE, "firing_tdc_deg": [0, 180, 170, 540]}}, ValueError, "^engine.firing_tdc_deg: must rise"),
        ({"engine": {**ENGINE, "strokes": 3}}, ValueError, "^engine.strokes: must be 2 or 4"),
        ({"engine": {**ENGINE, "bore_mm": "wide"}}, TypeError, "^engine.bore_mm: must be a number"),
        ({"engine": {**ENGINE, "bore_mm": -3}}, ValueError, "^engine.bore_mm: must lie in"),
        ({"engine": {**ENGINE, "stroke_mm": 90, "rod_mm": 40}}, ValueError, "^engine.rod_mm: must exceed half"),
        ({"engine": {**ENGINE, "throw": [1, 2]}}, ValueError, "^engine.throw: has 2 entries"),
        ({"engine": [("cylinders", 4)]}, TypeError, "^engine: must be a mapping"),
        ({"crank_wheel": {"tdc1_deg": 1}}, ValueError, "^crank_wheel: needs either"),
        ({"crank_wheel": {"positions": 60, "absent": [60], "tdc1_deg": 1}}, ValueError, "^crank_wheel.absent: each place"),
        ({"crank_wheel": {"positions": 500, "tdc1_deg": 1}}, ValueError, "^crank_wheel.positions: must lie"),
        ({"crank_wheel": {"positions": 60, "absent": [1]}}, ValueError, "^crank_wheel.tdc1_deg: is missing"),
        ({"crank_wheel": {**WHEEL, "at": "rear"}}, ValueError, "^crank_wheel.at: must be"),
        ({"crank_wheel": {**WHEEL, "tdc1_deg": 400}}, ValueError, "^crank_wheel.tdc1_deg: must lie"),
        ({"crank_wheel": {"tooth_angles_deg": [0, 10], "absent": [1], "tdc1_deg": 1}}, ValueError, "^crank_wheel.absent"),
        ({"crank_wheel": {"tooth_angles_deg": [10, 0], "tdc1_deg": 1}}, ValueError, "^crank_wheel.tooth_angles_deg"),
        ({"crank_wheel": {"tooth_angles_deg": list(np.arange(401) / 2), "tdc1_deg": 1}}, ValueError, "more than 400"),
        ({"cam_wheel": {"edge_deg": [1]}}, ValueError, "^cam_wheel.edge_deg: is not known; did you mean 'edges_deg'"),
        ({"cam_wheel": {"edges_deg": [800]}}, ValueError, "^cam_wheel.edges_deg: must lie"),
        ({"timer": {"hz": 1}}, ValueError, "^timer.hz: must lie"),
        ({"timer": {"hz": float("nan")}}, ValueError, "^timer.hz: must lie"),
        ({"timer": {"bits": 7}}, ValueError, "^timer.bits: must lie"),
        ({"crank_wheel": {"positions": 60, "absent": [], "tdc1_deg": 1}, "cam_wheel": None}, ValueError, "needs a cam"),
    ],
)
def test_wrong_tables_name_the_parameter(change, error, text):
    with pytest.raises(error, match=text):
        detector(**change)


def test_numpy_numbers_serve():
    detector(
        engine={"cylinders": np.int32(4), "firing_order": np.array([1, 3, 4, 2]), "inertia_kg_m2": np.float32(0.15)},
        crank_wheel={"tooth_angles_deg": np.delete(np.arange(60) * 6.0, [58, 59]), "tdc1_deg": np.float64(84)},
        cam_wheel=CAM,
    )


def test_listed_wheel_equals_even_wheel(edges):
    listed = {"tooth_angles_deg": [6.0 * place for place in range(58)], "tdc1_deg": 84.0}
    by_place = kurbel.analyze(ticks=edges[0], signals=edges[1], **TABLES)
    by_angle = kurbel.analyze(ticks=edges[0], signals=edges[1], **{**TABLES, "crank_wheel": listed})
    assert len(by_angle) == len(by_place)
    assert np.array_equal(by_angle.cylinder, by_place.cylinder)
