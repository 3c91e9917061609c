"""Throttle and plenum against the textbook's flow function and SciPy's stiff integrator.

Usage: plenum_filling.py PROBE SCENARIO. Fails (never skips) where SciPy is missing.

Sources: Heywood, Internal Combustion Engine Fundamentals, 1988, app. C: flow through an orifice, for a ratio of heats of 1.4
critical ratio 0.528, choked flow function 0.685 (values from memory). Isothermal plenum: dp/dt = R T/V (in - out).
"""
import sys

import numpy as np
from scipy.integrate import solve_ivp

from simulator_physics import probe, read

R_AIR, GAMMA, AMBIENT = 287.0, 1.4, 1.013e5
RESIDUAL, EXHAUST, CHARGE_K = 0.07, 1.013e5 + 0.02e5, 330.0


def psi(ratio):
    """Heywood app. C in its two branches, without the straight end that the simulator has above 0.985."""
    r = np.maximum(ratio, (2.0 / (GAMMA + 1.0)) ** (GAMMA / (GAMMA - 1.0)))
    return r ** (1.0 / GAMMA) * np.sqrt(2.0 * GAMMA / (GAMMA - 1.0) * (1.0 - r ** ((GAMMA - 1.0) / GAMMA)))


def table(text):
    return np.array([[float(v) for v in line.split(",")] for line in text.splitlines()])


def main(program, path):
    flow = table(probe(program, "orifice"))
    ours, textbook = flow[:, 1], psi(flow[:, 0])
    below = flow[:, 0] < 0.985
    print(f"flow function: critical ratio {flow[np.argmax(textbook < textbook[0] - 1e-9) - 1, 0]:.3f}, choked {ours[0]:.4f}, "
          f"largest difference to the formula below 0.985: {np.abs(ours - textbook)[below].max():.1e}")
    assert np.abs(ours - textbook)[below].max() < 1e-12
    assert abs(ours[0] - 0.685) < 5e-4
    assert np.all(ours[flow[:, 0] <= 0.528] == ours[0]) and ours[flow[:, 0] > 0.5285][0] < ours[0]

    scenario = read(path)
    engine, manifold = scenario["engine"], scenario["manifold"]
    displacement = np.pi / 4.0 * (engine["bore_mm"] / 1000.0) ** 2 * engine["stroke_mm"] / 1000.0
    volume, gas_k = manifold["volume_l"] / 1000.0, manifold["gas_k"]
    rt = R_AIR * gas_k
    worst = 0.0
    for rpm, load, new_load in [(800.0, 0.3, 0.6), (2000.0, 0.25, 0.9), (2000.0, 0.9, 0.25), (5000.0, 0.4, 0.95)]:
        lines = table(probe(program, "fill", path, rpm, load, new_load, 1.0))
        area_mm2, rows = lines[0, 1], lines[1:]

        def rate(_, p, rpm=rpm, area_mm2=area_mm2):
            p = p[0]
            ratio = p / AMBIENT
            straight = 0.985
            through = psi(min(ratio, straight)) if ratio <= straight else psi(straight) * (1.0 - ratio) / (1.0 - straight)
            residual = min(0.6, RESIDUAL * EXHAUST / p)
            taken = 4 * p * displacement / (R_AIR * CHARGE_K) * (1.0 - residual) * rpm / 120.0
            return [rt / volume * (area_mm2 * 1e-6 * AMBIENT * through / np.sqrt(rt) - taken)]

        other = solve_ivp(rate, (0.0, 1.0), [rows[0, 1]], method="Radau", rtol=1e-9, atol=1e-3, t_eval=rows[:, 0])
        difference = np.abs(rows[:, 1] - other.y[0]).max()
        worst = max(worst, difference)
        final = rows[-1, 1] / AMBIENT
        reached = rows[np.argmax(np.abs(rows[:, 1] - rows[-1, 1]) < np.exp(-1.0) * abs(rows[-1, 1] - rows[0, 1])), 0]
        # Small changes decay with V T_charge / (T_manifold V_displaced n/2) where the flow chokes.
        print(f"{rpm:4.0f} rpm, charge {load} to {new_load}: settles at {final:.3f}, 63 % after {1000 * reached:.0f} ms; "
              f"largest difference to SciPy's Radau {difference:.2f} Pa")
        assert abs(final - new_load) < 0.02 and 0.005 < reached < 0.4
    assert worst < 2.0

    # Linear check: choked inflow is constant, so the plenum empties as exp(-t/tau), tau = V Tc/(Tm Vd z N/120), here with the
    # residual that is a constant pressure: fresh charge is proportional to p - 0.07 exhaust.
    rows = table(probe(program, "fill", path, 2000.0, 0.3, 0.32, 1.0))[1:]
    tau = volume * CHARGE_K / (gas_k * displacement * 4 * 2000.0 / 120.0)
    left = (rows[:, 1] - rows[-1, 1]) / (rows[0, 1] - rows[-1, 1])
    measured = -1.0 / np.polyfit(rows[5:120, 0], np.log(left[5:120]), 1)[0]
    print(f"time constant with choked throttle: {1000 * measured:.2f} ms, theory {1000 * tau:.2f} ms")
    assert abs(measured / tau - 1.0) < 0.005


if __name__ == "__main__":
    main(*sys.argv[1:])
