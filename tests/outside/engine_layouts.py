"""The shipped engines against what the trade knows of each layout, and the torque orders that follow from it.

Usage: engine_layouts.py PROBE FOLDER.
1. Firing intervals, and firing TDCs that follow from the angles of crank pins and banks: a piston is at TDC where its pin
   points along its bank, so TDC (mod 360) = pin angle + bank angle, both counted against the rotation from cylinder 1's.
   Intervals, throws and bank angles: trade facts, values from memory, no single source.
2. At constant speed each order of the torque is one cylinder's order times the sum of the phasors of the TDCs (Den Hartog,
   Mechanical Vibrations; from memory). The simulator's crank, too heavy by a million to change its speed, must gather
   just that: for all orders up to 24, the amplitude and phase of its momentum against the phasor sum of a single cylinder,
   itself simulated alone. Which orders vanish is asserted from the layout, not from the sum.
"""
import pathlib
import sys
import tempfile

import numpy as np

from machine_chain import probe, read

# name: intervals in firing order, pin angle of each throw, bank angle of each bank, split of the second bank's pins
FLAT, CROSS = [0, 180, 180, 0], [0, 90, 270, 180]
SIX, V10 = [0, 120, 240, 240, 120, 0], [0, 288, 72, 216, 144]
LAYOUTS = {
    "single": ([720], [0], [0], 0), "single-125": ([720], [0], [0], 0),
    "vtwin-45": ([315, 405], [0], [0, -45], 0), "vtwin-60": ([300, 420], [0], [0, -60], 0),
    "vtwin-90": ([270, 450], [0], [0, -90], 0),
    "twin-360": ([360, 360], [0, 0], [0], 0), "twin-180": ([180, 540], [0, 180], [0], 0),
    "twin-270": ([270, 450], [0, 270], [0], 0),
    "inline3": ([240] * 3, [0, 120, 240], [0], 0),
    "inline4": ([180] * 4, FLAT, [0], 0), "inline4-dual-mass": ([180] * 4, FLAT, [0], 0),
    "inline4-motorcycle": ([180] * 4, FLAT, [0], 0), "inline4-diesel": ([180] * 4, FLAT, [0], 0),
    "inline4-crossplane": ([270, 180, 90, 180], CROSS, [0], 0),
    "inline5": ([144] * 5, [0, 144, 216, 288, 72], [0], 0),
    "inline6": ([120] * 6, SIX, [0], 0), "inline6-diesel-truck": ([120] * 6, SIX, [0], 0),
    "boxer4": ([180] * 4, [0, 180, 180, 0], [0, 180], 0),
    "boxer6": ([120] * 6, [0, 180, 240, 60, 120, 300], [0, 180], 0),
    "v4-90-crank180": ([180, 270, 180, 90], [0, 180], [0, 90], 0),
    "v4-90-crank360": ([90, 270, 90, 270], [0, 0], [0, 90], 0),
    "v6-60": ([120] * 6, [0, 60, 240, 300, 120, 180], [0, 60], 0),
    "v6-90-split": ([120] * 6, [0, 120, 240], [0, -90], -30),
    "v6-90-semi-even": ([132, 108] * 3, [0, 120, 240], [0, -90], -18),
    "v6-90-oddfire": ([150, 90] * 3, [0, 120, 240], [0, -90], 0),
    "v8-crossplane": ([90] * 8, [0, 270, 90, 180], [0, -90], 0),
    "v8-flatplane": ([90] * 8, FLAT, [0, 90], 0),
    "v10-72": ([72] * 10, V10, [0, -72], 0), "v10-90-split": ([72] * 10, V10, [0, -90], 18),
    "v10-90-oddfire": ([54, 90] * 5, V10, [0, -90], 0),
    "v12-60": ([60] * 12, SIX, [0, 60], 0),
    "two-stroke-single": ([360], [0], [0], 0), "two-stroke-twin": ([180, 180], [0, 180], [0], 0),
    "two-stroke-inline3": ([120] * 3, [0, 240, 120], [0], 0),
}
RPM, LOAD, HIGHEST = 3000.0, 0.6, 24


def check_geometry(name, engine):
    intervals, pins, banks, split = LAYOUTS[name]
    cycle = 720.0 if engine.get("strokes", 4) == 4 else 360.0
    tdc = np.array(engine["firing_tdc_deg"], float)
    assert np.allclose(np.diff([*tdc, cycle]), intervals), name
    for number, angle in zip(engine["firing_order"], tdc):
        bank = engine.get("bank", [1] * len(tdc))[number - 1] - 1
        expected = pins[engine["throw"][number - 1] - 1] + banks[bank] + (split if bank == 1 else 0)
        assert abs((angle - expected + 180.0) % 360.0 - 180.0) < 1e-9, (name, number, angle, expected)
    return cycle, tdc


def torque_orders(program, path, cycle):
    """Complex amplitudes of the torque on the whole crank, multiples of one a cycle."""
    rows = np.array([[float(v) for v in line.split(",")] for line in probe(program, "orders", path, RPM, LOAD).splitlines()])
    gathered = np.diff(rows[:, 1])  # torque times time, each over one interval
    h = np.arange(1, HIGHEST * round(cycle / 360.0) + 1)
    return h, np.fft.rfft(gathered)[h]


def alone(path):
    """The file with cylinder 1 alone; the crank's inertia stays."""
    text, engine = [], False
    for line in path.read_text().splitlines():
        engine = line.startswith("[engine]") if line.startswith("[") else engine
        for key, value in dict(cylinders=1, firing_order=[1], firing_tdc_deg=[0], throw=[1], bank=[1]).items():
            if engine and line.startswith(f"{key} ="):
                line = f"{key} = {value}"
        text.append(line)
    return "\n".join(text)


def main(program, folder):
    paths = {path.stem: path for path in pathlib.Path(folder).glob("*.toml")}
    assert paths.keys() == LAYOUTS.keys(), paths.keys() ^ LAYOUTS.keys()
    worst = 0.0
    for name, path in sorted(paths.items()):
        engine = read(path)["engine"]
        cycle, tdc = check_geometry(name, engine)
        h, whole = torque_orders(program, path, cycle)
        with tempfile.NamedTemporaryFile("w", suffix=".toml") as file:
            file.write(alone(path))
            file.flush()
            _, one = torque_orders(program, file.name, cycle)
        phasors = np.exp(-2j * np.pi * np.outer(h, tdc) / cycle).sum(axis=1)
        error = np.abs(whole - one * phasors).max() / np.abs(one).max()
        strongest = h[np.argmax(np.abs(whole))] * 360.0 / cycle
        print(f"{name}: strongest order {strongest:g}, against phasor sums {error:.1e}")
        worst = max(worst, error)
        if len(set(LAYOUTS[name][0])) == 1:  # even firing leaves the multiples of the number of cylinders alone
            silent = np.abs(whole[h % len(tdc) != 0])
            assert silent.size == 0 or silent.max() < 1e-4 * np.abs(whole).max(), name
        elif len(tdc) == 2:
            assert abs(whole[0]) > 0.05 * np.abs(whole).max(), "an uneven twin shakes once a cycle"
    print(f"largest difference, relative to one cylinder's strongest order: {worst:.1e}")
    assert worst < 1e-5


if __name__ == "__main__":
    main(*sys.argv[1:])
