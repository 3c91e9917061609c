"""Torque orders of the simulator against NumPy's FFT, phasor sums and the text book's inertia torque series.

Usage: torque_orders.py PROBE SCENARIO.
1. Torque of the whole engine, order by order, equals one cylinder's order times the sum of the phasors of its firing angles
   (classic theory of torsional vibration, for example Den Hartog, Mechanical Vibrations; from memory).
2. Inertia torque of one cylinder over m r^2 w^2, L = r/l: (L/4 + L^3/16) sin x - (1/2 + L^4/32) sin 2x
   - (3L/4 + 9L^3/32) sin 3x - (L^2/4 + L^4/8) sin 4x, plus terms of the order of L^5 (Biezeno and Grammel, Engineering
   Dynamics, vol. 4; from memory).
3. Gas torque equals the independent NumPy model point by point.
"""
import sys

import numpy as np

from simulator_physics import Cylinder, probe, read

RPM, LOAD = 3000.0, 0.6


def main(program, path):
    scenario = read(path)
    lines = probe(program, "torque", path, RPM, LOAD).splitlines()
    table = np.array([[float(v) for v in line.split(",")] for line in lines[1:]])
    angle, gas, inertia = table[:, 0], table[:, 1::2], table[:, 2::2]
    order = scenario["engine"]["firing_order"]
    z = len(order)
    speed = RPM * np.pi / 30.0

    whole = np.fft.rfft(gas.sum(axis=1)) / len(angle)
    one = np.fft.rfft(gas[:, 0]) / len(angle)
    h = np.arange(1, 49)  # half orders 0.5 to 24
    tdc = 4.0 * np.pi * np.arange(z) / z
    phasors = np.exp(-0.5j * np.outer(h, tdc)).sum(axis=1)
    error = np.abs(whole[h] - one[h] * phasors).max() / np.abs(one[h]).max()
    print(f"orders 0.5 to 24: whole engine against phasor sums, relative error {error:.1e}")
    assert error < 1e-9
    # Even firing leaves the orders of z/2 alone.
    quiet = np.abs(whole[h][h % z != 0]).max() / np.abs(whole[h][h % z == 0]).max()
    assert quiet < 1e-9, quiet

    cylinder = Cylinder(scenario, LOAD)
    lam = cylinder.a / cylinder.rod
    series = np.fft.rfft(inertia[:, 0]) / len(angle) * -2.0
    sines = series.imag[2 * np.arange(1, 5)] / (cylinder.mass * cylinder.a**2 * speed**2)
    book = np.array([lam / 4.0 + lam**3 / 16.0, -0.5 - lam**4 / 32.0, -0.75 * lam - 9.0 * lam**3 / 32.0,
                     -(lam**2) / 4.0 - lam**4 / 8.0])
    print(f"inertia torque, orders 1 to 4 over m r^2 w^2: {np.round(sines, 5)}, book {np.round(book, 5)}")
    assert np.abs(sines - book).max() < 0.2 * lam**5
    exact = -cylinder.mass * cylinder.slope(angle) * cylinder.curvature(angle) * speed**2
    assert np.abs(inertia[:, 0] - exact).max() < 1e-6 * np.abs(exact).max()

    other = np.array([cylinder.gas_torque(x, speed) for x in angle])
    worst = np.abs(gas[:, 0] - other).max() / np.abs(other).max()
    print(f"gas torque against the NumPy model: relative difference {worst:.1e}")
    assert worst < 1e-6


if __name__ == "__main__":
    main(*sys.argv[1:])
