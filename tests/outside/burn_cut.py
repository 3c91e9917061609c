"""Burns of every shape, also those that the opening exhaust cuts short, against SciPy's integration of the pressure equation.

Usage: burn_cut.py PROBE SCENARIO. Fails (never skips) where SciPy is missing.

Sources: Wiebe function a = 5, m = 2 (Heywood 1988, eq. 9.5), a diesel's second part with m = 1 (double Wiebe, Miyamoto et al.,
SAE 850107), first law dp = (k - 1)/V dQ - n p/V dV (Heywood, ch. 9); all from memory.
"""
import sys

import numpy as np
from scipy.integrate import quad, solve_ivp

from simulator_physics import Cylinder, probe, read

OPENING = 125.0
EXPONENT = 1.32


def share(deg, shape):
    start, burn, premixed, premixed_deg = shape
    f = max(0.0, (deg - start) / burn)
    if premixed <= 0.0:
        return 1.0 - np.exp(-5.0 * f**3)
    g = max(0.0, (deg - start) / premixed_deg)
    return premixed * (1.0 - np.exp(-5.0 * g**3)) + (1.0 - premixed) * (1.0 - np.exp(-5.0 * f**2))


def main(program, path):
    scenario = read(path)
    scenario.setdefault("combustion", {}).update(compression_exponent=EXPONENT, expansion_exponent=EXPONENT)
    load = 0.5
    cylinder = Cylinder(scenario, load)
    volume = lambda deg: cylinder.volume(np.radians(deg))
    volume_slope = lambda deg: cylinder.area * cylinder.slope(np.radians(deg)) * np.pi / 180.0
    trapped = cylinder.manifold

    shapes = {
        "usual": (-25.0, 60.0, 0.0, 10.0),
        "catalyst heating": (15.0, 80.0, 0.0, 10.0),
        "slow": (-25.0, 150.0, 0.0, 10.0),
        "so slow that two fifths are lost": (-10.0, 240.0, 0.0, 10.0),
        "diesel": (-5.0, 70.0, 0.3, 8.0),
        "diesel, late": (30.0, 110.0, 0.1, 12.0),
    }
    for name, shape in shapes.items():
        lines = [[float(v) for v in line.split(",")] for line in probe(program, "burn", path, load, *shape).splitlines()]
        burnt, heat = lines[0]
        rows = np.array(lines[1:])
        # The whole tail counts as burnt where it ends before the exhaust opens.
        end = shape[0] + (1.52 if shape[2] > 0.0 else 1.3) * shape[1]
        expected = share(OPENING, shape) if end > OPENING else 1.0

        def rate(deg, p, shape=shape, heat=heat, end=end):
            e = 1e-4
            release = (share(deg + e, shape) - share(deg - e, shape)) / (2 * e) if deg < end else 0.0
            return [(EXPONENT - 1.0) / volume(deg) * heat * release - EXPONENT * p[0] / volume(deg) * volume_slope(deg)]

        start_pa = trapped * (volume(180.0) / volume(rows[0, 0])) ** EXPONENT
        other = solve_ivp(rate, (rows[0, 0], rows[-1, 0]), [start_pa], method="RK45", rtol=1e-9, atol=1e-2, max_step=0.5,
                          t_eval=rows[:, 0])
        difference = np.abs(rows[:, 1] / other.y[0] - 1.0).max()
        # Work of the heat alone by the integral: each share of it expands from where it is released to the bottom's way out.
        print(f"{name}: {100 * burnt:.2f} % burnt before the exhaust opens (by the function {100 * expected:.2f} %), peak "
              f"{rows[:, 1].max() / 1e5:.1f} bar; largest difference of pressure to SciPy {difference:.1e}")
        assert abs(burnt - expected) < 1e-9
        assert difference < 1e-4
        # The cut shows in the heat itself: the integral of the release up to the opening.
        released = quad(lambda deg: (share(deg + 1e-4, shape) - share(deg - 1e-4, shape)) / 2e-4, -130.0, OPENING,
                        limit=400, points=[shape[0], shape[0] + shape[3]])[0]
        assert abs(released - share(OPENING, shape)) < 1e-6
    assert share(OPENING, shapes["so slow that two fifths are lost"]) < 0.65


if __name__ == "__main__":
    main(*sys.argv[1:])
