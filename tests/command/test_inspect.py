"""kurbel inspect: findings on the terminal, draft and picture in the folder."""
import json
import shutil
import xml.etree.ElementTree as xml

from conftest import ROOT, run

DATASETS = ROOT / "datasets"


def test_findings_are_told_and_written(tmp_path):
    done = run("inspect", DATASETS / "pickup-road", "--out", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    assert "36-1  [sure" in done.stdout and "Nothing of this contradicts" in done.stdout and "Next: " in done.stdout
    found = json.loads((tmp_path / "out" / "inspection.json").read_text())
    assert found["wheel"]["positions"] == 36 and found["wheel"]["absent"] == [35]
    # The description: cam edge 62 degrees after cylinder 1's TDC, which lies 78 degrees after place 0.
    assert abs(found["second_line"]["edges_deg_from_place_0"][0] % 360 - (62 + 78) % 360) < 1
    draft = (tmp_path / "out" / "draft-recording.toml").read_text()
    assert "positions = 36 " in draft and "# tdc1_deg = ?" in draft and "hz = 1000000" in draft
    xml.parse(tmp_path / "out" / "tooth-periods.svg")


def test_description_of_another_wheel_is_named(tmp_path):
    shutil.copytree(DATASETS / "pickup-road", tmp_path / "in")
    description = (tmp_path / "in" / "recording.toml").read_text()
    start = description.index("[crank_wheel]")
    end = description.index("[", start + 15)
    wheel = description[start:end]
    other = "[crank_wheel]\npositions = 60\nabsent = [58, 59]\ntdc1_deg = 78.0\n\n"
    (tmp_path / "in" / "recording.toml").write_text(description.replace(description[start:description.index("[cam_wheel]")], other))
    assert "36" in wheel
    done = run("inspect", tmp_path / "in")
    assert done.returncode == 0, done.stderr
    assert "The description says 60-2, the edges say 36-1." in done.stdout


def test_edges_need_no_description(tmp_path):
    for name in ("crank.npy", "cam.npy"):
        shutil.copy(DATASETS / "pickup-road" / name, tmp_path / name)
    bare = run("inspect", tmp_path)
    assert bare.returncode == 3 and "timer" in bare.stderr
    done = run("inspect", tmp_path, "--timer-hz", 1e6)
    assert done.returncode == 0 and "36-1  [sure" in done.stdout, done.stderr
    (tmp_path / "recording.toml").write_text("contract = 1\n[timer]\nhz = 1000000\n")
    draft = run("inspect", tmp_path)
    assert draft.returncode == 0 and "36-1  [sure" in draft.stdout
    assert "could not be used" in draft.stdout


def test_what_cannot_serve_is_said(tmp_path):
    assert run("inspect").returncode == 2
    assert run("inspect", tmp_path, "--timer-bits", 16).returncode == 2
    missing = run("inspect", tmp_path / "nowhere")
    assert missing.returncode == 3 and "is missing" in missing.stderr
    empty = run("inspect", tmp_path, "--out", tmp_path / "out")
    assert empty.returncode == 3 and "edges.csv" in empty.stderr and not (tmp_path / "out").exists()
    (tmp_path / "edges.csv").write_text("time_s,signal\n" + "".join(f"{0.01 * i:.3f},crank\n" for i in range(10)))
    few = run("inspect", tmp_path)
    assert few.returncode == 0 and "not found  [not sure]" in few.stdout and "only 10 crank edges" in few.stdout
