"""kurbel work and kurbel cranking: what is told, what is written, and what is refused."""
import csv
import json
import xml.etree.ElementTree as xml

import pytest

from conftest import ROOT, make_edges, run, write_recording

DATASETS = ROOT / "datasets"
SVG = "{http://www.w3.org/2000/svg}"
WORDS = {"even", "uneven", "undecided"}


def answer_of(folder):
    answer = json.loads((folder / "answer.json").read_text())
    assert set(answer) == {"study", "question", "verdict", "sentence", "evidence", "cautions", "version"}
    assert answer["verdict"] in WORDS and answer["question"].endswith("?") and answer["cautions"]
    return answer


def words_of(folder):
    """All text of the picture."""
    picture = xml.parse(folder / "picture.svg").getroot()
    assert picture.tag == SVG + "svg" and picture.find(SVG + "title") is not None
    return " ".join("".join(element.itertext()) for element in picture.iter(SVG + "text"))


def simulated(tmp_path, name, **changes):
    """A recording of the shipped scenario cell `name`, keys replaced by `changes`."""
    text = (DATASETS / "cells" / f"{name}.toml").read_text()
    text = text.replace("engines/", f"{(DATASETS / 'cells').as_posix()}/engines/")
    for old, new in changes.values():
        assert old in text
        text = text.replace(old, new)
    (tmp_path / "scenario.toml").write_text(text)
    done = run("simulate", tmp_path / "scenario.toml", "--seed", 9, "--out", tmp_path / "recording")
    assert done.returncode == 0, done.stderr
    return tmp_path / "recording"


def test_work_finds_the_weak_cylinder_and_shows_it(tmp_path):
    recording = simulated(tmp_path, "speed-idle-neutral", length=("seconds = 120", "seconds = 60"),
                          misfires=('[[misfire]]\npattern = "random"\nrate = 0.03',
                                    "[combustion]\ncylinder_factor = [1.0, 0.85, 1.0, 1.0]"))
    done = run("work", recording, "--out", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("Uneven: cylinder 2 does 1") and "less work" in done.stdout
    assert "Cautions" in done.stdout
    assert all(len(line) <= 100 for line in done.stdout.splitlines() if not line.startswith("Written to"))
    answer = answer_of(tmp_path / "out")
    assert answer["study"] == "work" and answer["verdict"] == "uneven"
    rows = {row["cylinder"]: row for row in answer["evidence"]["cylinders"]}
    assert sorted(rows) == [1, 2, 3, 4] and [c for c, row in rows.items() if row["differs"]] == [2]
    for row in rows.values():
        assert row["low"] < row["percent"] < row["high"]
        assert row["to_partner_low"] < row["to_partner_percent"] < row["to_partner_high"]
        assert 0 < row["work_low_j"] < row["work_j"] < row["work_high_j"]
        assert 0 <= row["scatter_low"] < row["scatter_percent"] < row["scatter_high"]
    assert {row["partner"] for row in rows.values()} == {1, 2, 3, 4}
    words = words_of(tmp_path / "out")
    assert "Work per cylinder: uneven" in words and all(f"cylinder {c}" in words for c in rows) and "differs" in words


def test_a_wider_limit_takes_the_verdict_back(tmp_path):
    idle = DATASETS / "pickup-1-before"  # cylinder 4 misfires
    assert run("work", idle, "--out", tmp_path / "strict").returncode == 0
    assert run("work", idle, "--limit", 30, "--out", tmp_path / "wide").returncode == 0
    strict, wide = answer_of(tmp_path / "strict"), answer_of(tmp_path / "wide")
    assert strict["verdict"] == "uneven" and wide["verdict"] != "uneven"
    assert strict["evidence"]["limit_percent"] == 2 and wide["evidence"]["limit_percent"] == 30


def test_cranking_names_the_leak_as_its_truth_has_it(tmp_path):
    done = run("cranking", DATASETS / "pickup-cranking", "--limit", 4, "--out", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("Below the others: cylinder 5 with 9") and "gas escapes" in done.stdout
    assert "wear that all cylinders share" in done.stdout and "common practice, no source" in done.stdout
    answer = answer_of(tmp_path / "out")
    assert answer["study"] == "cranking" and answer["verdict"] == "uneven"
    evidence = answer["evidence"]
    pressure = {}
    for row in csv.DictReader((DATASETS / "pickup-cranking" / "truth.csv").read_text().splitlines()):
        if evidence["begin_s"] <= float(row["time_s"]) <= evidence["end_s"]:
            pressure.setdefault(int(row["cylinder"]), []).append(float(row["tdc_bar"]))
    mean = {cylinder: sum(values) / len(values) for cylinder, values in pressure.items()}
    best = max(mean.values())
    assert [row["cylinder"] for row in evidence["cylinders"]] == [1, 2, 3, 4, 5]
    for row in evidence["cylinders"]:
        assert row["low"] <= 100 * mean[row["cylinder"]] / best <= row["high"]
        assert row["below_limit"] == (row["cylinder"] == 5)
    assert "equal_wear" in evidence and "usual" in evidence
    assert any("disable fuel" in sentence for sentence in answer["cautions"])
    assert any("starter" in sentence and "battery" in sentence for sentence in answer["cautions"])
    words = words_of(tmp_path / "out")
    assert "Relative compression: uneven" in words and "below limit" in words and "limit 96 %" in words


def test_without_a_cam_the_pair_shares_its_readings(tmp_path):
    done = run("cranking", DATASETS / "foreign-inline4-cranking", "--out", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    assert "2 or 3" in done.stdout and "cannot be told apart" in done.stdout
    evidence = answer_of(tmp_path / "out")["evidence"]
    assert evidence["phase"] == "unknown"
    assert [row["candidates"] for row in evidence["cylinders"]].count([2, 3]) == 2
    assert all(row["cylinder"] is None for row in evidence["cylinders"])


REFUSED = [
    (3, "cranking", "pickup-1-before", [], "the engine runs by itself"),
    (3, "work", "pickup-cranking", [], "the starter turns this engine"),
    (2, "work", "pickup-1-before", ["--limit", "0.1"], "0.5 to 30"),
    (2, "work", "pickup-1-before", ["--limit", "nan"], "0.5 to 30"),
    (2, "cranking", "pickup-cranking", ["--limit", "61"], "1 to 60"),
    (2, "cranking", "pickup-cranking", ["--limit", "a lot"], "--limit"),
]


@pytest.mark.parametrize("status, study, name, more, words", REFUSED)
def test_nonsense_is_refused_and_leaves_nothing(tmp_path, status, study, name, more, words):
    done = run(study, DATASETS / name, *more, "--out", tmp_path / "out")
    assert done.returncode == status and words in done.stderr and done.stdout == ""
    assert list(tmp_path.iterdir()) == []


def test_a_recording_that_is_too_short_says_how_long_it_must_be(tmp_path):
    short = write_recording(tmp_path / "short", make_edges(seconds=3.0))
    done = run("work", short)
    assert done.returncode == 3 and "at least 40" in done.stderr and "record at least a minute" in done.stderr


def test_a_folder_with_other_things_is_not_touched(tmp_path):
    (tmp_path / "mine.txt").write_text("keep")
    for study, name in (("work", "pickup-3-repaired"), ("cranking", "pickup-cranking")):
        done = run(study, DATASETS / name, "--out", tmp_path)
        assert done.returncode == 2 or done.returncode == 3
        assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


def test_an_answer_of_the_same_study_is_replaced(tmp_path):
    for limit, verdict in ((10, "even"), (4, "uneven")):
        assert run("cranking", DATASETS / "pickup-cranking", "--limit", limit, "--out", tmp_path / "out").returncode == 0
        assert answer_of(tmp_path / "out")["verdict"] == verdict
