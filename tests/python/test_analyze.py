"""kurbel.analyze: paths and arrays in, arrays out."""
import csv
import threading
import time
import tomllib

import numpy as np
import pytest

import kurbel
from conftest import DATASETS, TABLES, bits, make_edges


def test_recording_folder_names_the_cylinder():
    result = kurbel.analyze(DATASETS / "pickup-1-before")
    cylinders, counts = np.unique(result.cylinder[result.misfire], return_counts=True)
    assert cylinders[np.argmax(counts)] == 4
    assert result.sync.synchronised
    assert len(result) > 300


def test_what_is_no_recording_is_refused_by_name(edges):
    with pytest.raises(TypeError, match="^recording: must be the path of a recording, not int"):
        kurbel.analyze(3)
    with pytest.raises(ValueError, match="^ticks: 2 of 3 edges do not come after the edge before them"):
        kurbel.analyze(ticks=[5, 4, 3], engine=TABLES["engine"], crank_wheel=TABLES["crank_wheel"])
    for hz in (1e3, 1e9):
        with pytest.raises(ValueError, match="^timer: the engine would turn at (more|less) than 2"):
            kurbel.analyze(ticks=edges[0], signals=edges[1], **{**TABLES, "timer": {"hz": hz, "bits": 32}})


def test_one_wrong_tick_ends_nothing(edges):
    clean = kurbel.analyze(ticks=edges[0], signals=edges[1], **TABLES)
    load = {"load": ([0.0, clean.time_s[-1] - 1.0], [0.5, 0.7])}
    spoilt = edges[0].copy()
    spoilt[spoilt.size // 4] = (int(spoilt[spoilt.size // 4]) + 1_000_000_000) & 0xFFFFFFFF
    result = kurbel.analyze(ticks=spoilt, signals=edges[1], channels=load, **TABLES)
    assert result.sync.faults < 40 and result.sync.losses == 1
    assert len(result) > 0.9 * len(clean)
    assert abs(result.time_s[-1] - clean.time_s[-1]) < 1e-9
    assert set(result.load[result.time_s < clean.time_s[-1] - 2.0].tolist()) == {0.5}, "later values came early"


def test_arrays_give_the_bits_of_the_folder():
    """The NumPy files of a shipped recording, pushed as arrays with its tables, equal the folder."""
    folder = DATASETS / "pickup-1-before"
    tables = tomllib.loads((folder / "recording.toml").read_text())
    tables.pop("contract", None)
    by_folder = kurbel.analyze(folder)
    recording = kurbel._core.read_recording(str(folder))
    channels = read_channels(folder / "channels.csv")
    by_arrays = kurbel.analyze(ticks=recording.ticks, signals=recording.signals, channels=channels, **tables)
    assert by_arrays == by_folder


def read_channels(path):
    """Columns of channels.csv as the pairs that analyze takes; an empty field is no value."""
    with path.open() as file:
        rows = list(csv.DictReader(file))
    names = [name for name in rows[0] if name != "time_s"]
    return {
        name: tuple(np.array([(float(row["time_s"]), float(row[name])) for row in rows if row[name]]).T) for name in names
    }


def test_columns_are_views_with_the_contracts_names(edges):
    result = kurbel.analyze(ticks=edges[0], signals=edges[1], **TABLES)
    for name in kurbel.EVENT_DTYPE.names:
        assert len(getattr(result, name)) == len(result)
    assert np.shares_memory(result.severity, result.events)
    assert result.candidates.shape == (len(result), 2)
    assert set(result.verdict) <= set(kurbel.VERDICTS)
    assert set(result.reason) <= set(kurbel.REASONS)
    assert np.all((result.reason == "") == result.judged)
    assert np.all(np.diff(result.time_s) > 0)
    assert list(result.to_dict())[:3] == ["time_s", "cycle", "cylinder"]
    with pytest.raises(AttributeError, match="no attribute 'sevrity'"):
        result.sevrity  # noqa: B018
    assert "misfires" in repr(result)


def test_what_is_no_result_is_unequal_unless_it_says_otherwise(edges):
    class Anything:
        def __eq__(self, other):
            return True

    result = kurbel.analyze(ticks=edges[0], signals=edges[1], **TABLES)
    shorter = kurbel.analyze(ticks=edges[0][:-2000], signals=edges[1][:-2000], **TABLES)
    assert result == result
    assert result != shorter
    for other in (None, 3, "result", result.sync):
        assert result != other
        assert not result == other
    assert result == Anything()


def test_results_are_never_reused(edges):
    first = kurbel.analyze(ticks=edges[0], signals=edges[1], **TABLES)
    kept = first.events.copy()
    kurbel.analyze(ticks=make_edges(5.0)[0], **TABLES)
    first_again = kurbel.analyze(ticks=edges[0], signals=edges[1], **TABLES)
    assert first == first_again
    assert bits(first.events) == bits(kept)


@pytest.mark.parametrize("form", ["list", "strided", "reversed twice", "int32", "uint32", "big-endian", "column", "read-only"])
def test_every_layout_of_the_same_ticks_gives_the_same_bits(edges, form):
    ticks, signals = edges
    expected = kurbel.analyze(ticks=ticks, signals=signals, **TABLES)
    wide = np.repeat(ticks, 2)
    frozen = ticks.copy()
    frozen.setflags(write=False)
    table = {**TABLES}
    given = {
        "list": lambda: (ticks.tolist(), signals.tolist()),
        "strided": lambda: (wide[::2], np.repeat(signals, 3)[::3]),
        "reversed twice": lambda: (ticks[::-1].copy()[::-1], signals[::-1].copy()[::-1]),
        "int32": lambda: (ticks.astype(np.uint32).view(np.int32).astype(np.int64) & 0xFFFFFFFF, signals.astype(np.int16)),
        "uint32": lambda: (ticks.astype(np.uint32), signals.astype(bool)),
        "big-endian": lambda: (ticks.astype(">i8"), signals.astype(">u4")),
        "column": lambda: (np.stack([ticks, ticks], axis=1)[:, 0], np.where(signals == 1, "cam", "crank")),
        "read-only": lambda: (frozen, signals),
    }[form]()
    assert kurbel.analyze(ticks=given[0], signals=given[1], **table) == expected


def test_contiguous_ticks_are_not_copied(edges):
    from kurbel._arrays import as_signals, as_ticks

    assert as_ticks(edges[0]) is edges[0] or np.shares_memory(as_ticks(edges[0]), edges[0])
    assert np.shares_memory(as_signals(edges[1], edges[1].size), edges[1])


def test_seconds_equal_nanosecond_ticks():
    ticks, signals = make_edges(6.0)
    clock = ticks[0] + np.concatenate([[0], np.cumsum(np.diff(ticks) % 2**32)])
    tables = {name: TABLES[name] for name in ("engine", "crank_wheel", "cam_wheel")}
    by_tick = kurbel.analyze(ticks=clock * 1000, signals=signals, **tables)
    by_second = kurbel.analyze(time_s=clock / 1e6, signals=signals, **tables)
    assert by_tick == by_second


def test_channels_hold_from_their_time(edges):
    start = edges[0][0] / 1e6
    load = ([start, start + 10.0], [0.25, 0.5])
    result = kurbel.analyze(ticks=edges[0], signals=edges[1], channels={"load": load}, **TABLES)
    early = (result.time_s > start + 0.5) & (result.time_s < start + 9.8)
    assert np.all(result.load[early] == 0.25)
    assert np.all(result.load[result.time_s > start + 10.2] == 0.5)
    cut = {"fuel_cut": ([start + 5.0, start + 8.0], [1, 0])}
    result = kurbel.analyze(ticks=edges[0], signals=edges[1], channels=cut, **TABLES)
    inside = (result.time_s > start + 5.3) & (result.time_s < start + 7.8)
    assert inside.sum() > 50
    assert np.all(result.reason[inside] == "fuel_cut")


@pytest.mark.parametrize("ticks", [[], [5], [5, 6, 7]])
def test_too_few_edges_give_an_empty_result(ticks):
    result = kurbel.analyze(ticks=ticks, **TABLES)
    assert len(result) == 0
    assert not result.sync.synchronised
    assert result.severity.shape == (0,)
    assert result.verdict.shape == (0,)


def test_edges_without_a_gap_are_never_judged():
    result = kurbel.analyze(ticks=np.arange(20000) * 1000, **TABLES)
    assert not result.judged.any()


@pytest.mark.parametrize(
    ("change", "error", "text"),
    [
        ({"ticks": [1.5, 2.5]}, TypeError, "^ticks: must be whole numbers"),
        ({"ticks": [[1, 2]]}, ValueError, "^ticks: must have one dimension"),
        ({"ticks": np.array([2**63], np.uint64)}, ValueError, "^ticks: exceed 63 bits"),
        ({"signals": [0]}, ValueError, "^signals: must have one entry for each of the 3 edges"),
        ({"signals": [0, 1, 2]}, ValueError, "^signals: numbers must be 0"),
        ({"signals": ["crank", "cam", "crunk"]}, ValueError, "^signals: 'crunk' is not known"),
        ({"signals": [0.0, 1.0, 0.0]}, TypeError, "^signals: must be"),
        ({"time_s": [1.0]}, TypeError, "^recording: give"),
        ({"ticks": None}, TypeError, "^recording: give"),
        ({"ticks": None, "time_s": [1.0, np.nan], "timer": None}, ValueError, "^time_s: entry 1 is not"),
        ({"ticks": None, "time_s": [1.0, 1e10], "timer": None}, ValueError, "^time_s: exceeds"),
        ({"ticks": None, "time_s": [1.0]}, TypeError, "^timer: goes with ticks"),
        ({"channels": {"lod": ([0], [1])}}, ValueError, "^channels.lod: is not known"),
        ({"channels": {"fuel_cut_5": ([0], [1])}}, ValueError, "^channels.fuel_cut_5: is not known"),
        ({"channels": {"load": ([0, 1], [1])}}, ValueError, "^channels.load: time_s has shape"),
        ({"channels": {"load": ([1, 0], [1, 1])}}, ValueError, "^channels.load: time_s must be finite"),
        ({"channels": {"load": 3}}, TypeError, "^channels.load: must be a pair"),
        ({"method": "magic"}, ValueError, "^method: 'magic' is not known"),
        ({"method": 3}, TypeError, "^method: must be a string"),
        ({"false_alarm": 0.5}, ValueError, "false_alarm: must lie in"),
        ({"false_alarm": float("nan")}, ValueError, "false_alarm: must lie in"),
        ({"engine": None}, ValueError, "^engine: is needed"),
    ],
)
def test_wrong_calls_name_the_parameter(change, error, text):
    with pytest.raises(error, match=text):
        kurbel.analyze(**{"ticks": [1, 2, 3], **TABLES, **change})


def test_a_folder_tells_everything():
    with pytest.raises(TypeError, match="^engine: a recording folder tells it already"):
        kurbel.analyze(DATASETS / "pickup-1-before", engine={"cylinders": 5})


def test_bad_files_name_file_and_cause(tmp_path):
    with pytest.raises(kurbel.InputError, match="absent"):
        kurbel.analyze(tmp_path / "absent")
    assert issubclass(kurbel.InputError, ValueError)


def test_other_threads_run_meanwhile():
    """The interpreter lock is released: a thread that only counts goes on while a long analysis runs."""
    ticks, signals = make_edges(20.0)
    clock = ticks[0] + np.concatenate([[0], np.cumsum(np.diff(ticks) % 2**32)])
    period = clock[-1] - clock[0] + 1000
    long_ticks = np.concatenate([clock + i * period for i in range(40)]) & 0xFFFFFFFF
    started, counted, stop = threading.Event(), [0], threading.Event()

    def count():
        started.set()
        while not stop.is_set():
            counted[0] += 1
            time.sleep(0)

    thread = threading.Thread(target=count)
    thread.start()
    started.wait()
    before = counted[0]
    kurbel.analyze(ticks=long_ticks, signals=np.tile(signals, 40), **TABLES)
    after = counted[0]
    stop.set()
    thread.join()
    assert after - before > 50
