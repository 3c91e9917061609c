"""Mean work and cycle-to-cycle scatter of kurbel work against NumPy's own reckoning from truth.csv, without and with tooth jitter.

COV is the standard deviation of the work of one cylinder's cycles over its mean (Heywood 1988, eq. 9.50). What jitter adds is to be taken
out again: the figures with it must be those without it. Arguments: the kurbel program, an engine file. Scenario: invented.
"""
import csv
import json
import pathlib
import subprocess
import sys
import tempfile

import numpy as np

PROGRAM, ENGINE = sys.argv[1], pathlib.Path(sys.argv[2]).resolve()
SCENARIO = """\
engine_file = "{engine}"

[scenario]
seed = 12
seconds = 30

[operation]
mode = "neutral"
speed_rpm = 1900

[combustion]
scatter_low_load = 0.05
cylinder_factor = [1.0, 1.0, 0.93, 1.0]

[wheel_error]
jitter_deg = {jitter}
"""


def study(folder, jitter):
    """(rows of the answer by cylinder, work of each cylinder's firings in joules)"""
    (folder / "scenario.toml").write_text(SCENARIO.format(engine=ENGINE.as_posix(), jitter=jitter))
    recording, out = folder / "recording", folder / "answer"
    for call in (["simulate", folder / "scenario.toml", "--out", recording], ["work", recording, "--out", out]):
        subprocess.run([PROGRAM, *map(str, call)], check=True, stdout=subprocess.DEVNULL)
    rows = json.loads((out / "answer.json").read_text())["evidence"]["cylinders"]
    work = {}
    for row in csv.DictReader((recording / "truth.csv").read_text().splitlines()):
        work.setdefault(int(row["cylinder"]), []).append(float(row["work_j"]))
    return {row["cylinder"]: row for row in rows}, {c: np.array(values) for c, values in work.items()}


def main():
    spread = {}
    for jitter in (0.0, 0.06):
        with tempfile.TemporaryDirectory() as scratch:
            rows, work = study(pathlib.Path(scratch), jitter)
        mean = {c: values.mean() for c, values in work.items()}
        for c, values in sorted(work.items()):
            row = rows[c]
            true = 100.0 * np.std(values, ddof=1) / mean[c]
            others = np.mean([mean[o] for o in mean if o != c])
            told_j = row["scatter_percent"] / 100.0 * row["work_j"]
            true_j = np.std(values, ddof=1)
            beyond = 100.0 * (mean[c] / others - 1.0)
            to_partner = 100.0 * (mean[c] - mean[row["partner"]]) / np.mean(list(mean.values()))
            print(f"jitter {jitter:.2f} deg, cylinder {c}: scatter {row['scatter_percent']:.1f} % ({row['scatter_low']:.1f} to "
                  f"{row['scatter_high']:.1f}), truth {true:.1f} %; {told_j:.2f} J, truth {true_j:.2f} J; against the others "
                  f"{row['percent']:.1f} %, truth {beyond:.1f} %; against the partner {row['to_partner_percent']:.1f} %, "
                  f"truth {to_partner:.1f} %")
            assert row["scatter_low"] <= true <= row["scatter_high"], "scatter's range"
            # In joules the mean's size cancels; 470 cycles tell a standard deviation to 4 %, the burn's shape and the torsion to 15 %.
            assert abs(told_j / true_j - 1.0) < 0.20, "scatter in joules"
            assert row["work_low_j"] <= mean[c] <= row["work_high_j"], "work's range"
            assert row["low"] <= beyond <= row["high"], "against the others"
            assert row["to_partner_low"] <= to_partner <= row["to_partner_high"], "against the partner"
            spread.setdefault(c, []).append(told_j)
    for c, (quiet, noisy) in spread.items():
        assert abs(noisy / quiet - 1.0) < 0.12, f"cylinder {c}: jitter changed the scatter from {quiet:.2f} to {noisy:.2f} J"


main()
