"""The engine on paper once more, written independently in NumPy: from the scenario file alone to torques and motion.

Formulas: Heywood, Internal Combustion Engine Fundamentals, 1988, eq. 2.5, 2.6, 9.5 (numbers from memory) and the first law;
the elastic crank after Kiencke and Nielsen, Automotive Control Systems (from memory). Where the C++ code uses tables and
an integral made once a firing, this integrates the pressure equation with SciPy.
"""
import subprocess
import tomllib

import numpy as np
from scipy.integrate import solve_ivp

# Defaults of the scenario file that the check's scenario leaves alone.
AMBIENT_PA = 1.013e5
EXHAUST_PA = AMBIENT_PA + 0.02e5
CHARGE_K = 330.0
HEAT_J_KG = 2.925e6
HEAT_SHARE = 0.76
RESIDUAL = 0.07
CA50 = np.radians(9.0)
FLOW = 50.0
CLOSING = np.radians(-140.0)
OPENING = np.radians(125.0)
OVERLAP = np.radians(40.0)
FRICTION_BAR = (0.75, 0.15, 0.03)
ACCESSORIES_NM = 2.0


def probe(program, *arguments):
    return subprocess.run([program, *map(str, arguments)], check=True, capture_output=True, text=True).stdout


def read(path):
    with open(path, "rb") as file:
        return tomllib.load(file)


def step5(x):
    x = np.clip(x, 0.0, 1.0)
    return x**3 * (10.0 - 15.0 * x + 6.0 * x**2)


class Cylinder:
    """Geometry, pressure and torque over crank angle from firing TDC, angles in radians."""

    def __init__(self, scenario, load):
        engine = scenario["engine"]
        self.a = engine["stroke_mm"] / 2000.0
        self.rod = engine["rod_mm"] / 1000.0
        self.area = np.pi / 4.0 * (engine["bore_mm"] / 1000.0) ** 2
        self.displacement = 2.0 * self.a * self.area
        self.clearance = self.displacement / (engine["compression_ratio"] - 1.0)
        self.mass = engine["reciprocating_kg"]
        self.nc = scenario["combustion"]["compression_exponent"]
        self.ne = scenario["combustion"]["expansion_exponent"]
        self.manifold = AMBIENT_PA * load
        share = np.clip((0.6 - load) / 0.35, 0.0, 1.0)
        self.duration = np.radians(55.0 + 20.0 * share)
        residual = min(0.6, RESIDUAL * EXHAUST_PA / self.manifold)
        air = self.manifold * self.displacement / (287.0 * CHARGE_K) * (1.0 - residual)
        self.heat = air * HEAT_J_KG * HEAT_SHARE
        self.start = CA50 - 0.51755 * self.duration
        self.closed = self._closed_phase()

    def travel(self, x):
        return self.rod + self.a - self.a * np.cos(x) - np.sqrt(self.rod**2 - (self.a * np.sin(x)) ** 2)

    def slope(self, x):
        root = np.sqrt(self.rod**2 - (self.a * np.sin(x)) ** 2)
        return self.a * np.sin(x) * (1.0 + self.a * np.cos(x) / root)

    def curvature(self, x, e=1e-5):
        return (self.slope(x - 2 * e) - 8 * self.slope(x - e) + 8 * self.slope(x + e) - self.slope(x + 2 * e)) / (12 * e)

    def volume(self, x):
        return self.clearance + self.area * self.travel(x)

    def _closed_phase(self):
        """dp = (k - 1)/V dQ - n p/V dV from bottom to bottom, in three smooth pieces."""

        def rate(x, p):
            n = self.nc if x < 0.0 else self.ne
            f = max(0.0, (x - self.start) / self.duration)
            burn = 15.0 * f**2 * np.exp(-5.0 * f**3) / self.duration if f < 1.3 else 0.0
            volume = self.volume(x)
            return (self.ne - 1.0) / volume * self.heat * burn - n * p / volume * self.area * self.slope(x)

        pieces = []
        pressure = self.manifold
        edges = [-np.pi, self.start, 0.0, self.start + 1.3 * self.duration, np.pi]
        for low, high in zip(edges, edges[1:]):
            # The last point of a piece must not see the next piece's law.
            inside = lambda x, p, low=low, high=high: rate(np.clip(x, low + 1e-13, high - 1e-13), p)
            piece = solve_ivp(inside, (low, high), [pressure], method="DOP853", rtol=1e-11, atol=1e-6,
                              dense_output=True)
            pieces.append((low, high, piece.sol))
            pressure = piece.y[0, -1]
        return pieces

    def closed_pressure(self, x):
        for low, high, solution in self.closed:
            if x <= high:
                return solution(max(x, low))[0]
        return self.closed[-1][2](x)[0]

    def pressure(self, x, speed):
        loss = FLOW * (self.slope(x) * speed) ** 2
        if -np.pi <= x <= np.pi:
            p = self.closed_pressure(x)
            if x < CLOSING:
                return self.manifold + (p - self.manifold) * step5((x + np.pi) / (CLOSING + np.pi))
            if x > OPENING:
                return p + (EXHAUST_PA + loss - p) * step5((x - OPENING) / (np.pi - OPENING))
            return p
        d = x - 2.0 * np.pi if x > 0.0 else x + 2.0 * np.pi
        exhaust, intake = EXHAUST_PA + loss, self.manifold - loss
        return exhaust + (intake - exhaust) * step5(0.5 + d / OVERLAP)

    def gas_torque(self, x, speed):
        x = (x + 2.0 * np.pi) % (4.0 * np.pi) - 2.0 * np.pi
        return (self.pressure(x, speed) - AMBIENT_PA) * self.area * self.slope(x)


class Chain:
    """Pulley, throws, flywheel: inertias from the shares, stiffness from the wanted first mode by eigenvalues."""

    def __init__(self, scenario):
        from scipy.linalg import eigh

        engine, crank = scenario["engine"], scenario["crank"]
        n = engine["cylinders"]
        total = engine["inertia_kg_m2"]
        pulley, throws = crank["pulley_share"], crank["throws_share"]
        self.inertia = total * np.array([pulley, *[throws / n] * n, 1.0 - pulley - throws])
        cylinder = Cylinder.__new__(Cylinder)
        cylinder.a, cylinder.rod = engine["stroke_mm"] / 2000.0, engine["rod_mm"] / 1000.0
        x = np.linspace(0.0, 2.0 * np.pi, 4096, endpoint=False)
        self.reciprocating = engine["reciprocating_kg"] * np.mean(cylinder.slope(x) ** 2)
        mean = self.inertia.copy()
        mean[1:-1] += self.reciprocating
        unit = self.matrix(np.ones(n + 1))
        first = np.sqrt(eigh(unit, np.diag(mean), eigvals_only=True)[1])
        wanted = 2.0 * np.pi * crank["first_torsion_hz"]
        self.mean_inertia = mean
        self.stiffness = np.full(n + 1, (wanted / first) ** 2)
        self.damping = self.stiffness * 2.0 * crank["damping_ratio"] / wanted

    @staticmethod
    def matrix(links):
        size = len(links) + 1
        k = np.zeros((size, size))
        for i, link in enumerate(links):
            k[i : i + 2, i : i + 2] += link * np.array([[1.0, -1.0], [-1.0, 1.0]])
        return k
