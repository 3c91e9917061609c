"""Natural frequencies of the crank chain against SciPy's generalised eigenvalues. Usage: torsion_modes.py PROBE SCENARIO..."""
import json
import sys

import numpy as np
from scipy.linalg import eigh

from simulator_physics import Chain, probe, read


def main(program, *paths):
    for path in paths:
        told = json.loads(probe(program, "modes", path))
        inertia, stiffness = np.array(told["inertia_kg_m2"]), np.array(told["stiffness_nm_rad"])
        squares = eigh(Chain.matrix(stiffness), np.diag(inertia), eigvals_only=True)
        hz = np.sqrt(np.maximum(squares, 0.0)) / (2.0 * np.pi)
        difference = np.abs(np.array(told["mode_hz"][1:]) / hz[1:] - 1.0).max()
        chain = Chain(read(path))
        own = np.abs(stiffness / chain.stiffness - 1.0).max()
        print(f"{path}: modes {np.round(hz[1:], 1)} Hz, largest relative difference {difference:.1e}; "
              f"stiffness from the wanted mode differs by {own:.1e}")
        assert difference < 1e-8 and own < 1e-8
        assert abs(told["mode_hz"][1] / read(path)["crank"]["first_torsion_hz"] - 1.0) < 1e-9


if __name__ == "__main__":
    main(*sys.argv[1:])
