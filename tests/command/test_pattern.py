"""kurbel pattern: the answer on the terminal and in its folder."""
import json
import xml.etree.ElementTree as xml

from conftest import ROOT, run

DATASETS = ROOT / "datasets"


def test_answer_is_told_and_written(tmp_path):
    done = run("pattern", DATASETS / "pickup-1-before", DATASETS / "pickup-road", "--out", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("Cylinder 4 misfires at random")
    assert "common practice, no source" in done.stdout and "Cautions" in done.stdout
    answer = json.loads((tmp_path / "out" / "answer.json").read_text())
    assert answer["study"] == "pattern" and answer["verdict"] == "random"
    assert {row["cylinder"] for row in answer["evidence"]["cylinders"]} >= {1, 2, 3, 4, 5}
    xml.parse(tmp_path / "out" / "picture.svg")


def test_healthy_engine_has_no_pattern(tmp_path):
    done = run("pattern", DATASETS / "pickup-3-repaired", "--out", tmp_path / "out")
    assert done.returncode == 0 and "No cylinder misfires" in done.stdout
    assert json.loads((tmp_path / "out" / "answer.json").read_text())["verdict"] == "none"


def test_what_cannot_serve_is_refused_and_leaves_nothing(tmp_path):
    done = run("pattern", DATASETS / "pickup-cranking", "--out", tmp_path / "out")
    assert done.returncode == 3 and "record it running" in done.stderr
    assert not (tmp_path / "out").exists()
    done = run("pattern", DATASETS / "pickup-road", DATASETS / "foreign-v6-road")
    assert done.returncode == 3 and "one engine" in done.stderr
    assert run("pattern").returncode == 2
