"""The simulator's time integration against SciPy's DOP853 on an elastic five-cylinder, from equations written anew.

Usage: simulator_ode.py PROBE SCENARIO. Fails (never skips) where SciPy is missing.
"""
import sys

import numpy as np
from scipy.integrate import solve_ivp

from simulator_physics import ACCESSORIES_NM, FRICTION_BAR, Chain, Cylinder, probe, read

RPM, LOAD, LOAD_NM, SECONDS = 1500.0, 0.6, 60.0, 0.12


def main(program, path):
    scenario = read(path)
    rows = np.array([[float(v) for v in line.split(",")]
                     for line in probe(program, "run", path, RPM, LOAD, LOAD_NM, SECONDS).splitlines()])
    cylinder, chain = Cylinder(scenario, LOAD), Chain(scenario)
    order = scenario["engine"]["firing_order"]
    z = len(order)
    tdc = np.empty(z)
    for place, number in enumerate(order):
        tdc[number - 1] = 4.0 * np.pi * place / z
    k, c = chain.matrix(chain.stiffness), chain.matrix(chain.damping)
    nm_per_bar = 1e5 * z * cylinder.displacement / (4.0 * np.pi)

    def friction(speed):
        thousand = speed * 60.0 / (2.0 * np.pi) / 1000.0
        a, b, d = FRICTION_BAR
        return nm_per_bar * (a + b * thousand + d * thousand**2) + ACCESSORIES_NM

    def rate(_, state):
        angle, speed = state[: z + 2], state[z + 2 :]
        torque = -k @ angle - c @ speed
        inertia = chain.inertia.copy()
        x = angle[1:-1] - tdc
        slope = cylinder.slope(x)
        inertia[1:-1] += cylinder.mass * slope**2
        for i in range(z):
            torque[i + 1] += cylinder.gas_torque(x[i], speed[i + 1]) - friction(speed[i + 1]) / z
        torque[1:-1] -= cylinder.mass * slope * cylinder.curvature(x) * speed[1:-1] ** 2
        torque[-1] -= LOAD_NM
        return np.concatenate([speed, torque / inertia])

    start = np.concatenate([np.full(z + 2, 0.1), np.full(z + 2, RPM * np.pi / 30.0)])
    other = solve_ivp(rate, (0.0, rows[-1, 0]), start, method="DOP853", rtol=1e-9, atol=1e-10, t_eval=rows[:, 0])
    angle = np.abs(rows[:, 1::2] - other.y[: z + 2].T).max()
    speed = np.abs(rows[:, 2::2] - other.y[z + 2 :].T).max()
    turned = rows[-1, 1] - rows[0, 1]
    ripple = np.ptp(rows[:, 2])
    print(f"turned {turned:.1f} rad, speed ripple {ripple:.1f} rad/s; largest difference to SciPy's DOP853: "
          f"angle {angle:.2e} rad, speed {speed:.2e} rad/s")
    # 2e-6 rad at 157 rad/s is 13 ns; 5e-3 rad/s is 3e-5 of the speed, all of it in the highest mode (2.4 kHz).
    assert turned > 4.0 * np.pi and ripple > 5.0, "the run must show more than a cycle of lively motion"
    assert angle < 2e-6 and speed < 5e-3


if __name__ == "__main__":
    main(*sys.argv[1:])
