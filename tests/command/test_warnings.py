"""What analyze says of a TDC that was typed wrong, and that it keeps quiet where it is right."""

import json
import pathlib
import shutil

import pytest
from conftest import run

DATASETS = pathlib.Path(__file__).parents[2] / "datasets"
RECORDINGS = sorted(path.parent.name for path in DATASETS.glob("*/recording.toml"))


def analyze(name, tmp_path, tdc1_deg=None):
    """The report and the summary of a data set, its TDC as it stands or as given."""
    folder = tmp_path / "recording"
    shutil.copytree(DATASETS / name, folder)
    if tdc1_deg is not None:
        path = folder / "recording.toml"
        lines = [f"tdc1_deg = {tdc1_deg}" if "tdc1_deg" in line else line for line in path.read_text().splitlines()]
        path.write_text("\n".join(lines) + "\n")
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
    [warning] = summary["warnings"]
    assert f"degrees {side} the declared TDC of cylinder 1" in warning
    assert f"tdc1_deg = {declared}" in warning
    assert "Warning: combustion seems to stand" in report
    offset = summary["tdc_offset"]
    assert offset["low"] <= 110 - declared <= offset["high"]
    assert offset["period"] == 180


def test_starter_tells_it_too(tmp_path):
    _, summary = analyze("pickup-cranking", tmp_path, 118.0)  # 78 is right: four teeth
    assert len(summary["warnings"]) == 1
