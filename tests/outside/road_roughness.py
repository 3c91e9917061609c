"""The road's unevenness against ISO 8608, and the wheel that hops over it against the quarter-car's transfer function.

Usage: road_roughness.py PROBE FOLDER.
1. Random road: one-sided displacement density G(n) = G(n0) (n0/n)^2, n0 = 0.1 cycles/m, from 0.1 to 5 cycles/m, octave by
   octave (ISO 8608; formula and class C's 256e-6 m^3 from memory). Estimated by SciPy's welch.
2. Washboard and pothole: height, wavelength and depth as asked for.
3. Wheel load and slope force on a washboard: quarter-car with tyre, wheel, spring, damper and body, solved by NumPy at the
   frequency v / wavelength; contact length p averages by sin(u)/u, u = pi p / wavelength.
"""
import pathlib
import sys
import tempfile

import numpy as np
from scipy.signal import welch

from machine_chain import probe, read

ROAD = dict(patch_m=0.1, unsprung_kg=80.0, tyre_n_m=400e3, suspension_n_m=45e3, suspension_n_s_m=3500.0,
            radius_share=0.3)


def with_road(folder, lines):
    file = tempfile.NamedTemporaryFile("w", suffix=".toml")
    file.write(f'engine_file = "{pathlib.Path(folder).resolve()}/inline4.toml"\n[road]\n' + lines)
    file.flush()
    return file


def heights(program, folder, lines, metres):
    with with_road(folder, lines) as file:
        return np.array(probe(program, "road", file.name, metres).split(), float)


def check_random(program, folder):
    h = heights(program, folder, 'kind = "random"\nroughness_m3 = 256e-6\n', 20000)
    n, density = welch(h, fs=100.0, nperseg=20000, detrend="linear")
    for low in 0.1 * 2.0 ** np.arange(5.6):
        band = (n >= low) & (n < 2.0 * low)
        ratio = np.mean(density[band] * (n[band] / 0.1) ** 2) / 256e-6
        print(f"random road, {low:.2f} to {2 * low:.2f} cycles/m: {ratio:.3f} of ISO 8608")
        assert abs(ratio - 1.0) < 0.08
    again = heights(program, folder, 'kind = "random"\nroughness_m3 = 64e-6\n', 20000)
    assert np.allclose(again, 0.5 * h, rtol=1e-6, atol=1e-9), "a quarter of the density is half of the height"


def check_shapes(program, folder):
    h = heights(program, folder, 'kind = "washboard"\nheight_m = 0.04\nwavelength_m = 0.8\n', 400)
    spectrum = np.abs(np.fft.rfft(h))
    assert np.argmax(spectrum) == 500 and abs(np.ptp(h) - 0.04) < 1e-5
    lines = 'kind = "pothole"\nheight_m = 0.06\nlength_m = 0.9\nedge_m = 0.2\nevery_m = 40\n'
    h = heights(program, folder, lines, 400)
    assert abs(h.min() + 0.06) < 1e-9 and h.max() == 0.0
    # Each is 0.9 m less half of both edges at half depth: 0.7 m; ten of them in 400 m.
    assert abs(np.sum(h < -0.03) * 0.01 / 10 - 0.7) < 0.011


def quarter_car(hz, height, axle_kg):
    """Complex tyre deflection over a road of complex height `height`."""
    w = 2.0 * np.pi * hz
    spring = ROAD["suspension_n_m"] + 1j * w * ROAD["suspension_n_s_m"]
    body = axle_kg - ROAD["unsprung_kg"]
    tyre = ROAD["tyre_n_m"]
    system = np.array([[tyre + spring - w**2 * ROAD["unsprung_kg"], -spring], [-spring, spring - w**2 * body]])
    return height - np.linalg.solve(system, [tyre * height, 0.0])[0]


def check_hop(program, folder):
    axle = read(pathlib.Path(folder) / "inline4.toml")["tyre"]["axle_kg"]
    gain = []
    for hz in (1.2, 5.0, 12.0, 20.0, 30.0):
        wavelength, seconds = 0.8, 40.0
        lines = f'kind = "washboard"\nheight_m = 0.004\nwavelength_m = {wavelength}\n'
        with with_road(folder, lines) as file:
            rows = np.array([[float(v) for v in line.split(",")] for line in
                             probe(program, "wheel", file.name, 3.6 * hz * wavelength, seconds).splitlines()])
        rows = rows[rows[:, 0] > 20.0]
        w = 2.0 * np.pi * hz
        base = np.column_stack([np.sin(w * rows[:, 0]), np.cos(w * rows[:, 0]), np.ones(len(rows))])
        (a, b, mean) = np.linalg.lstsq(base, rows[:, 1], rcond=None)[0]
        u = np.pi * ROAD["patch_m"] / wavelength
        height = 0.002 * np.sin(u) / u
        expected = ROAD["tyre_n_m"] * np.abs(quarter_car(hz, height, axle)) / (axle * 9.81)
        seen = np.hypot(a, b)
        push = np.hypot(*np.linalg.lstsq(base, rows[:, 3], rcond=None)[0][:2])
        slope = height * 2.0 * np.pi / wavelength
        radius = np.hypot(*np.linalg.lstsq(base, rows[:, 2], rcond=None)[0][:2])
        print(f"washboard at {hz} Hz: wheel load swings by {seen:.4f} of itself, quarter-car {expected:.4f}; "
              f"slope force {push:.0f} N, weight times slope {axle * 9.81 * slope:.0f} N")
        assert abs(seen / expected - 1.0) < 0.02 and abs(mean - 1.0) < 0.01
        assert abs(push / (axle * 9.81 * slope) - 1.0) < 0.02
        assert abs(radius / (ROAD["radius_share"] * expected * axle * 9.81 / ROAD["tyre_n_m"]) - 1.0) < 0.02
        gain.append(expected)
    assert np.argmax(gain) == 2, "wheel hop lies near 12 Hz"


def main(program, folder):
    check_random(program, folder)
    check_shapes(program, folder)
    check_hop(program, folder)


if __name__ == "__main__":
    main(*sys.argv[1:])
