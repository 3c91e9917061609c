"""The story of datasets as one script, from the code on cylinder 4 to the proof that it is gone."""
import json
import os
import subprocess

from conftest import PROGRAM, ROOT


def answer(folder):
    return json.loads((folder / "answer.json").read_text())


def test_story_ends_in_the_report(tmp_path):
    out = tmp_path / "story"
    done = subprocess.run([ROOT / "datasets" / "story", out, PROGRAM], capture_output=True, text=True, timeout=300)
    assert done.returncode == 0, done.stdout + done.stderr
    summaries = {name: json.loads((out / name / "summary.json").read_text()) for name in ("1-before", "3-swapped", "6-repaired")}
    assert summaries["1-before"]["codes"] == ["P0304"]
    assert summaries["3-swapped"]["codes"] == ["P0301"]
    assert summaries["6-repaired"]["codes"] == []
    assert answer(out / "2-pattern")["verdict"] == "random"
    assert answer(out / "4-swap")["verdict"] == "followed"
    assert answer(out / "5-cranking")["verdict"] == "even"
    assert answer(out / "7-proof")["verdict"] == "gone"
    assert answer(out / "8-work")["verdict"] in ("even", "undecided")  # nobody is weak in the scenario
    page = (out / "report.html").read_text()
    for folder in sorted(path.name for path in out.iterdir() if path.is_dir()):
        assert f"Folder: {folder}" in page
    # Three times the same was asked: the list on top says of which folder.
    assert "What the engine does (1-before)" in page and "What the engine does (6-repaired)" in page
    assert "Proof of the repair</a>" in page
    assert page.index("Folder: 1-before") < page.index("Folder: 8-work")
    assert os.fspath(tmp_path) not in page


def test_story_can_be_told_again_and_refuses_a_wrong_call(tmp_path):
    story = ROOT / "datasets" / "story"
    assert subprocess.run([story], capture_output=True, timeout=60).returncode == 2
    done = subprocess.run([story, tmp_path, tmp_path / "no-program"], capture_output=True, text=True, timeout=60)
    assert done.returncode == 2 and "build it" in done.stderr
