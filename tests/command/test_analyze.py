"""What analyze writes and says, on a recording whose cylinder 3 loses every sixth firing."""

import csv
import hashlib
import json
import shutil
import subprocess
import xml.etree.ElementTree

import numpy
import pytest
from conftest import ORDER, ROOT, make_edges, run, write_recording

HEADER = (
    "time_s,cycle,cylinder,candidates,speed_rpm,load,acceleration_rad_s2,work_j,work_se_j,expected_j,severity,evidence,"
    "threshold,probability,verdict,reason"
)


@pytest.fixture
def result(recording, tmp_path):
    done = run("analyze", recording, "--out", tmp_path / "result", "--plot", "--stages")
    assert done.returncode == 0, done.stderr
    return tmp_path / "result", done


def rows_of(path):
    with open(path, newline="") as file:
        return list(csv.DictReader(file))


def test_events(result):
    folder, _ = result
    assert (folder / "events.csv").read_text().splitlines()[0] == HEADER
    rows = rows_of(folder / "events.csv")
    times = [float(row["time_s"]) for row in rows]
    assert times == sorted(times) and len(rows) > 600
    assert {"fired", "misfire"} <= {row["verdict"] for row in rows} <= {"fired", "misfire", "unjudged"}
    assert all((row["reason"] != "") == (row["verdict"] == "unjudged") for row in rows)
    assert all(row["load"] == "" for row in rows), "there is no channels.csv"
    judged = [row for row in rows if row["verdict"] != "unjudged"]
    assert all(row["cylinder"] in "1234" and row["candidates"] == "" for row in judged)
    assert "nan" not in (folder / "events.csv").read_text().lower()


def test_summary_agrees_with_the_events(result, recording):
    folder, _ = result
    summary = json.loads((folder / "summary.json").read_text())
    rows = rows_of(folder / "events.csv")
    for line in summary["cylinders"]:
        own = [row for row in rows if row["cylinder"] == str(line["cylinder"])]
        judged = [row for row in own if row["verdict"] != "unjudged"]
        misfires = [row for row in judged if row["verdict"] == "misfire"]
        assert (line["firings"], line["judged"], line["misfires"]) == (len(own), len(judged), len(misfires))
        assert line["rate"] == pytest.approx(len(misfires) / len(judged))
        assert line["rate_low"] <= line["rate"] <= line["rate_high"]
        if misfires:
            mean = numpy.mean([float(row["severity"]) for row in misfires])
            assert line["mean_severity"] == pytest.approx(mean, rel=1e-6)
        else:
            assert line["mean_severity"] is None
    assert [line["cylinder"] for line in summary["cylinders"]] == [1, 2, 3, 4]
    assert summary["codes"] == ["P0303"]
    sync = summary["sync"]
    assert set(sync) >= {"edges", "teeth", "revolutions", "losses", "extra", "missed", "phase"}
    assert sync["edges"] == len((recording / "edges.csv").read_text().splitlines()) - 1
    assert (sync["phase"], sync["losses"], sync["extra"], sync["missed"]) == ("cam", 0, 0, 0)
    assert summary["recording"]["seconds"] == pytest.approx(20.0, abs=0.1)
    assert 800 < summary["recording"]["mean_rpm"] < 1200
    assert (summary["contract"], summary["method"]) == (1, "work")
    assert summary["settings"]["false_alarm"] == 2e-5


def test_inputs_are_hashed_as_sha256sum_does(result, recording):
    folder, _ = result
    inputs = json.loads((folder / "summary.json").read_text())["inputs"]
    assert sorted(inputs) == ["edges.csv", "recording.toml", "truth.csv"]
    for name, value in inputs.items():
        assert value == hashlib.sha256((recording / name).read_bytes()).hexdigest()
        tool = subprocess.run(["sha256sum", recording / name], capture_output=True, text=True, check=True)
        assert tool.stdout.split()[0] == value


def test_terminal_says_the_verdict_first(result):
    folder, done = result
    assert done.stderr == "", "progress belongs on a terminal only"
    first = done.stdout.splitlines()[0]
    assert first.startswith("Cylinder 3 misfires: ") and "95 % interval" in first
    assert "P0303  misfires on cylinder 3" in done.stdout
    assert "Caution: " in done.stdout
    assert str(folder) in done.stdout
    assert max(map(len, done.stdout.splitlines()[:-1])) <= 110


def test_healthy_engine_has_no_code_and_no_caution(tmp_path):
    import conftest

    folder = tmp_path / "healthy"
    folder.mkdir()
    crank, cam, _ = conftest.make_edges(lost=lambda firing: False)
    (folder / "recording.toml").write_text(conftest.TOML)
    (folder / "edges.csv").write_text("\n".join(conftest.csv_rows(crank, cam)) + "\n")
    done = run("analyze", folder)
    assert done.returncode == 0
    assert done.stdout.startswith("No misfire in ")
    assert "Trouble codes: none." in done.stdout
    assert "Caution" not in done.stdout


def test_stages(result, recording):
    folder, _ = result
    teeth = rows_of(folder / "teeth.csv")
    edges = rows_of(recording / "edges.csv")
    assert 0 < len(teeth) <= len([edge for edge in edges if edge["signal"] == "crank"])
    known = [row for row in teeth if row["phase_known"] == "1"]
    angles = numpy.array([float(row["angle_deg"]) for row in known])
    steps = numpy.diff(angles) % 720.0
    assert set(numpy.round(steps, 6)) == {6.0, 18.0}
    times = {edge["time_s"] for edge in edges if edge["signal"] == "crank"}
    assert all(row["time_s"] in times for row in teeth)
    segments = rows_of(folder / "segments.csv")
    energy = numpy.array([float(row["energy_rad2_s2"]) for row in segments])
    speed = numpy.array([float(row["speed_rpm"]) for row in segments]) * numpy.pi / 30.0
    numpy.testing.assert_allclose(energy, 0.5 * speed**2, rtol=1e-6)


def test_plot_marks_every_misfire(result, tmp_path):
    folder, _ = result
    tree = xml.etree.ElementTree.parse(folder / "plot.svg")
    name = "{http://www.w3.org/2000/svg}"
    marks = [path.get("d").count("M") for path in tree.iter(name + "path") if path.get("class") == "misfire"]
    misfires = sum(row["verdict"] == "misfire" for row in rows_of(folder / "events.csv"))
    assert sum(marks) - 1 == misfires, "one mark more stands in the legend"
    texts = ["".join(text.itertext()) for text in tree.iter(name + "text")]
    assert {"cylinder 1", "cylinder 2", "cylinder 3", "cylinder 4"} <= set(texts)
    picture = tmp_path / "plot.png"
    subprocess.run(["rsvg-convert", folder / "plot.svg", "-o", picture], check=True)
    assert picture.stat().st_size > 10000


def test_second_run_replaces_the_first_with_the_same_bytes(result, recording):
    folder, _ = result
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert run("analyze", recording, "--out", folder, "--plot", "--stages").returncode == 0
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


def test_array_form_gives_the_same_events(result, recording, edges):
    folder, _ = result
    before = (folder / "events.csv").read_bytes()
    crank, cam, _ = edges
    numpy.save(recording / "crank.npy", numpy.round(crank * 1e9) / 1e9)
    numpy.save(recording / "cam.npy", numpy.round(cam * 1e9) / 1e9)
    (recording / "edges.csv").unlink()
    assert run("analyze", recording, "--out", folder).returncode == 0
    assert (folder / "events.csv").read_bytes() == before
    # The same as whole ticks of 1 ns.
    with open(recording / "recording.toml", "a") as toml:
        toml.write("[timer]\nhz = 1000000000\n")
    numpy.save(recording / "crank.npy", numpy.round(crank * 1e9).astype("int64"))
    numpy.save(recording / "cam.npy", numpy.round(cam * 1e9).astype("int64"))
    assert run("analyze", recording, "--out", folder).returncode == 0
    assert (folder / "events.csv").read_bytes() == before


def test_windows_text_gives_the_same_events(result, recording):
    folder, _ = result
    before = (folder / "events.csv").read_bytes()
    for name in ("recording.toml", "edges.csv", "truth.csv"):
        text = (recording / name).read_bytes()
        (recording / name).write_bytes(b"\xef\xbb\xbf" + text.replace(b"\n", b"\r\n"))
    assert run("analyze", recording, "--out", folder).returncode == 0
    assert (folder / "events.csv").read_bytes() == before


def test_without_cam_pairs_are_named_together(recording, tmp_path):
    toml = (recording / "recording.toml").read_text()
    (recording / "recording.toml").write_text(toml[: toml.index("[cam_wheel]")])
    lines = (recording / "edges.csv").read_text().splitlines()
    (recording / "edges.csv").write_text("\n".join(line for line in lines if not line.endswith("cam")) + "\n")
    done = run("analyze", recording, "--out", tmp_path / "result")
    assert done.returncode == 0
    assert done.stdout.startswith("Cylinder 2 or 3 misfires (which of the two cannot be told without a cam signal): ")
    summary = json.loads((tmp_path / "result" / "summary.json").read_text())
    assert summary["codes"] == ["P0300"]
    assert [(line["cylinder"], line["candidates"]) for line in summary["cylinders"]] == [(None, [1, 4]), (None, [2, 3])]
    assert summary["sync"]["phase"] == "unknown"


@pytest.mark.parametrize("method", ["work", "segment-roughness"])
@pytest.mark.parametrize("cylinder, code", [(1, "P0301"), (2, "P0302"), (3, "P0303"), (4, "P0304")])
def test_code_and_misfires_name_the_cylinder(cylinder, code, method, tmp_path):
    """A misfire on cylinder 2 gives P0302, on 3 P0303: common practice, no source."""
    place = ORDER.index(cylinder)
    edges = make_edges(lost=lambda firing: firing % 24 == 20 + place, seed=cylinder)
    recording = write_recording(tmp_path / "recording", edges)
    done = run("analyze", recording, "--out", tmp_path / "result", "--method", method)
    assert done.returncode == 0
    summary = json.loads((tmp_path / "result" / "summary.json").read_text())
    assert summary["method"] == method
    assert summary["codes"] == [code]
    called = [row for row in rows_of(tmp_path / "result" / "events.csv") if row["verdict"] == "misfire"]
    assert len(called) > 10
    assert {row["cylinder"] for row in called} == {str(cylinder)}


def test_a_recording_without_a_whole_revolution_is_refused(recording, tmp_path):
    lines = (recording / "edges.csv").read_text().splitlines()
    (recording / "edges.csv").write_text("\n".join(lines[:40]) + "\n")
    done = run("analyze", recording, "--out", tmp_path / "result")
    assert done.returncode == 3 and done.stdout == ""
    # The cause, as a stopping engine's capture has it, too; and what to do.
    said = " ".join(done.stderr.split())
    assert str(recording) in said and "39 edges and no whole revolution from one gap to the next" in said
    assert "Record at least ten seconds of a running engine" in said
    assert not (tmp_path / "result").exists()


def test_load_without_a_channel_is_estimated_and_marked(tmp_path):
    folder = tmp_path / "road"
    shutil.copytree(ROOT / "datasets" / "pickup-road", folder)
    (folder / "channels.csv").unlink()
    done = run("analyze", folder, "--out", tmp_path / "result")
    assert done.returncode == 0 and "crank-load.csv" in done.stdout
    load = json.loads((tmp_path / "result" / "summary.json").read_text())["load"]
    assert load["source"] == "estimated from the crank" and 0.0 <= load["low"] < load["median"] <= load["high"] <= 1.01
    with (tmp_path / "result" / "crank-load.csv").open() as file:
        rows = list(csv.DictReader(file))
    assert len(rows) > 300 and set(rows[0]) == {"time_s", "relative_load", "standard_error"}
    # It takes no part in the verdicts: events keep an empty load.
    with (tmp_path / "result" / "events.csv").open() as file:
        assert all(row["load"] == "" for row in csv.DictReader(file))
    told = run("analyze", ROOT / "datasets" / "pickup-road", "--out", tmp_path / "told")
    assert told.returncode == 0 and not (tmp_path / "told" / "crank-load.csv").exists()
    assert json.loads((tmp_path / "told" / "summary.json").read_text())["load"] == {"source": "channel"}
