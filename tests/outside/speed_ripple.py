"""How far the speed swings within a cycle, on stiff cranks of five engines, against the energy integral in NumPy.

Usage: speed_ripple.py SIMULATOR_PROBE. The torques come from the equations that simulator_physics.py writes anew; the swing
follows from work and inertia alone: 1/2 (J + J_rec) w^2 changes by the integral of torque minus its mean (flywheel sizing, any
textbook on machine dynamics, e.g. Norton, Design of Machinery; from memory).
"""
import sys
import tempfile

import numpy as np

from simulator_physics import Cylinder, probe, read

ENGINES = {
    # name: firing order, bore mm, stroke mm, rod mm, ratio, reciprocating kg, inertia kg m2, rpm, load
    "single, 125 cm3": ([1], 54.0, 54.5, 95.0, 10.0, 0.15, 0.012, 4000.0, 0.6),
    "three in line": ([1, 3, 2], 74.0, 84.0, 140.0, 10.5, 0.4, 0.12, 1500.0, 0.4),
    "four in line, idle": ([1, 3, 4, 2], 86.0, 86.0, 145.0, 10.0, 0.45, 0.16, 850.0, 0.3),
    "four in line, fast": ([1, 3, 4, 2], 86.0, 86.0, 145.0, 10.0, 0.45, 0.16, 5000.0, 0.6),
    "six in line": ([1, 5, 3, 6, 2, 4], 84.0, 90.0, 145.0, 10.0, 0.5, 0.25, 1200.0, 0.5),
    "eight": ([1, 8, 4, 3, 6, 5, 7, 2], 92.0, 94.0, 150.0, 10.0, 0.55, 0.3, 1000.0, 0.4),
}


def scenario_text(order, bore, stroke, rod, ratio, mass, inertia):
    return f"""
[engine]
cylinders = {len(order)}
firing_order = {order}
bore_mm = {bore}
stroke_mm = {stroke}
rod_mm = {rod}
compression_ratio = {ratio}
reciprocating_kg = {mass}
inertia_kg_m2 = {inertia}
throw = {list(range(1, len(order) + 1))}
[crank_wheel]
positions = 60
absent = [58, 59]
tdc1_deg = 84.0
[crank]
first_torsion_hz = 2000.0
damping_ratio = 0.1
[combustion]
compression_exponent = 1.32
expansion_exponent = 1.32
[friction]
constant_bar = 0.0
linear_bar = 0.0
square_bar = 0.0
accessories_nm = 0.0
"""


def main(program):
    for name, (order, *sizes, rpm, load) in ENGINES.items():
        with tempfile.NamedTemporaryFile("w", suffix=".toml") as file:
            file.write(scenario_text(order, *sizes))
            file.flush()
            cylinder = Cylinder(read(file.name), load)
            z, w = len(order), rpm * np.pi / 30.0
            x = np.linspace(0.0, 4.0 * np.pi, 2880, endpoint=False)
            one = np.array([cylinder.gas_torque(a, w) for a in x])
            shifts = [len(x) * k // z for k in range(z)]
            gas = sum(np.roll(one, s) for s in shifts)
            reciprocating = cylinder.mass * sum(np.roll(cylinder.slope(x) ** 2, s) for s in shifts)
            mean = gas.mean()
            # Three cycles and a bit of the simulator with the mean torque as its load; the last cycle is looked at.
            seconds = 3.2 * 4.0 * np.pi / w
            rows = np.array([[float(v) for v in line.split(",")]
                             for line in probe(program, "run", file.name, rpm, load, mean, seconds).splitlines()])
        speeds = rows[:, 2::2]
        inertia = np.append(np.append([0.08], np.full(z, 0.22 / z)), 0.70)
        shaft = speeds @ inertia  # of the whole crank, its twist averaged out
        last = rows[:, 0] > seconds - 4.0 * np.pi / w
        swing = np.ptp(shaft[last])
        kinetic = np.cumsum(gas - mean) * (x[1] - x[0])
        total = sizes[-1] + reciprocating
        # The run begins at a dead centre, where the speed is not the mean one.
        level = 0.5 * np.mean(shaft[last]) ** 2 * total.mean()
        speed = np.sqrt(2.0 * (level + kinetic - kinetic.mean()) / total)
        expected = np.ptp(speed)
        print(f"{name}: {rpm:.0f} rpm swings by {swing * 30 / np.pi:.1f} rpm, by the energy integral "
              f"{expected * 30 / np.pi:.1f} rpm ({100 * expected / w:.2f} %)")
        assert expected > 0.002 * w and abs(swing / expected - 1.0) < 0.01, name


if __name__ == "__main__":
    main(*sys.argv[1:])
