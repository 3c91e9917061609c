"""Voltage of the inductive sensor and its zero crossings against a densely sampled waveform made in the spatial frequency domain.

Usage: inductive_waveform.py PROBE SCENARIO.
The profile of the wheel is sampled over one turn, transformed by NumPy's FFT, and each wave of it multiplied by exp(-2 pi d / wavelength)
(spacing loss: Wallace, Bell System Technical Journal 30, 1951; from memory) and by sin(x)/x of the pole's width (gap loss, the same
source). Derived by angle, this is the voltage; where it falls through zero, by interpolation, is an edge. The simulator sums
closed forms over a few teeth instead. The gap of 60-2 measures 3 pitches close to the wheel and 3.2 to 3.5 farther away; that
such widths occur is common practice, no source.
"""
import json
import subprocess
import sys
import tempfile
import tomllib

import numpy as np

POINTS = 1 << 20


def smeared(scenario):
    """Angle in degrees and the voltage over it, not scaled."""
    wheel, sensor = scenario["crank_wheel"], scenario["sensor"]
    pitch = 360.0 / wheel["positions"]
    faults = {f["place"]: f for f in scenario.get("tooth_fault", [])}
    theta = np.arange(POINTS) * 360.0 / POINTS
    profile = np.zeros(POINTS)
    for place in range(wheel["positions"]):
        if place in wheel["absent"]:
            continue
        fault = faults.get(place, {})
        centre = place * pitch + fault.get("bent_deg", 0.0)
        height = fault.get("height", 1.0) * (sensor["first_tooth_height"] if place == 0 else 1.0)
        away = np.abs((theta - centre + 180.0) % 360.0 - 180.0)
        half = 0.5 * sensor["tooth_share"] * pitch
        step = 360.0 / POINTS
        profile += height * np.clip((half - away) / step + 0.5, 0.0, 1.0)
    order = np.arange(POINTS // 2 + 1)
    wave = order / sensor["radius_mm"]  # rad per mm
    distance = sensor["gap_mm"] + sensor["spread_mm"]
    loss = np.exp(-wave * distance) * np.sinc(wave * sensor["pole_mm"] / 2.0 / np.pi)
    return theta, np.fft.irfft(np.fft.rfft(profile) * loss * 1j * order, POINTS)


def crossing_near(theta, volts, centre, reach):
    """Steepest fall through zero within `reach` degrees of `centre`."""
    shifted = (theta - centre + 180.0) % 360.0 - 180.0
    nearby = np.argsort(shifted)
    nearby = nearby[np.abs(shifted[nearby]) < reach]
    x, v = shifted[nearby], volts[nearby]
    falls = np.flatnonzero((v[:-1] > 0.0) & (v[1:] <= 0.0))
    assert len(falls), centre
    i = falls[0] if len(falls) == 1 else min(falls, key=lambda k: abs(x[k]))
    return centre + x[i] + (x[i + 1] - x[i]) * v[i] / (v[i] - v[i + 1])


def check(program, path, scenario):
    told = json.loads(subprocess.run([program, path], check=True, capture_output=True, text=True).stdout)
    theta, volts = smeared(scenario)
    ours = np.array(told["volts"])
    at = np.interp(np.arange(18000) * 0.02, theta, volts)
    scale = (ours @ at) / (at @ at)
    wrong = np.abs(ours - scale * at).max() / np.abs(ours).max()
    places = [p for p in range(60) if p not in scenario["crank_wheel"]["absent"]]
    edges = np.array([crossing_near(theta, volts, e, 2.5) for e in told["edge_deg"]])
    off = np.abs(edges - np.array(told["edge_deg"]))
    gap = (told["edge_deg"][0] + 360.0 - told["edge_deg"][-1]) / 6.0
    print(f"distance {scenario['sensor']['gap_mm'] + scenario['sensor']['spread_mm']:.1f} mm: voltage differs by {wrong:.1e} of its peak, "
          f"edges by at most {off.max():.1e} deg; gap {gap:.3f} pitches")
    assert len(places) == len(edges)
    return wrong, off.max(), gap


def main(program, path):
    with open(path, "rb") as file:
        text = file.read().decode()
    scenario = tomllib.loads(text)
    wrong, off, _ = check(program, path, scenario)
    # Twelve teeth on either side are summed, the far ones left out.
    assert wrong < 1e-3 and off < 2e-3, (wrong, off)
    plain = text[: text.index("[[tooth_fault]]")].replace("first_tooth_height = 0.8", "first_tooth_height = 1.0")
    gaps = []
    for spread in (0.5, 2.5, 3.1):
        changed = plain.replace("spread_mm = 1.8", f"spread_mm = {spread}")
        with tempfile.NamedTemporaryFile("w", suffix=".toml") as file:
            file.write(changed)
            file.flush()
            wrong, off, gap = check(program, file.name, tomllib.loads(changed))
            assert wrong < 1e-3 and off < 1e-2, (wrong, off)
            gaps.append(gap)
    assert gaps[0] < 3.05 < 3.2 < gaps[1] < gaps[2] and gaps[2] > 3.4, gaps


if __name__ == "__main__":
    main(*sys.argv[1:])
