"""Crank and driveline of a scenario file once more, written independently in NumPy: inertias, springs, dampers.

Definitions as in the scenario file's own description; eigenvalues by SciPy; the tuned damper after Den Hartog, Mechanical
Vibrations, sec. 3.3 (from memory): tuned to f1 / (1 + m), m the ring's inertia over that of the mode as felt at the pulley.
"""
import subprocess
import tomllib

import numpy as np
from scipy.linalg import eigh

# Defaults that the files may leave alone.
CRANK = dict(pulley_share=0.08, throws_share=0.22, damping_ratio=0.02, pulley_stiffness_share=1.0, damper_damping=0.08)
DUAL = dict(hz=11.0, damping_ratio=0.05)
LINE = dict(clutch_hz=60.0, clutch_damping=0.1)
TYRE = dict(relaxation_m=0.2)


def probe(program, *arguments):
    return subprocess.run([program, *map(str, arguments)], check=True, capture_output=True, text=True).stdout


def read(path):
    with open(path, "rb") as file:
        return tomllib.load(file)


def matrix(links):
    size = len(links) + 1
    k = np.zeros((size, size), dtype=np.result_type(links, float))
    for i, link in enumerate(links):
        k[i : i + 2, i : i + 2] += link * np.array([[1.0, -1.0], [-1.0, 1.0]])
    return k


def natural_hz(inertia, stiffness):
    squares = eigh(matrix(np.array(stiffness)), np.diag(inertia), eigvals_only=True)
    return np.sqrt(np.maximum(squares, 0.0)) / (2.0 * np.pi)


def series(a, b):
    return a * b / (a + b)


def mean_reciprocating(engine):
    """Mean over a turn of m (dx/dtheta)^2, the exact slider-crank."""
    a, rod = engine["stroke_mm"] / 2000.0, engine["rod_mm"] / 1000.0
    x = np.linspace(0.0, 2.0 * np.pi, 8192, endpoint=False)
    slope = a * np.sin(x) * (1.0 + a * np.cos(x) / np.sqrt(rod**2 - (a * np.sin(x)) ** 2))
    return engine["reciprocating_kg"] * np.mean(slope**2)


class Machine:
    """Lists from the front end back: `inertia`, and `stiffness` and `damping` of the links between."""

    def __init__(self, scenario):
        engine, crank = scenario["engine"], CRANK | scenario["crank"]
        pins = engine.get("throw", list(range(1, engine["cylinders"] + 1)))
        throws = max(pins)
        total = engine["inertia_kg_m2"]
        pulley, webs = crank["pulley_share"], crank["throws_share"]
        moving = mean_reciprocating(engine)
        bare = total * np.array([pulley, *[webs / throws] * throws, 1.0 - pulley - webs])
        mean = bare.copy()
        for pin in pins:
            mean[pin] += moving
        unit = np.ones(throws + 1)
        unit[0] = crank["pulley_stiffness_share"]
        squares, shapes = eigh(matrix(unit), np.diag(mean))
        omega = 2.0 * np.pi * crank["first_torsion_hz"]
        stiffness = unit * omega**2 / squares[1]
        damping = stiffness * 2.0 * crank["damping_ratio"] / omega
        self.engine = total + engine["cylinders"] * moving
        self.inertia = list(mean)
        self.stiffness, self.damping = list(stiffness), list(damping)
        self.front, self.flywheel = 0, throws + 1
        if crank.get("damper_kg_m2", 0.0) > 0.0:
            ring = crank["damper_kg_m2"]
            shape = shapes[:, 1] / shapes[0, 1]
            own = crank["first_torsion_hz"] / (1.0 + ring / np.sum(mean * shape**2))
            spring = ring * (2.0 * np.pi * crank.get("damper_hz", own)) ** 2
            self.inertia.insert(0, ring)
            self.stiffness.insert(0, spring)
            self.damping.insert(0, 2.0 * crank["damper_damping"] * np.sqrt(spring * ring))
            self.front, self.flywheel = 1, throws + 2
        self.second = 0.0
        if "dual_mass_flywheel" in scenario:
            dual = DUAL | scenario["dual_mass_flywheel"]
            self.second = dual["secondary_kg_m2"]
            joined = series(self.engine, self.second + scenario["driveline"]["gearbox_kg_m2"])
            self.link(2.0 * np.pi * dual["hz"], dual["damping_ratio"], joined, self.second)

    def link(self, omega, ratio, joined, inertia):
        """Hangs `inertia` behind on a spring with natural frequency `omega` of `joined`."""
        self.stiffness.append(omega**2 * joined)
        self.damping.append(2.0 * ratio * omega * joined)
        self.inertia.append(inertia)

    def put_in(self, scenario, gear):
        """Gearbox input, wheels and vehicle behind it, referred to the crank; the tyre's spring is last."""
        line, box, tyre = LINE | scenario["driveline"], scenario["gearbox"], TYRE | scenario["tyre"]
        ratio = box["ratios"][gear - 1] * box["final_drive"]
        radius = line["wheel_radius_m"]
        input_shaft = line["gearbox_kg_m2"]
        self.link(2.0 * np.pi * line["clutch_hz"], line["clutch_damping"],
                  series(input_shaft, self.second or self.engine), input_shaft)
        self.stiffness += [box["shaft_nm_rad"] / ratio**2,
                           tyre["slip_stiffness_n"] / tyre["relaxation_m"] * radius**2 / ratio**2]
        self.damping += [box["shaft_nm_s_rad"] / ratio**2, 0.0]
        self.inertia += [box["wheel_kg_m2"] / ratio**2, line["vehicle_kg"] * radius**2 / ratio**2]
        self.ratio, self.relaxation_m = ratio, tyre["relaxation_m"]
        return self
