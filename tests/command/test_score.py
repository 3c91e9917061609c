"""score: figures against a count made here, from the same files."""

import csv
import json

import pytest
from conftest import run


def rows_of(path):
    with open(path, newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture
def result(recording, tmp_path):
    assert run("analyze", recording, "--out", tmp_path / "result").returncode == 0
    return tmp_path / "result"


def test_figures(result, recording, tmp_path):
    done = run("score", result, "--truth", recording, "--json", tmp_path / "score.json")
    assert done.returncode == 0, done.stderr
    figures = json.loads((tmp_path / "score.json").read_text())
    events = [(float(row["time_s"]), row["verdict"]) for row in rows_of(result / "events.csv")]
    truth = [(float(row["time_s"]), float(row["severity"])) for row in rows_of(recording / "truth.csv")]
    matched = {}
    for time, verdict in events:
        nearest = min(truth, key=lambda row: abs(row[0] - time))
        assert abs(nearest[0] - time) < 0.005
        matched[nearest] = verdict
    lost = [row for row in truth if row[1] == 1.0]
    assert figures["missed"]["of"] == len(lost)
    assert figures["missed"]["count"] == sum(matched.get(row) != "misfire" for row in lost)
    healthy = [row for row in truth if row[1] == 0.0 and matched.get(row) in ("fired", "misfire")]
    assert figures["false_alarms"]["of"] == len(healthy)
    assert figures["false_alarms"]["count"] == sum(matched[row] == "misfire" for row in healthy)
    assert figures["truth_firings"] == len(truth)
    assert figures["absent"] == len(truth) - len(matched)
    assert figures["surplus"] == 0
    assert figures["wrong_cylinder"]["count"] == 0 and figures["misnamed"]["count"] == 0
    assert figures["missed"]["rate_low"] <= figures["missed"]["rate"] <= figures["missed"]["rate_high"]
    assert done.stdout.splitlines()[0].endswith("healthy firings.")


def test_truth_of_another_recording_shows(result, recording):
    lines = (recording / "truth.csv").read_text().splitlines()
    moved = [lines[0]]
    for line in lines[1:]:
        time, rest = line.split(",", 1)
        moved.append(f"{float(time) + 0.015:.9f},{rest}")
    (recording / "truth.csv").write_text("\n".join(moved) + "\n")
    done = run("score", result, "--truth", recording)
    assert done.returncode == 0
    surplus = next(line for line in done.stdout.splitlines() if line.strip().startswith("surplus events"))
    assert int(surplus.split()[2]) > 500


def test_truth_of_other_edges_is_refused(result, recording):
    with open(recording / "edges.csv", "a") as file:
        file.write("99.0,crank\n")
    done = run("score", result, "--truth", recording)
    assert done.returncode == 3
    assert done.stderr.startswith(f"kurbel: {recording}/edges.csv: is not what {result} was made of")


def test_json_that_cannot_be_written(result, recording, tmp_path):
    target = recording / "edges.csv" / "score.json"
    done = run("score", result, "--truth", recording, "--json", target)
    assert (done.returncode, done.stderr) == (3, f"kurbel: {target}: cannot be written\n")
