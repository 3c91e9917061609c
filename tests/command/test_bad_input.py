"""Bad input ends with status 3 and a message that names file, line and cause; nothing half-written stays behind."""

import os

import pytest
from conftest import ROOT, run


def lines_of(path):
    return path.read_text().splitlines()


def spoil_line(path, number, text):
    """Replaces line `number`, counted from 1."""
    lines = lines_of(path)
    lines[number - 1] = text
    path.write_text("\n".join(lines) + "\n")


def truncate(recording):
    text = (recording / "edges.csv").read_text()
    cut = text[: text.rindex(",")]
    (recording / "edges.csv").write_text(cut)
    return f"edges.csv:{len(cut.splitlines())}: has 1 of 2 fields; the file seems to be cut off here"


def foreign_wheel(recording):
    text = (recording / "recording.toml").read_text()
    text = text.replace("positions = 60", "positions = 12").replace("absent = [58, 59]", "absent = [3, 7, 8]")
    (recording / "recording.toml").write_text(text)
    return "recording.toml:8: [crank_wheel] does not fit the edges: of "


def line(name, number, text, said):
    """Line `number` of a file replaced; the complaint names that line."""

    def fault(recording):
        spoil_line(recording / name, number, text)
        return f"{name}:{number}: {said}"

    return fault


def whole(name, text, said):
    """A file written anew, or removed where `text` is None."""

    def fault(recording):
        (recording / name).unlink(missing_ok=True)
        if text is not None:
            (recording / name).write_text(text)
        return f"{name}{said}"

    return fault


def pipe(name):
    """A file replaced by a pipe, on which a reader would wait for ever."""

    def fault(recording):
        (recording / name).unlink(missing_ok=True)
        os.mkfifo(recording / name)
        return f"{name}: is no regular file"

    return fault


def vast(name, said):
    """A terabyte of zeros that takes no space."""

    def fault(recording):
        with open(recording / name, "wb") as stream:
            stream.truncate(1 << 40)
        return f"{name}: {said}"

    return fault


def slower(factor):
    """All times in another unit."""

    def fault(recording):
        lines = lines_of(recording / "edges.csv")
        times = [line.split(",") for line in lines[1:]]
        rows = [f"{float(time) * factor:.12f},{signal}" for time, signal in times]
        (recording / "edges.csv").write_text("\n".join([lines[0], *rows]) + "\n")
        return "recording.toml: timer: the engine would turn at "

    return fault


def unreadable(name):
    """A file that the system shows to nobody, root included: a link to itself."""

    def fault(recording):
        (recording / name).unlink(missing_ok=True)
        os.symlink(name, recording / name)
        return f"{name}: cannot be read: "

    return fault


FAULTS = {
    "description nobody may read": unreadable("recording.toml"),
    "edges nobody may read": unreadable("edges.csv"),
    "channels nobody may read": unreadable("channels.csv"),
    "description is a pipe": pipe("recording.toml"),
    "channels are a pipe": pipe("channels.csv"),
    "edges are a pipe": pipe("edges.csv"),
    "vast description": vast("recording.toml", "is larger than 4 MiB"),
    "vast edges": vast("edges.csv", "holds 1048576 MiB, more than a quarter of this machine's memory"),
    "truncated": truncate,
    "wrong column": line("edges.csv", 1, "seconds,signal", 'no column time_s; the header names "seconds", "signal"'),
    "time backwards": line("edges.csv", 500, "0.000000001,crank", "time_s: time runs backwards"),
    "not a number": line("edges.csv", 321, "nan,crank", 'time_s: must be a finite number of seconds, not "nan"'),
    "impossible order": line(
        "recording.toml", 5, "firing_order = [1, 3, 3, 2]", "engine.firing_order: a cylinder is named twice"
    ),
    "unknown key": line(
        "recording.toml", 6, "inertia = 0.15", "unknown key engine.inertia; the nearest known one is engine.inertia_kg_m2"
    ),
    "broken TOML": line("recording.toml", 5, "firing_order = [1, 3, 4 2]", ""),
    "milliseconds that were told as seconds": slower(1000.0),
    "seconds that were told as kiloseconds": slower(0.001),
    "empty recording": whole("edges.csv", "time_s,signal\n", ":1: holds no edges: the recording is empty"),
    "empty file": whole("edges.csv", "", ": is empty"),
    "load in percent": whole("channels.csv", "time_s,load\n0.0,35\n", ':2: load: must lie in 0 to 10, not "35"'),
    "missing description": whole("recording.toml", None, ": is missing"),
    "missing edges": whole("edges.csv", None, ": is missing"),
    "foreign wheel": foreign_wheel,
}


@pytest.mark.parametrize("fault", FAULTS.values(), ids=FAULTS)
def test_bad_recording(fault, recording, tmp_path):
    said = fault(recording)
    before = sorted(os.listdir(tmp_path))
    done = run("analyze", recording, "--out", tmp_path / "result")
    assert done.returncode == 3
    assert done.stderr.startswith(f"kurbel: {recording}/{said}"), done.stderr
    assert done.stdout == ""
    assert sorted(os.listdir(tmp_path)) == before


@pytest.mark.parametrize("name", ["edges.csv", "recording.toml", "truth.csv"])
def test_a_file_of_a_recording_names_its_folder(name, recording):
    done = run("analyze", recording / name)
    assert done.returncode == 3
    assert done.stderr == f"kurbel: {recording}/{name}: is one file of a recording; give its folder, {recording}\n"


def test_truth_is_nothing_that_analyze_asks_for(recording, tmp_path):
    spoil_line(recording / "truth.csv", 3, "0.06,99,0,0")
    assert run("analyze", recording, "--out", tmp_path / "result").returncode == 0
    done = run("score", tmp_path / "result", "--truth", recording)
    assert done.returncode == 3
    assert done.stderr.startswith(f"kurbel: {recording}/truth.csv:3: cylinder: must be a cylinder, ")


def test_missing_recording(tmp_path):
    done = run("analyze", tmp_path / "none", "--out", tmp_path / "result")
    assert done.returncode == 3
    assert done.stderr == f"kurbel: {tmp_path}/none: is missing; a recording is a folder\n"
    assert os.listdir(tmp_path) == []


def test_folder_that_cannot_be_written(recording, tmp_path):
    # Below a regular file nobody can create a folder, not even root.
    done = run("analyze", recording, "--out", recording / "edges.csv" / "result")
    assert done.returncode == 3
    assert done.stderr.startswith(f"kurbel: {recording}/edges.csv/result: cannot be written"), done.stderr
    assert done.stdout == ""
    assert sorted(os.listdir(tmp_path)) == ["recording"]


def test_out_is_a_file(recording):
    done = run("analyze", recording, "--out", recording / "edges.csv")
    assert done.returncode == 3
    assert done.stderr == f"kurbel: {recording}/edges.csv: is a file; a folder is wanted\n"


def test_foreign_folder_is_refused_before_any_work(recording, tmp_path):
    home = tmp_path / "home"
    home.mkdir()
    (home / "letter.txt").write_text("dear")
    done = run("analyze", recording, "--out", home)
    assert done.returncode == 3
    assert 'holds "letter.txt", which is no part of a result; nothing was written' in done.stderr
    assert os.listdir(home) == ["letter.txt"]
    # A recording is no result either, whatever else it holds.
    assert run("analyze", recording, "--out", recording).returncode == 3
    assert (recording / "edges.csv").exists()


def test_bad_input_keeps_an_earlier_result(recording, tmp_path):
    result = tmp_path / "result"
    assert run("analyze", recording, "--out", result).returncode == 0
    before = {path.name: path.read_bytes() for path in result.iterdir()}
    truncate(recording)
    assert run("analyze", recording, "--out", result).returncode == 3
    assert {path.name: path.read_bytes() for path in result.iterdir()} == before


def test_score_without_truth(recording, tmp_path):
    result = tmp_path / "result"
    assert run("analyze", recording, "--out", result).returncode == 0
    (recording / "truth.csv").unlink()
    done = run("score", result, "--truth", recording)
    assert (done.returncode, done.stderr) == (3, f"kurbel: {recording}/truth.csv: is missing\n")
    done = run("score", tmp_path / "none", "--truth", recording)
    assert (done.returncode, done.stderr) == (3, f"kurbel: {tmp_path}/none/events.csv: is missing\n")


SCENARIO = ROOT / "datasets" / "scenarios" / "pickup-1-before.toml"


@pytest.mark.parametrize(
    "found, made, said",
    [
        ("stroke_mm =", "strike_mm =", "unknown key engine.strike_mm"),
        ("firing_order = [1, 2, 4, 5, 3]", "firing_order = [1, 2, 4, 4, 3]", "engine.firing_order: a cylinder is named twice"),
        ("bore_mm =", "bore_mm = nan # ", "engine.bore_mm: must be a finite number"),
        ("bore_mm = ", "bore_mm = = ", ""),
    ],
)
def test_bad_scenario(found, made, said, tmp_path):
    text = SCENARIO.read_text()
    number = text[: text.index(found)].count("\n") + 1
    (tmp_path / "s.toml").write_text(text.replace(found, made, 1))
    done = run("simulate", tmp_path / "s.toml", "--out", tmp_path / "recording")
    assert done.returncode == 3
    assert done.stderr.startswith(f"kurbel: {tmp_path}/s.toml:{number}: {said}"), done.stderr
    assert os.listdir(tmp_path) == ["s.toml"]


def test_simulate_names_what_it_cannot_read_or_write(recording, tmp_path):
    done = run("simulate", tmp_path / "none.toml", "--out", tmp_path / "r")
    assert (done.returncode, done.stderr) == (3, f"kurbel: {tmp_path}/none.toml: is missing\n")
    done = run("simulate", SCENARIO, "--seconds", "1", "--out", recording / "edges.csv" / "r")
    assert done.returncode == 3
    assert done.stderr.startswith(f"kurbel: {recording}/edges.csv/r: cannot be written"), done.stderr
    (tmp_path / "home").mkdir()
    (tmp_path / "home" / "letter.txt").write_text("dear")
    done = run("simulate", SCENARIO, "--seconds", "1", "--out", tmp_path / "home")
    assert done.returncode == 3
    assert os.listdir(tmp_path / "home") == ["letter.txt"]
