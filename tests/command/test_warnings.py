"""What analyze says of a TDC that was typed wrong, and that it keeps quiet where it is right."""

import json
import pathlib
import shutil

import pytest
from conftest import run

DATASETS = pathlib.Path(__file__).parents[2] / "datasets"
RECORDINGS = sorted(path.parent.name for path in DATASETS.glob("*/recording.toml"))


def copied(name, tmp_path, **keys):
    """A data set with some keys of recording.toml as given."""
    folder = tmp_path / "recording"
    shutil.copytree(DATASETS / name, folder)
    path = folder / "recording.toml"
    lines = path.read_text().splitlines()
    for key, value in keys.items():
        lines = [f"{key} = {value}" if line.startswith(key) else line for line in lines]
    path.write_text("\n".join(lines) + "\n")
    return folder


def analyze(name, tmp_path, tdc1_deg=None, **keys):
    """The report and the summary of a data set, its TDC as it stands or as given."""
    folder = copied(name, tmp_path, **keys, **({} if tdc1_deg is None else {"tdc1_deg": tdc1_deg}))
    done = run("analyze", folder, "--out", tmp_path / "result")
    assert done.returncode == 0, done.stderr
    return done.stdout, json.loads((tmp_path / "result" / "summary.json").read_text())


def test_there_are_recordings():
    assert len(RECORDINGS) >= 8


@pytest.mark.parametrize("name", RECORDINGS)
def test_quiet_where_the_description_is_right(name, tmp_path):
    report, summary = analyze(name, tmp_path)
    assert summary["warnings"] == []
    assert "Warning" not in report
    if summary["tdc_offset"]["degrees"] is not None:
        assert summary["tdc_offset"]["low"] <= 0.0 <= summary["tdc_offset"]["high"]


@pytest.mark.parametrize("declared, side", [(150, "before"), (70, "after")])
def test_wrong_tdc_is_told(declared, side, tmp_path):
    report, summary = analyze("foreign-inline4-idle", tmp_path, declared)  # 110 is right
    warning, of_the_cam = summary["warnings"]
    assert "do not stand where [cam_wheel] says" in of_the_cam
    assert f"degrees {side} the declared TDC of cylinder 1" in warning
    assert f"tdc1_deg = {declared}" in warning
    assert "Warning: combustion seems to stand" in report
    offset = summary["tdc_offset"]
    assert offset["low"] <= 110 - declared <= offset["high"]
    assert offset["period"] == 180


def test_nothing_is_judged_by_a_tdc_that_is_contradicted(tmp_path):
    report, summary = analyze("foreign-inline4-idle", tmp_path, 160)
    flat = " ".join(report.split())
    assert report.startswith("Cannot be judged until tdc1_deg is checked")
    assert summary["verdict"] == " ".join(report.split("\n\n")[0].split())
    assert summary["judged_but_for"] == "tdc1_deg"
    assert (summary["tdc_offset"]["checked"], summary["tdc_offset"]["fits"]) == (True, False)
    for claim in ("No misfire in", "Trouble codes: none", "Every firing was judged"):
        assert claim not in flat
    verified = run("verify", tmp_path / "recording", "--cylinder", 1, "--out", tmp_path / "proof")
    assert verified.returncode == 0
    assert json.loads((tmp_path / "proof" / "answer.json").read_text())["verdict"] == "undecided"
    assert verified.stdout.startswith("This cannot be judged until tdc1_deg of")
    assert run("report", tmp_path / "result", tmp_path / "proof", "--out", tmp_path / "page.html").returncode == 0
    page = (tmp_path / "page.html").read_text()
    assert "cannot be judged" in page and "contradicted by the motion" in page and "<strong>no misfire" not in page


@pytest.mark.parametrize("name, checked", [("foreign-v6-road", False), ("foreign-inline4-idle", True)])
def test_silence_is_no_check(name, checked, tmp_path):
    report, summary = analyze(name, tmp_path)
    flat = " ".join(report.split())
    assert summary["tdc_offset"]["checked"] is checked
    assert summary["judged_but_for"] is None
    assert ("tdc1_deg was checked" in flat) is checked
    assert ("Whether tdc1_deg is right could not be checked" in flat) is not checked


def test_a_gap_that_is_not_described_is_told(tmp_path):
    _, summary = analyze("pickup-1-before", tmp_path, absent="[]")
    [warning] = [text for text in summary["warnings"] if "no tooth at place 35" in text]
    assert "absent = [35]" in warning


def test_a_cam_that_stands_elsewhere_is_not_called_missing(tmp_path):
    report, summary = analyze("foreign-v6-road", tmp_path, edges_deg="[1.0, 2.0]")
    assert any("do not stand where [cam_wheel] says" in warning for warning in summary["warnings"])
    flat = " ".join(report.split())
    assert "no cam signal" not in flat
    assert "cam edges do not stand where [cam_wheel] says" in flat


def test_a_tdc_that_moved_without_its_cam_is_told(tmp_path):
    report, summary = analyze("pickup-1-before", tmp_path, 138)  # 78 is right; the crank alone would name cylinder 3
    assert any("do not stand where [cam_wheel] says" in warning for warning in summary["warnings"])
    assert "there is no cam signal" not in " ".join(report.split())


def test_a_misspelt_channel_is_told(tmp_path):
    folder = copied("pickup-road", tmp_path)
    path = folder / "channels.csv"
    path.write_text(path.read_text().replace("load", "laod", 1))
    done = run("analyze", folder)
    assert done.returncode == 0
    assert 'Warning: channels.csv: column "laod" is not known and was left out; was load meant?' in " ".join(done.stdout.split())


def test_starter_tells_it_too(tmp_path):
    _, summary = analyze("pickup-cranking", tmp_path, 118.0)  # 78 is right: four teeth
    assert summary["warnings"][0].startswith("combustion seems to stand ")


@pytest.mark.parametrize("inertia, said", [(0.0168, "times less than"), (1.68, "times as much as")])
def test_an_inertia_that_slipped_by_ten_is_told_and_hides_nothing(inertia, said, tmp_path):
    report, summary = analyze("foreign-inline4-idle", tmp_path, inertia_kg_m2=inertia)  # 0.168 is right
    (warning,) = summary["warnings"]
    assert warning.startswith("each firing swings the crank by ")
    assert said in warning and "inertia_kg_m2" in warning
    assert "Warning: each firing swings the crank" in report
    found = sum(line["misfires"] for line in summary["cylinders"])
    assert 25 <= found <= 40  # 34 with the right one
