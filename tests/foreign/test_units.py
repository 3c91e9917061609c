"""Every unit of load that a mapping knows, against the same number by hand."""

import math

import pytest
from conftest import must

SECONDS = 4
CM3 = math.pi / 4.0 * 8.1**2 * 9.55  # bore and stroke below
ENGINE = """
[engine]
cylinders = 4
firing_order = [1, 3, 4, 2]
bore_mm = 81.0
stroke_mm = 95.5

[crank_wheel]
positions = 36
absent = [35]
tdc1_deg = 60.0
"""


def log(folder, value, rpm=1800.0):
    """An even-turning 36-1 wheel and one load value from the third second on."""
    file = folder / "log.csv"
    rows = [f"{(turn + tooth / 36.0) * 60.0 / rpm:.7f},crank," for turn in range(int(SECONDS * rpm / 60.0)) for tooth in range(35)]
    at = next(i for i, row in enumerate(rows) if float(row.split(",")[0]) > 2.0)
    rows.insert(at, f"2.0,load,{value!r}")
    file.write_text("t,what,v\n" + "\n".join(rows) + "\n")
    return file


def load_of(folder, value, **keys):
    file = log(folder, value)
    mapping = "".join(f'{key} = "{word}"\n' if isinstance(word, str) else f"{key} = {word!r}\n" for key, word in keys.items())
    (folder / "log.csv.kurbel.toml").write_text(f'time = "t"\nsignal = "what"\nvalue = "v"\n{mapping}{ENGINE}')
    must("convert", file, "--out", folder / "recording")
    header, row = (folder / "recording" / "channels.csv").read_text().splitlines()[:2]
    return float(row.split(",")[header.split(",").index("load")])


DENSITY = 100e3 / (287.05 * 298.15)  # kg/m^3 at 100 kPa and 25 degrees C, R of dry air (ISO 2533)


@pytest.mark.parametrize(
    "keys, value, load",
    [
        ({"load_unit": "percent"}, 42.0, 0.42),
        ({"load_unit": "of_full_load", "full_load": 250.0}, 100.0, 0.4),
        ({"load_unit": "manifold_kpa", "barometric_kpa": 100.0}, 60.0, 0.6),
        ({"load_unit": "manifold_bar", "barometric_kpa": 100.0}, 0.6, 0.6),
        ({"load_unit": "manifold_mbar", "barometric_kpa": 100.0}, 600.0, 0.6),
        # One psi is 6894.757 Pa (NIST SP 811, appendix B.8; from memory).
        ({"load_unit": "manifold_psi", "barometric_kpa": 100.0}, 60.0 / 6.894757, 0.6),
        ({"load_unit": "air_mg"}, 0.5 * DENSITY * CM3, 0.5),
        # 1800 rpm: 60 fillings of one cylinder a second.
        ({"load_unit": "air_g_s"}, 0.5 * DENSITY * CM3 * 60.0 / 1000.0, 0.5),
        # Wide open nothing throttles: full to a hundredth.
        ({"load_unit": "throttle_deg", "throttle_bore_mm": 60.0}, 83.0, 1.0),
        ({"load_unit": "throttle_percent", "throttle_bore_mm": 60.0}, 100.0, 1.0),
    ],
    ids=lambda each: each.get("load_unit") if isinstance(each, dict) else "",
)
def test_unit(keys, value, load, tmp_path):
    # Speed is told by the last turn's edges, one pitch out by where the gap lies.
    close = 0.01 if "throttle" in keys["load_unit"] else 2e-3 if keys["load_unit"] == "air_g_s" else 2e-4
    assert load_of(tmp_path, value, **keys) == pytest.approx(load, rel=close)


def test_percent_of_the_throttles_way_is_its_angle(tmp_path):
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    by_percent = load_of(tmp_path / "a", 10.0, load_unit="throttle_percent", throttle_bore_mm=50.0)
    by_angle = load_of(tmp_path / "b", 8.3, load_unit="throttle_deg", throttle_bore_mm=50.0)
    assert by_percent == pytest.approx(by_angle, abs=1e-4) and 0.1 < by_percent < 0.9
