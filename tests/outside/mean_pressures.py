"""Mean effective pressures of the default engine against handbook ranges.

Usage: mean_pressures.py PROBE SCENARIO.

Sources, all from memory: Heywood, Internal Combustion Engine Fundamentals, 1988. Ch. 13: total friction with pumping of
four-cylinder spark-ignition engines of 0.85 to 2 l, throttle open: 0.97 + 0.15 N + 0.05 N^2 bar, N in 1000 rpm. Ch. 2 and 15:
brake mean effective pressure at full load 8.5 to 10.5 bar near the torque peak (worked example 2.1 uses 9.25), a tenth to
15 % less at rated speed. Sec. 13.8 (pumping): the pressure difference over the pistons, about exhaust minus intake.
Idle: indicated (gross) 1.5 to 3 bar (engineering range). Mechanical efficiency at full load about 0.9 at low, 0.75 at high
speed (sec. 2.6). Best brake specific fuel consumption 250 to 300 g/kWh (ch. 2), at idle-like charge far more.
"""
import sys

import numpy as np

from simulator_physics import probe


def main(program, path):
    rows = np.array([[float(v) for v in line.split(",")] for line in probe(program, "map", path).splitlines()])
    rpm, load, net, gross, pumping, friction, fuel = rows.T
    full = load == 1.0
    for n, total in zip(rpm[full], friction[full] - pumping[full]):
        formula = 0.97 + 0.15 * n / 1000.0 + 0.05 * (n / 1000.0) ** 2
        print(f"{n:4.0f} rpm: friction with pumping, throttle open {total:.2f} bar, handbook {formula:.2f} bar")
        # Engines of one size differ by as much (scatter of the handbook's own figure, from memory).
        assert abs(total / formula - 1.0) < 0.2, n
    brake = net[full] - friction[full]
    for n, bmep, efficiency in zip(rpm[full], brake, brake / gross[full]):
        print(f"{n:4.0f} rpm: full load {bmep:.2f} bar at the crank, mechanical efficiency {efficiency:.3f}")
    peak = brake.max()
    assert 8.5 < peak < 10.8, peak
    assert 0.84 < (brake / gross[full])[1] < 0.95 and 0.65 < (brake / gross[full])[-1] < 0.82
    work = brake * 1e5 * np.pi / 4.0 * 0.086**2 * 0.086  # J a cycle and cylinder
    consumption = fuel[full] / 43e6 * 1000.0 / (work / 3.6e6)
    print("fuel at full load, g/kWh: " + ", ".join(f"{value:.0f}" for value in consumption))
    assert 240.0 < consumption.min() < 290.0 and consumption.max() < 360.0
    # At part load the pump works against the throttle's vacuum: about exhaust minus intake pressure at low speed.
    for charge in (0.25, 0.35, 0.5, 0.7):
        here = (rpm == 1000.0) & (load == charge)
        vacuum = 1.013 * (1.0 - charge) + 0.02
        print(f"charge {charge}: pumping {-pumping[here][0]:.3f} bar, exhaust minus intake {vacuum:.3f} bar")
        assert abs(-pumping[here][0] / vacuum - 1.0) < 0.15
    # What idle needs: enough gross work for friction and pumping.
    needed = friction[rpm == 800.0] - pumping[rpm == 800.0]
    gained = gross[rpm == 800.0]
    charges = load[rpm == 800.0]
    idle = np.interp(0.0, gained - needed, charges)
    imep = np.interp(idle, charges, gained)
    print(f"idle at 800 rpm: charge {idle:.3f}, indicated {imep:.2f} bar")
    assert 1.5 < imep < 3.0 and 0.2 < idle < 0.45


if __name__ == "__main__":
    main(*sys.argv[1:])
