"""learn-wheel writes a wheel that analyze uses, knows its own, and refuses what is none."""

import json
import tomllib

import pytest
from conftest import ROOT, run

ROAD = ROOT / "datasets" / "pickup-road"


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    path = tmp_path_factory.mktemp("wheel") / "pickup.toml"
    done = run("learn-wheel", ROAD, "--out", path)
    assert (done.returncode, done.stderr) == (0, "")
    assert "Teeth stand 0." in done.stdout and "are expected to be left" in done.stdout
    assert str(path) in done.stdout
    return path


def test_the_file_tells_wheel_errors_and_doubt(wheel):
    text = tomllib.loads(wheel.read_text())
    assert text["contract"] == 1
    assert text["crank_wheel"]["positions"] == 36
    learned = text["learned"]
    assert len(learned["error_deg"]) == len(learned["standard_error_deg"]) == 35
    assert abs(sum(learned["error_deg"])) < 1e-3
    assert all(0.0 < error < 0.1 for error in learned["standard_error_deg"])
    assert learned["revolutions"] >= 100


def test_the_same_pickup_is_known_and_judged_by_it(wheel, tmp_path):
    done = run("analyze", ROOT / "datasets" / "pickup-1-before", "--wheel", wheel, "--out", tmp_path / "result")
    assert done.returncode == 0
    assert "is of another wheel" not in done.stdout
    summary = json.loads((tmp_path / "result" / "summary.json").read_text())
    assert summary["wheel"]["same"] is not False
    assert summary["wheel"]["degrees_of_freedom"] > 0
    assert summary["inputs"][str(wheel)]
    assert summary["codes"] == ["P0304"]


def test_another_wheel_is_noticed(wheel, tmp_path):
    text = wheel.read_text()
    begin = text.index("[", text.index("error_deg")) + 1
    errors = text[begin : text.index("]", begin)].split(",")
    turned = text.replace(",".join(errors), ",".join(errors[11:] + errors[:11]))
    assert turned != text
    other = tmp_path / "other.toml"
    other.write_text(turned)
    done = run("analyze", ROAD, "--wheel", other, "--out", tmp_path / "result")
    assert done.returncode == 0
    assert "is of another wheel" in " ".join(done.stdout.split())
    summary = json.loads((tmp_path / "result" / "summary.json").read_text())
    assert summary["wheel"]["same"] is False
    assert any("of another wheel" in warning for warning in summary["warnings"])


@pytest.mark.parametrize(
    "change, said",
    [
        (lambda text: text.replace("[learned]", "[lerned]"), "lerned"),
        (lambda text: text.replace("error_deg = [", 'error_deg = ["a", '), "error_deg"),
        (lambda text: text.replace("error_deg = [", "error_deg = [0.1, "), "teeth"),
        (lambda text: text.replace("contract = 1", "contract = 9"), "newer version"),
        (lambda text: text[: text.index("[learned]")], "[learned] is missing"),
    ],
)
def test_a_damaged_file_is_refused(wheel, tmp_path, change, said):
    damaged = tmp_path / "damaged.toml"
    damaged.write_text(change(wheel.read_text()))
    done = run("analyze", ROAD, "--wheel", damaged)
    assert done.returncode == 3
    assert "damaged.toml" in done.stderr and said in done.stderr
    assert done.stdout == ""


def test_a_wheel_made_in_another_way_is_refused(wheel, recording):
    done = run("analyze", recording, "--wheel", wheel)
    assert done.returncode == 3
    assert "made in another way" in done.stderr


def test_no_other_file_is_replaced(tmp_path):
    letter = tmp_path / "letter.toml"
    letter.write_text("dear = 'friend'\n")
    done = run("learn-wheel", ROAD, "--out", letter)
    assert done.returncode == 3
    assert letter.read_text() == "dear = 'friend'\n"
    assert run("learn-wheel", ROAD, "--out", tmp_path).returncode == 3
    assert run("learn-wheel", ROAD, "--out", tmp_path / "nowhere" / "wheel.toml").returncode == 3
    assert sorted(path.name for path in tmp_path.iterdir()) == ["letter.toml"]


def test_a_wheel_that_is_there_already_is_learned_anew(wheel, tmp_path):
    again = tmp_path / "wheel.toml"
    again.write_text(wheel.read_text())
    assert run("learn-wheel", ROAD, "--out", again).returncode == 0
    assert again.read_text() == wheel.read_text()
