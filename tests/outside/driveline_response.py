"""How a torque at the crank's front end swings flywheel and wheels, against the transfer function of the same chain.

Usage: driveline_response.py PROBE FOLDER. Engines without gas forces, dry friction and drag are linear. The probe swings
them with one frequency after another; NumPy solves (i w J + Z) speeds = torque with Z = k/(i w) + c for each link, and for
the tyre its spring C/s in series with the damper C/v (Pacejka, Tyre and Vehicle Dynamics; from memory), C its slip
stiffness, s its relaxation length, v the vehicle's speed. Amplitude within 0.3 %, phase within 0.003 rad.
"""
import pathlib
import sys

import numpy as np

from machine_chain import Machine, matrix, natural_hz, probe, read

AMPLITUDE_NM = 2.0
CASES = [("inline4-dual-mass", 3, 50.0), ("inline4", 2, 30.0), ("v8-crossplane", 5, 100.0),
         ("inline6-diesel-truck", 9, 60.0), ("twin-270", 4, 70.0)]


def transfer(machine, tyre_nm_rad, hz, vehicle_m_s):
    """Speeds of all masses over a torque on the mass that bears the pulley."""
    s = 2j * np.pi * hz
    links = np.array(machine.stiffness) / s + np.array(machine.damping)
    links[-1] = tyre_nm_rad / (s + vehicle_m_s / machine.relaxation_m)
    push = np.zeros(len(machine.inertia))
    push[machine.front] = 1.0
    return np.linalg.solve(s * np.diag(machine.inertia) + matrix(links), push)


def swing(time, speed, hz):
    """Complex amplitude A of Im(A exp(i w t)) beside a constant and a drift."""
    w = 2.0 * np.pi * hz
    base = np.column_stack([np.sin(w * time), np.cos(w * time), np.ones_like(time), time - time.mean()])
    parts = np.linalg.lstsq(base, speed, rcond=None)[0]
    return parts[0] + 1j * parts[1]


def main(program, folder):
    for name, gear, kmh in CASES:
        path = pathlib.Path(folder) / f"{name}.toml"
        scenario = read(path)
        scenario["engine"]["reciprocating_kg"] = 1e-12
        machine = Machine(scenario).put_in(scenario, gear)
        if "converter" in scenario:
            speed = kmh / 3.6 / scenario["driveline"]["wheel_radius_m"] * machine.ratio
            machine.damping[-3] += scenario["converter"]["pump_nm_s2"] * speed / (1.0 - 0.85)
        modes = natural_hz(machine.inertia, machine.stiffness)
        frequencies = sorted({1.5, 5.0, 20.0, 35.0, *(float(f"{f:.4g}") for f in modes[1:5] if f < 120.0)})
        rows = np.array([[float(v) for v in line.split(",")] for line in
                         probe(program, "response", path, gear, kmh, AMPLITUDE_NM, *frequencies).splitlines()])
        worst = np.zeros(2)
        for hz in frequencies:
            block = rows[rows[:, 0] == hz]
            assert len(block) == 256
            speeds = -AMPLITUDE_NM * transfer(machine, machine.stiffness[-1], hz, kmh / 3.6)  # against the rotation
            expected = np.array([speeds[machine.flywheel], speeds[-2] / machine.ratio])
            seen = np.array([swing(block[:, 1], block[:, i], hz) for i in (2, 3)])
            amplitude, phase = np.abs(np.abs(seen / expected) - 1.0), np.abs(np.angle(seen / expected))
            worst = np.maximum(worst, [amplitude.max(), phase.max()])
            assert amplitude.max() < 0.003 and phase.max() < 0.003, (name, hz, amplitude, phase)
        print(f"{name} in gear {gear} at {kmh:g} km/h, {frequencies} Hz: amplitude within {worst[0]:.1e}, "
              f"phase within {worst[1]:.1e} rad")


if __name__ == "__main__":
    main(*sys.argv[1:])
