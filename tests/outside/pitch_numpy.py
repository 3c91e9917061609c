"""Learned teeth against the simulator's truth and against a least-squares fit written anew in NumPy.

The fit is the classic one for motoring (Kiencke & Nielsen, Automotive Control Systems, from memory): the deviation of each tooth
from a smooth run, regressed tooth by tooth on 1 and 1/speed^2 (compression swings the crank by 1/speed^2, the wheel stays);
what reciprocating masses do at every speed is taken off by the energy of the pistons, integrated here by SciPy.
Arguments: the kurbel program, a scenario.
"""
import csv
import pathlib
import subprocess
import sys
import tempfile
import tomllib

import numpy as np
from scipy.integrate import cumulative_trapezoid

PROGRAM, SCENARIO = sys.argv[1], sys.argv[2]


def run(*arguments):
    subprocess.run([PROGRAM, *map(str, arguments)], check=True, stdout=subprocess.DEVNULL)


def columns(path):
    with open(path, newline="") as file:
        return list(csv.DictReader(file))


def piston_swing_deg(engine, crank_deg):
    """How far the crank runs ahead of an even run at these angles because the pistons take and give energy."""
    radius, rod = engine["stroke_mm"] / 2000.0, engine["rod_mm"] / 1000.0
    angle = np.linspace(0.0, 2.0 * np.pi, 7201)
    inertia = np.full_like(angle, engine["inertia_kg_m2"])
    for place in range(engine["cylinders"]):
        own = angle - np.radians(place * 720.0 / engine["cylinders"])
        way = radius * np.cos(own) + np.sqrt(rod**2 - (radius * np.sin(own)) ** 2)
        inertia += engine["reciprocating_kg"] * np.gradient(way, angle) ** 2
    seconds = cumulative_trapezoid(np.sqrt(inertia), angle, initial=0.0)  # constant energy: speed goes with 1/sqrt(J)
    ahead = angle - 2.0 * np.pi * seconds / seconds[-1]
    return np.degrees(np.interp(np.radians(crank_deg) % (2.0 * np.pi), angle, ahead))


def fit(folder, scenario):
    """Error of each tooth by least squares, degrees, mean 0."""
    recording = tomllib.loads((folder / "recording.toml").read_text())
    hz, bits = recording["timer"]["hz"], recording["timer"]["bits"]
    raw = [int(row["tick"]) for row in columns(folder / "edges.csv")]
    signal = [row["signal"] for row in columns(folder / "edges.csv")]
    ticks = np.cumsum(np.diff(raw, prepend=raw[0]) % 2**bits)
    crank = np.array([s == "crank" for s in signal])
    place = np.array([int(row["place"]) for row in columns(folder / "truth_edges.csv")])[crank]
    time = ticks[crank] / hz
    first = int(np.argmax(place == 0))
    teeth = 58
    time, place = time[first:], place[first:]
    assert np.array_equal(place, np.resize(np.arange(teeth), len(place)))
    nominal = np.arange(teeth) * 6.0
    seen, weight = [], []
    cycle = 2 * teeth
    for begin in range(cycle, len(time) - 2 * cycle - 1, cycle):
        # A cubic through the same tooth at four ends of cycles: nothing that repeats bends it.
        ends = time[[begin - cycle, begin, begin + cycle, begin + 2 * cycle]]
        smooth = np.polyfit(ends - ends[1], [-720.0, 0.0, 720.0, 1440.0], 3)
        here = np.polyval(smooth, time[begin : begin + cycle] - ends[1])
        both = here.reshape(2, teeth) - nominal - np.array([[0.0], [360.0]])
        seen.append(both.mean(axis=0))
        weight.append((200.0 / (4.0 * np.pi / (ends[2] - ends[1]))) ** 2)
    table = np.column_stack([np.ones(len(seen)), weight])
    error = np.linalg.lstsq(table, np.array(seen), rcond=None)[0][0]
    error += piston_swing_deg(scenario["engine"], nominal - scenario["crank_wheel"]["tdc1_deg"])
    return error - error.mean()


def rms(values):
    return float(np.sqrt(np.mean(np.square(values))))


def main():
    scenario = tomllib.loads(pathlib.Path(SCENARIO).read_text())
    with tempfile.TemporaryDirectory() as temporary:
        folder = pathlib.Path(temporary) / "coasting"
        run("simulate", SCENARIO, "--out", folder, "--full-truth")
        run("learn-wheel", folder, "--out", pathlib.Path(temporary) / "wheel.toml")
        learned = tomllib.loads((pathlib.Path(temporary) / "wheel.toml").read_text())["learned"]
        wheel = columns(folder / "truth_wheel.csv")
        numpy_error = fit(folder, scenario)
    truth = np.array([float(row["true_deg"]) - float(row["nominal_deg"]) for row in wheel])
    truth -= truth.mean()
    ours, stated = np.array(learned["error_deg"]), np.array(learned["standard_error_deg"])
    print(f"wheel {rms(truth):.4f} deg rms; left: ours {rms(ours - truth):.4f} (stated {rms(stated):.4f}), "
          f"NumPy {rms(numpy_error - truth):.4f}; apart {rms(ours - numpy_error):.4f}")
    assert rms(truth) > 0.05, "the wheel must be uneven, else nothing is asked"
    assert rms(numpy_error - truth) < 0.03, "the reference itself must find the wheel"
    assert rms(ours - numpy_error) < 0.03
    assert rms(ours - truth) <= 0.01
    assert rms(ours - truth) < 2.5 * rms(stated)


main()
