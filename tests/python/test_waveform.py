"""Edges from waveforms: arrays of every kind, words, errors."""
import numpy as np
import pytest

import kurbel

RATE_HZ = 100e3
TIME_S = np.arange(50000) / RATE_HZ
COIL_V = -3.0 * np.sin(2 * np.pi * 997.0 * TIME_S)


def times_fit(edges: np.ndarray, offset: float, tolerance: float) -> bool:
    place = edges["time_s"] * 997.0 - offset
    return bool(np.all(np.abs(place - np.round(place)) < tolerance))


def test_falling_zero_crossings_of_a_sine():
    found = kurbel.edges_from_waveform(COIL_V, RATE_HZ, flank="falling")
    assert found.edges.dtype == kurbel.EDGE_DTYPE
    assert abs(len(found.edges) - 498) <= 1
    assert times_fit(found.edges, 0.0, 1e-4)
    assert found.report.kind == "inductive"
    assert found.report.findings == () and found.report.advice == ()
    np.testing.assert_allclose(found.ticks, found.edges["time_s"] * 1e9, atol=0.51)


@pytest.mark.parametrize("dtype", ["f8", "f4", "i2", "i4", "u1", "f2", "i8", ">f8"])
def test_every_type_of_sample_gives_the_same_edges(dtype):
    kind = np.dtype(dtype).kind
    scaled = COIL_V if kind == "f" else np.round(COIL_V * 40 + 128)
    found = kurbel.edges_from_waveform(scaled.astype(dtype), RATE_HZ, kind="inductive", flank="falling", scale=1.0 if kind == "f" else 0.025)
    assert abs(len(found.edges) - 498) <= 1
    assert times_fit(found.edges, 0.0, 2e-3)
    assert found.report.swing == pytest.approx(6.0, rel=0.02)


def test_strided_views_are_copied_not_misread():
    twice = np.repeat(COIL_V, 2)
    found = kurbel.edges_from_waveform(twice[::2], RATE_HZ, flank="falling")
    assert times_fit(found.edges, 0.0, 1e-4)


def test_digital_levels_and_clock():
    square = np.where((TIME_S * 500.0 + 0.25) % 1.0 < 0.3, 1, 0).astype(np.uint8)
    found = kurbel.edges_from_waveform(square, RATE_HZ, tick_hz=1e6, first_tick=10)
    assert found.report.kind == "digital" and found.report.flank == "rising"
    assert np.all(found.edges["flank"] == 2)
    np.testing.assert_allclose(found.ticks - 10, found.edges["time_s"] * 1e6, atol=0.51)
    np.testing.assert_allclose(np.diff(found.edges["time_s"]), 2e-3, atol=1.1e-5)


def test_noise_is_said_to_be_no_signal():
    found = kurbel.edges_from_waveform(np.random.default_rng(1).normal(size=100000), RATE_HZ)
    assert len(found.edges) == 0
    assert "no_signal" in found.report.findings
    assert len(found.report.advice) == len(found.report.findings)


@pytest.mark.parametrize(
    ("arguments", "error", "text"),
    [
        ({"rate_hz": 0.0}, ValueError, "rate_hz"),
        ({"rate_hz": float("nan")}, ValueError, "rate_hz"),
        ({"kind": "optical"}, ValueError, "kind"),
        ({"flank": "up"}, ValueError, "flank"),
        ({"scale": 0.0}, ValueError, "scale"),
        ({"samples": np.zeros((3, 3))}, ValueError, "samples"),
        ({"samples": ["a"]}, TypeError, "samples"),
    ],
)
def test_errors_name_the_parameter(arguments, error, text):
    with pytest.raises(error, match=f"^{text}"):
        kurbel.edges_from_waveform(**{"samples": COIL_V, "rate_hz": RATE_HZ, **arguments})


def test_exchanged_channels_are_told_of_both_reports_and_of_those_alone():
    time_s = np.arange(100_000) / 100e3
    crank, cam = (kurbel.edges_from_waveform(-np.sin(2 * np.pi * hz * time_s), 100e3).report for hz in (1000, 40))
    for report in kurbel.compare_waveforms(crank, cam):
        assert "channels_swapped" not in report.findings
    swapped = kurbel.compare_waveforms(cam, crank)
    for before, after in zip((cam, crank), swapped):
        assert after.findings == (*before.findings, "channels_swapped")
        assert after.advice[-1] == "crank and cam seem to be exchanged"
        assert after.edges == before.edges
    # Once more says it once, and the right way round takes it back.
    assert kurbel.compare_waveforms(*swapped) == swapped
    assert kurbel.compare_waveforms(swapped[1], swapped[0]) == (crank, cam)
    with pytest.raises(TypeError, match="^cam: "):
        kurbel.compare_waveforms(crank, 3)
