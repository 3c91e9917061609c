"""kurbel swap and kurbel verify: the pick-up's story, and calls that cannot be."""
import json
import shutil
import xml.etree.ElementTree as xml

import numpy
from conftest import ROOT, run

DATASETS = ROOT / "datasets"
BEFORE, SWAPPED, REPAIRED = (DATASETS / f"pickup-{part}" for part in ("1-before", "2-swapped", "3-repaired"))


def answer_in(folder):
    xml.parse(folder / "picture.svg")
    return json.loads((folder / "answer.json").read_text())


def test_the_misfire_followed_the_injector(tmp_path):
    done = run("swap", BEFORE, SWAPPED, "--moved", "4:1", "--out", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("The misfire followed the part from cylinder 4 to cylinder 1")
    assert "Cautions" in done.stdout and "relieve the pressure" in done.stdout.replace("\n  ", " ")
    answer = answer_in(tmp_path / "out")
    assert answer["study"] == "swap" and answer["verdict"] == "followed"
    assert answer["evidence"]["probabilities"]["followed"] > 0.97 and answer["evidence"]["more_seconds"] is None
    assert abs(sum(answer["evidence"]["probabilities"].values()) - 1) < 1e-9


def test_other_stories_of_the_same_recordings():
    assert "vanished" in run("swap", BEFORE, REPAIRED, "--moved", "4:1").stdout
    elsewhere = run("swap", BEFORE, SWAPPED, "--moved", "2:3")
    assert elsewhere.returncode == 0 and "No single moved part explains" in elsewhere.stdout


def half_of(recording, folder, second):
    """The first or second half of a recording's edges as a recording of its own."""
    shutil.copytree(recording, folder)
    middle = numpy.median(numpy.load(recording / "crank.npy"))
    for name in ("crank.npy", "cam.npy"):
        times = numpy.load(recording / name)
        numpy.save(folder / name, times[(times > middle) == second])
    return folder


def test_two_recordings_a_side(tmp_path):
    halves = [half_of(SWAPPED, tmp_path / str(second), second) for second in (False, True)]
    both = run("swap", BEFORE, halves[0], "--after", halves[1], "--moved", "4:1")
    assert both.returncode == 0 and both.stdout.startswith("The misfire followed"), both.stdout + both.stderr


def test_one_recording_is_no_two_pieces_of_evidence(tmp_path):
    copy = shutil.copytree(BEFORE, tmp_path / "copy")
    for call in (
        ("swap", BEFORE, SWAPPED, "--after", SWAPPED, "--moved", "4:1"),
        ("swap", BEFORE, copy, "--moved", "4:1"),
        ("pattern", BEFORE, copy),
        ("verify", copy, "--before", BEFORE, "--cylinder", 4),
    ):
        done = run(*call)
        assert done.returncode == 3 and "holds the same edges as " in done.stderr, call


def test_moves_may_stand_anywhere():
    usual = run("swap", BEFORE, SWAPPED, "--moved", "4:1").stdout
    assert run("swap", "--moved", "4:1", BEFORE, SWAPPED).stdout == usual
    assert run("swap", BEFORE, "--moved", "4:1", "1:4", SWAPPED).stdout == usual
    ring = run("swap", BEFORE, SWAPPED, "--moved", "4:1", "1:3", "3:4").stdout
    assert ring.startswith("The misfire followed") and "3 to 4" not in usual
    assert run("swap", "--moved", "4:1", "1:3", "3:4", BEFORE, SWAPPED).stdout == ring
    done = run("swap", "--moved", "4:1", BEFORE)
    assert done.returncode == 2 and "give two recordings, BEFORE and AFTER (1 found)" in done.stderr


def test_a_swap_that_cannot_be_is_refused(tmp_path):
    out = tmp_path / "out"
    for moved, words in (
        (["4:4"], "exchange it with another"),
        (["4:6"], "there is no cylinder 6; this engine has 1 to 5"),
        (["4:1", "1:3"], "ring does not close"),
        (["4-1"], "write 4:1"),
    ):
        done = run("swap", BEFORE, SWAPPED, "--moved", *moved, "--out", out)
        assert done.returncode == 2 and words in done.stderr, (moved, done.stderr)
    done = run("swap", BEFORE, BEFORE, "--moved", "4:1", "--out", out)
    assert done.returncode == 2 and "stands on both sides" in done.stderr
    done = run("swap", BEFORE, DATASETS / "pickup-road", "--moved", "4:1", "--out", out)
    assert done.returncode == 3 and "record AFTER as BEFORE was recorded" in done.stderr
    done = run("swap", BEFORE, DATASETS / "foreign-inline4-idle", "--moved", "4:1", "--out", out)
    assert done.returncode == 3 and "another engine" in done.stderr
    done = run("swap", BEFORE, DATASETS / "pickup-cranking", "--moved", "4:1", "--out", out)
    assert done.returncode == 3 and "record it running" in done.stderr
    assert run("swap", BEFORE, "--moved", "4:1").returncode == 2
    assert not out.exists()


def test_the_repair_is_verified(tmp_path):
    done = run("verify", REPAIRED, "--cylinder", 1, "--before", SWAPPED, "--out", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    answer = answer_in(tmp_path / "out")
    assert answer["verdict"] in ("gone", "undecided") and "sequential test" in answer["sentence"]
    assert answer["evidence"]["misfires"] == 0
    done = run("verify", REPAIRED, "--cylinder", 1, "--out", tmp_path / "alone")
    assert done.returncode == 0 and answer_in(tmp_path / "alone")["verdict"] == "gone"
    assert answer_in(tmp_path / "alone")["evidence"]["seconds_to_decision"] < 60
    done = run("verify", SWAPPED, "--cylinder", 1)
    assert done.returncode == 0 and done.stdout.startswith("Cylinder 1 still misfires")


def test_a_verification_that_cannot_be_is_refused():
    for extra, words in (
        (["--cylinder", 6], "there is no cylinder 6"),
        (["--cylinder", 4, "--limit", 0], "limit: must lie"),
        (["--cylinder", 4, "--confidence", 100], "confidence: must lie"),
    ):
        done = run("verify", REPAIRED, *extra)
        assert done.returncode == 2 and words in done.stderr, (extra, done.stderr)
    done = run("verify", DATASETS / "pickup-cranking", "--cylinder", 4)
    assert done.returncode == 3 and "record it running, for a minute" in done.stderr
