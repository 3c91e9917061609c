#!/usr/bin/env python3
"""What sampling rate and speed cost in detection: a coil's voltage, sampled, its edges found, the detector run on them.

    PYTHONPATH=build/release/python /usr/bin/python3 bench/waveform_detection.py --kurbel build/release/src/kurbel

For each speed the co-operative's five-cylinder runs with one firing in twenty lost; `simulate --waveform` samples its coil (60-2, noise
10 mV). Printed: misses and false alarms with ready edges (no sampling at all), and with edges of the waveform at each rate.
The data are invented; the truth is the simulator's own.
"""
import argparse
import csv
import pathlib
import shutil
import subprocess
import tempfile

import numpy as np

import kurbel

SCENARIO = """
engine_file = "{engines}/inline5.toml"

[scenario]
seed = {seed}
seconds = {seconds}

[operation]
mode = "hold"
speed_rpm = {rpm}
load_share = 0.4

[crank_wheel]
positions = 60
absent = [58, 59]

[sensor]
kind = "inductive"
noise_v = 0.01

[wheel_error]
pitch_deg = 0.03

[[misfire]]
pattern = "random"
rate = 0.05
"""


def score(program: str, recording: pathlib.Path, work: pathlib.Path) -> tuple[int, int, int, int]:
    """Lost firings, misses, healthy firings, false alarms, of the judged ones."""
    result = work / "result"
    shutil.rmtree(result, ignore_errors=True)
    subprocess.run([program, "analyze", str(recording), "--out", str(result)], check=True, capture_output=True)
    truth = list(csv.DictReader(open(recording / "truth.csv", encoding="utf-8")))
    times = np.array([float(row["time_s"]) for row in truth])
    lost = misses = healthy = false = 0
    for event in csv.DictReader(open(result / "events.csv", encoding="utf-8")):
        if event["verdict"] == "unjudged" or not event["cylinder"]:
            continue
        nearest = truth[int(np.argmin(np.abs(times - float(event["time_s"]))))]
        if nearest["cylinder"] != event["cylinder"]:
            continue
        gone = float(nearest["severity"]) > 0.5
        called = event["verdict"] == "misfire"
        lost += gone
        misses += gone and not called
        healthy += not gone
        false += called and not gone
    return lost, misses, healthy, false


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--kurbel", required=True)
    parser.add_argument("--seconds", type=float, default=30.0)
    parser.add_argument("--rpm", type=float, nargs="+", default=[800, 2000, 4000, 6000])
    parser.add_argument("--rates", type=float, nargs="+", default=[20e3, 50e3, 100e3, 500e3])
    parser.add_argument("--engines", default=str(pathlib.Path(__file__).resolve().parent.parent / "datasets" / "engines"))
    options = parser.parse_args()
    print("| rpm | sampling | samples a tooth | teeth | rms error, us | missed | false |\n|---|---|---|---|---|---|---|")
    for rpm in options.rpm:
        with tempfile.TemporaryDirectory() as folder:
            work = pathlib.Path(folder)
            scenario = work / "scenario.toml"
            scenario.write_text(SCENARIO.format(engines=options.engines, seed=int(rpm) + 1, seconds=options.seconds, rpm=rpm))
            for rate in [None, *options.rates]:
                recording = work / "recording"
                shutil.rmtree(recording, ignore_errors=True)
                more = [] if rate is None else ["--waveform", str(work / "wave.npy"), "--rate", str(int(rate))]
                subprocess.run([options.kurbel, "simulate", str(scenario), "--out", str(recording), *more], check=True, capture_output=True)
                teeth = error = float("nan")
                if rate is not None:
                    with open(recording / "edges.csv", encoding="utf-8") as file:
                        rows = list(csv.DictReader(file))
                    # Without a [timer] the recording is in seconds. The cam's edges stay as they are.
                    cam_s = np.array([float(row["time_s"]) for row in rows if row["signal"] == "cam"])
                    true_s = np.array([float(row["time_s"]) for row in rows if row["signal"] == "crank"])
                    found = kurbel.edges_from_waveform(np.load(work / "wave.npy"), rate)
                    time_s = found.edges["time_s"]
                    # The nearest ready edge; half a tooth lasts 0.5 / rpm seconds.
                    off = time_s - true_s[np.clip(np.searchsorted(true_s, time_s - 0.5 / rpm), 0, true_s.size - 1)]
                    off = off[np.abs(off) < 0.3 / rpm]
                    teeth, error = time_s.size / true_s.size, float(np.sqrt(np.mean((off - np.median(off)) ** 2)) * 1e6)
                    (recording / "edges.csv").unlink()
                    np.save(recording / "crank.npy", time_s)
                    np.save(recording / "cam.npy", cam_s)
                lost, misses, healthy, false = score(options.kurbel, recording, work)
                name = "ready edges" if rate is None else f"{rate / 1e3:g} kHz"
                per = "" if rate is None else f"{rate / rpm:.1f}"
                print(f"| {rpm:g} | {name} | {per} | {teeth:.4f} | {error:.2f} | {misses} of {lost} | {false} of {healthy} |", flush=True)


if __name__ == "__main__":
    main()
