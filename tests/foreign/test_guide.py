"""The guide's tables are those that its script prints, and its examples are mappings that are understood."""

import re
import subprocess
import sys

import pytest
from conftest import ROOT, must

GUIDE = ROOT / "datasets" / "RECORDING.md"


def test_tables_are_the_script_s():
    printed = subprocess.run([sys.executable, ROOT / "datasets" / "recording" / "sampling_table.py"], capture_output=True, text=True, check=True)
    tables = printed.stdout.strip().split("\n\n")
    assert len(tables) == 2
    for table in tables:
        assert table in GUIDE.read_text()


def test_one_figure_by_hand():
    """The idle of a four-cylinder: 100 J / (0.15 kg m^2 (83.78 rad/s)^2) = 9.5 %; a 12.8 l six at 2000 rpm: 639 / (3 x 209.4^2) = 0.49 %
    (a rigid crank's energy balance, worked by hand)."""
    text = GUIDE.read_text()
    assert "| four cylinders, 2.0 l, idling | 9.5 % |" in text
    assert "| truck six, 12.8 l, 2000 rpm | 0.49 % |" in text


@pytest.mark.parametrize("picture", ["good-capture.svg", "bad-captures.svg"])
def test_pictures_are_there(picture):
    assert f"recording/{picture}" in GUIDE.read_text()
    assert (ROOT / "datasets" / "recording" / picture).stat().st_size > 10_000


def test_example_is_understood(tmp_path):
    """The long example, with a waveform made for it."""
    import numpy as np

    toml = re.search(r"```toml\n(.*?)```", GUIDE.read_text(), re.S).group(1)
    (tmp_path / "scope.csv.kurbel.toml").write_text(toml)
    time = np.arange(100_000) / 50_000.0
    turns = time * 1000.0 / 60.0
    place = turns * 60.0
    crank = np.where(place.astype(int) % 60 < 58, np.sin(2 * np.pi * place), 0.0)
    cam = ((turns / 2.0) % 1.0 < 0.02) * 5.0
    with open(tmp_path / "scope.csv", "w") as stream:
        stream.write("Time,Channel A,Channel B,MAP\n")
        np.savetxt(stream, np.column_stack([time, crank, cam, np.full_like(time, 50.66)]), fmt="%.6f", delimiter=",")
    must("convert", tmp_path / "scope.csv", "--out", tmp_path / "recording")
    assert (tmp_path / "recording" / "channels.csv").read_text().splitlines()[1] == "0.000000000,0.4999753269183308"
