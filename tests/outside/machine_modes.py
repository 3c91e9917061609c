"""Natural frequencies of every shipped engine, alone and in each gear, against SciPy's generalised eigenvalues of a chain
that NumPy builds anew from the file. Usage: machine_modes.py PROBE FOLDER.

What they should be near, values from memory: dual-mass flywheel 8 to 15 Hz, shuffle 2 to 8 Hz for a car, rising with the
gear.
"""
import json
import pathlib
import sys

import numpy as np

from machine_chain import Machine, natural_hz, probe, read


def main(program, folder):
    paths = sorted(pathlib.Path(folder).glob("*.toml"))
    assert len(paths) >= 30, paths
    worst = 0.0
    for path in paths:
        scenario = read(path)
        told = json.loads(probe(program, "modes", path))
        gears = len(scenario["gearbox"]["ratios"])
        assert len(told) == gears + 1
        shuffle = []
        for gear, chain in enumerate(told):
            own = Machine(scenario) if gear == 0 else Machine(scenario).put_in(scenario, gear)
            assert np.allclose(own.inertia, chain["inertia_kg_m2"], rtol=1e-9), (path, gear)
            assert np.allclose(own.stiffness, chain["stiffness_nm_rad"], rtol=1e-8), (path, gear)
            hz = natural_hz(own.inertia, own.stiffness)
            worst = max(worst, np.abs(np.array(chain["mode_hz"][1:]) / hz[1:] - 1.0).max())
            if gear > 0:
                shuffle.append(hz[1])
        alone = natural_hz(Machine(scenario).inertia, Machine(scenario).stiffness)
        print(f"{path.stem}: crank {np.round(alone[1:3], 1)} Hz, shuffle {np.round(shuffle, 2)} Hz")
        assert all(np.diff(shuffle) > 0.0), "shuffle rises with the gear"
        if ", car," in path.read_text().splitlines()[0]:
            assert shuffle[0] > 1.5 and shuffle[-1] < 10.0
        if "dual_mass_flywheel" in scenario:
            assert 8.0 < alone[1] < 15.0
        if "damper_kg_m2" in scenario["crank"]:
            first = scenario["crank"]["first_torsion_hz"]
            low, high = alone[alone > 50.0][:2]
            assert low < first < high, "a damper splits the mode that it is tuned to"
    print(f"largest relative difference to SciPy: {worst:.1e}")
    assert worst < 1e-8


if __name__ == "__main__":
    main(*sys.argv[1:])
