"""Prints what a tooth costs in the library, stage by stage, and in the NumPy classic, on one recording in one run.

    /usr/bin/python3 bench/compare.py --build build/release

Figures are processor time, the least of several rounds: what else the machine does then hardly enters. The ratio is between
the two ways to judge a recording with the same method, and between the library's default and the script.
"""
import argparse
import json
import subprocess
import sys
import tempfile
import time
from functools import partial
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))

import numpy as np  # noqa: E402
from classic_numpy import segment_roughness, stream_roughness  # noqa: E402


def library_figures(bench: Path, rounds: int) -> dict[str, dict[str, float]]:
    """Least seconds a tooth (and other counters) of each benchmark by name."""
    text = subprocess.run(
        [bench, "--benchmark_filter=^(detector|stage)", f"--benchmark_repetitions={rounds}",
         "--benchmark_min_time=0.05", "--benchmark_format=json", "--benchmark_enable_random_interleaving=true"],
        check=True, capture_output=True, text=True,
    ).stdout
    least: dict[str, dict[str, float]] = {}
    for run in json.loads(text)["benchmarks"]:
        if run["run_type"] != "iteration":
            continue
        counters = {k: v for k, v in run.items() if k in ("per_tooth", "misfires", "state_bytes", "p999", "worst")}
        name = run["name"].removesuffix("/iterations:15")
        known = least.setdefault(name, counters)
        for key, value in counters.items():
            known[key] = min(known[key], value)
    return least


def least_seconds(work, ticks: np.ndarray, hz: float, rounds: int) -> float:
    """Least processor time a tooth of one of the two classic scripts."""
    spent = []
    for _ in range(rounds):
        begin = time.process_time()
        work(ticks, hz, 60, 2, 84.0, 180.0)
        spent.append(time.process_time() - begin)
    return min(spent) / ticks.size


def check_same_firings(command: Path, recording: Path, hz: float, folder: Path) -> int:
    """The library's segment roughness and the script's agree firing by firing; else the comparison means nothing."""
    subprocess.run([command, "analyze", recording, "--out", folder / "result", "--method", "segment-roughness"], check=True,
                   capture_output=True)
    rows = np.genfromtxt(folder / "result" / "events.csv", delimiter=",", names=True, dtype=None, encoding="utf-8")
    lu, at = segment_roughness(np.load(recording / "crank.npy"), hz, 60, 2, 84.0, 180.0)
    nearest = np.clip(np.searchsorted(rows["time_s"], at - 1e-3), 0, len(rows) - 1)
    assert np.median(np.abs(rows["time_s"][nearest] - at)) < 1e-4, "the firings are not the same"
    # The library tells its roughness as an acceleration, -2 segment angle LU.
    acceleration = rows["acceleration_rad_s2"][nearest]
    known = np.isfinite(acceleration)
    np.testing.assert_allclose(acceleration[known], -2.0 * np.pi * lu[known], rtol=1e-6, atol=1e-5)
    assert known.sum() > 0.99 * lu.size
    return int(known.sum())


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--build", type=Path, required=True, help="build folder, Release")
    parser.add_argument("--quick", action="store_true", help="few rounds: checks that all runs, figures are rough")
    given = parser.parse_args()
    rounds = 2 if given.quick else 9
    hz = 1.0e9
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        recording = folder / "recording"
        command = given.build / "src/kurbel"
        subprocess.run([command, "simulate", HERE / "inline4.toml", "--npy", "--out", recording], check=True,
                       capture_output=True)
        compared = check_same_firings(command, recording, hz, folder)
        ticks = np.load(recording / "crank.npy")
        scripts = {
            "NumPy, whole recording at once": least_seconds(segment_roughness, ticks, hz, 5 * rounds),
            "NumPy, firing by firing": least_seconds(stream_roughness, ticks, hz, rounds),
            "NumPy, edge by edge": least_seconds(partial(stream_roughness, block=1), ticks[: ticks.size // 4], hz, 2),
        }
        stream = stream_roughness(ticks, hz, 60, 2, 84.0, 180.0)
        whole = segment_roughness(ticks, hz, 60, 2, 84.0, 180.0)[0]
        np.testing.assert_allclose(stream, whole[: stream.size], rtol=1e-6, atol=1e-6 * np.abs(whole).max())
    figures = library_figures(given.build / "bench/kurbel_bench", rounds)

    print(f"one recording, inline four, 60-2 wheel: {ticks.size} teeth; the scripts and the library agree on {compared} firings")
    print(f"{'':34}ns a tooth")
    for name, counters in sorted(figures.items()):
        if "per_tooth" in counters:
            print(f"{name:34}{counters['per_tooth'] * 1e9:10.1f}")
    for name, seconds in scripts.items():
        print(f"{name:34}{seconds * 1e9:10.1f}")
    single = figures["detector/single-push"]
    print(f"one push: 99.9 % below {single['p999'] * 1e6:.1f} us, slowest {single['worst'] * 1e6:.1f} us")
    print(f"state: {figures['detector/double']['state_bytes'] / 1024:.0f} KiB as double, "
          f"{figures['detector/float']['state_bytes'] / 1024:.0f} KiB as float")
    for script, seconds in scripts.items():
        for name in ("detector/double", "detector/segment-roughness"):
            print(f"{script} / {name}: {seconds / figures[name]['per_tooth']:.2f}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
