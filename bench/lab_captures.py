#!/usr/bin/env python3
"""Waveform edges, decoding and work per firing on a folder of lab captures of a single-cylinder engine.

    PYTHONPATH=build/release/python /usr/bin/python3 bench/lab_captures.py FOLDER

FOLDER holds text files of three columns (seconds, and in either order a 60-2 wheel's coil and a cylinder pressure, both in volts), decimal
point or comma. Each file's wheel channel is the one with the larger swing. A file either decodes by the library's own decoder, or a cause
is told: nothing but noise (the engine stood), no whole revolution from one gap to the next (it was stopping), synchronism lost. An engine
that stops within the capture decodes whole up to there: below half of its usual speed it no longer passes its compression, but
swings back on it, and teeth come again in the opposite order, which one channel cannot see.

Work per firing: the gain of kinetic energy per inertia over the power stroke, from the wheel's teeth alone, beside the mean effective
pressure of the same stroke, from the pressure channel alone; both up to a factor and an offset, since neither inertia nor the
pressure sensor's gain is told. TDC is where pressure peaks in the file with the lowest peak (nearest to motoring). Files whose
number in order of name is divisible by three are those that settings may be tuned on; figures are printed apart for the rest.
"""
import pathlib
import sys

import numpy as np

import kurbel

TEETH = 58
ENGINE = {"strokes": 4, "cylinders": 1, "firing_order": [1]}
WHEEL = {"positions": 60, "absent": [58, 59], "tdc1_deg": 0.0}


def load(path: pathlib.Path) -> np.ndarray:
    text = path.read_bytes().decode("utf-8", "replace").replace(",", ".")
    rows = [line.split() for line in text.splitlines()]
    return np.array([[float(word) for word in row] for row in rows if len(row) == 3])


def crank_angle(time_s: np.ndarray) -> tuple[np.ndarray, int] | None:
    """Turns of each edge, by the gaps; None without two gaps. Edges that do not fit are counted."""
    step = np.diff(time_s)
    ratio = step[1:-1] / np.minimum(step[:-2], step[2:])
    gaps = np.flatnonzero(ratio > 2.0) + 2
    if gaps.size < 2:
        return None
    wrong = int(np.sum(np.diff(gaps) != TEETH))
    index = np.arange(time_s.size) - gaps[0]
    return index // TEETH + (index % TEETH) / 60.0, wrong


def stops_at(time_s: np.ndarray) -> int:
    """How many edges come before the engine falls below half of its usual speed for good; all where it does not."""
    step = np.diff(time_s)
    usual = np.median(step)
    if step[-3:].min() < 2.0 * usual:
        return time_s.size
    return int(np.flatnonzero(step < 2.0 * usual)[-1]) + 2


def firings(data: np.ndarray, wheel: int, time_s: np.ndarray, turns: np.ndarray, tdc: float) -> list[tuple[float, float]]:
    """Per power stroke: energy per inertia gained, and pressure work in volts times share of the stroke's volume."""
    out = []
    pressure = data[:, 3 - wheel]
    for turn in range(int(np.ceil(turns[0] - tdc)), int(np.floor(turns[-1] - tdc))):
        start = turn + tdc
        if start - 0.15 < turns[0] or start + 0.65 > turns[-1]:
            continue
        angle = start + np.linspace(-0.05, 0.5, 200)
        at = np.interp(angle, turns, time_s)
        volts = np.interp(at, data[:, 0], pressure)
        speed = [2 * np.pi * 0.1 / (np.interp(start + x + 0.05, turns, time_s) - np.interp(start + x - 0.05, turns, time_s)) for x in (0.0, 0.25)]
        x = 2 * np.pi * (angle - start)
        volume = 0.5 * (1 - np.cos(x)) + 0.125 * 0.5 * (1 - np.cos(2 * x))
        level = np.interp(np.interp(start + 0.55, turns, time_s), data[:, 0], pressure)
        out.append((0.5 * (speed[1] ** 2 - speed[0] ** 2), float(np.trapz(volts - level, volume)), float(np.max(volts) - level)))
    # Every second one is gas exchange: the half with the higher peaks is the power stroke.
    halves = [out[0::2], out[1::2]]
    return max(halves, key=lambda half: np.mean([row[2] for row in half]) if half else -1e9)


def main() -> int:
    files = sorted(path for path in pathlib.Path(sys.argv[1]).iterdir() if path.is_file())
    decoded = {}
    counts = {"decoded whole": 0, "synchronism lost or edges too many or too few": 0, "no whole revolution": 0, "nothing but noise": 0}
    for number, path in enumerate(files):
        data = load(path)
        wheel = 1 if np.ptp(data[:, 1]) > np.ptp(data[:, 2]) else 2
        found = kurbel.edges_from_waveform(data[:, wheel], 1.0 / np.median(np.diff(data[:, 0])))
        if "no_signal" in found.report.findings:
            counts["nothing but noise"] += 1
            continue
        time_s = found.edges["time_s"] + data[0, 0]
        sync = kurbel.analyze(ticks=found.ticks[: stops_at(time_s)], engine=ENGINE, crank_wheel=WHEEL).sync
        clean = sync.losses == sync.extra == sync.missed == 0
        outcome = "no whole revolution" if sync.revolutions == 0 and clean else list(counts)[0 if clean else 1]
        counts[outcome] += 1
        if outcome == "decoded whole" and stops_at(time_s) < time_s.size:
            print(f"{number}: decoded whole until the engine stops, {time_s.size - stops_at(time_s)} edges before the end")
        if outcome != "decoded whole":
            print(f"{number}: {outcome}; {sync}")
        angle = crank_angle(time_s)
        if angle is not None and time_s.size > 1200 and angle[1] == 0:
            decoded[number] = (data, wheel, time_s, angle[0])
    print(counts, "of", len(files))
    # Place of the pressure's peak in the capture with the lowest one.
    lowest = min(decoded, key=lambda n: np.percentile(decoded[n][0][:, 3 - decoded[n][1]], 99.5))
    data, wheel, time_s, turns = decoded[lowest]
    peak = [np.interp(data[i * 4000 + np.argmax(data[i * 4000 : i * 4000 + 4000, 3 - wheel]), 0], time_s, turns) % 1.0 for i in range(1, 11)]
    tdc = float(np.median(peak))
    rows = []
    for number, (data, wheel, time_s, turns) in decoded.items():
        for energy, work, _ in firings(data, wheel, time_s, turns, tdc):
            rows.append((number, energy, work))
    table = np.array(rows)
    for name, keep in (("tuned on", table[:, 0] % 3 == 0), ("not tuned on", table[:, 0] % 3 != 0)):
        part = table[keep]
        fit = np.polyfit(part[:, 2], part[:, 1], 1)
        left = part[:, 1] - np.polyval(fit, part[:, 2])
        files_here = np.unique(part[:, 0])
        means = np.array([part[part[:, 0] == n][:, 1:].mean(axis=0) for n in files_here])
        within = np.concatenate([part[part[:, 0] == n][:, 1:] - part[part[:, 0] == n][:, 1:].mean(axis=0) for n in files_here])
        print(
            f"{name}: {files_here.size} files, {len(part)} firings; correlation {np.corrcoef(part[:, 1], part[:, 2])[0, 1]:.3f}, "
            f"of file means {np.corrcoef(means.T)[0, 1]:.3f}, within files {np.corrcoef(within.T)[0, 1]:.3f}; "
            f"rms left {np.std(left) / np.mean(part[:, 1]):.3f} of the mean"
        )
    return 0


if __name__ == "__main__":
    sys.exit(main())
