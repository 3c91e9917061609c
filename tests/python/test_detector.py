"""kurbel.Detector: the stream gives the bits of the batch, however it is cut."""
import copy
import pickle

import numpy as np
import pytest

import kurbel
from conftest import TABLES, bits, make_edges


def collect(detector, ticks, signals, block):
    parts = [detector.push(ticks[i : i + block], signals[i : i + block]) for i in range(0, len(ticks), block)]
    return np.concatenate([*parts, detector.finish()])


@pytest.mark.parametrize("block", [1, 2, 7, 61, 997, 10**9])
def test_every_split_gives_the_bits_of_the_batch(block):
    ticks, signals = make_edges(8.0)
    batch = kurbel.analyze(ticks=ticks, signals=signals, **TABLES)
    events = collect(kurbel.Detector(**TABLES), ticks, signals, block)
    assert bits(events) == bits(batch.events)


def test_reset_is_fresh(edges):
    detector = kurbel.Detector(**TABLES)
    first = collect(detector, *edges, 500)
    with pytest.raises(RuntimeError, match="finish"):
        detector.push([1])
    detector.reset()
    assert detector.sync.edges == 0
    assert bits(collect(detector, *edges, 333)) == bits(first)


@pytest.mark.parametrize("through", [pickle.loads, copy.copy, copy.deepcopy, "snapshot"])
def test_copies_go_on_bit_for_bit(edges, through):
    ticks, signals = edges
    detector = kurbel.Detector(**TABLES)
    whole = collect(kurbel.Detector(**TABLES), ticks, signals, 1000)
    half = len(ticks) // 2
    before = detector.push(ticks[:half], signals[:half])
    if through == "snapshot":
        other = kurbel.Detector.from_snapshot(detector.snapshot())
    elif through is pickle.loads:
        other = pickle.loads(pickle.dumps(detector))
    else:
        other = through(detector)
    assert other.sync == detector.sync
    for each in (other, detector):
        after = collect(each, ticks[half:], signals[half:], 777)
        assert bits(np.concatenate([before, after])) == bits(whole)


def test_damaged_snapshot_is_refused():
    bytes_ = bytearray(kurbel.Detector(**TABLES).snapshot())
    bytes_[len(bytes_) // 2] ^= 1
    with pytest.raises(ValueError, match="^snapshot: is damaged"):
        kurbel.Detector.from_snapshot(bytes(bytes_))
    with pytest.raises(ValueError, match="^snapshot: is too short"):
        kurbel.Detector.from_snapshot(b"kurbel")
    with pytest.raises(ValueError, match="^snapshot: is none"):
        kurbel.Detector.from_snapshot(bytes(len(bytes_)))


def test_scalars_channels_and_queries():
    detector = kurbel.Detector(**TABLES)
    assert 0 <= detector.delay_cycles <= 10
    assert detector.push(12345).size == 0
    assert detector.push(12345 + 1000, "cam").dtype == kurbel.EVENT_DTYPE
    assert detector.push_channel(20000, "load", 0.5).size == 0
    assert detector.sync.edges == 2
    with pytest.raises(ValueError, match="^channels.laod: is not known"):
        detector.push_channel(20000, "laod", 0.5)


def test_edges_that_do_not_advance_are_counted():
    detector = kurbel.Detector(**{**TABLES, "timer": {"hz": 1e6}})
    detector.push([1000, 2000, 2000, 1500, 3000])
    assert detector.sync.faults == 2
    assert detector.sync.edges == 5
