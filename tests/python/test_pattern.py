"""kurbel.pattern: the study from Python."""
import doctest
import os
import sys

import pytest

import kurbel
from conftest import DATASETS


def test_one_recording_and_two_together():
    alone = kurbel.pattern(DATASETS / "pickup-1-before")
    assert alone.study == "pattern" and alone.verdict == "random"
    worst = max(alone.evidence["cylinders"], key=lambda row: row["misfires"])
    assert worst["cylinder"] == 4 and worst["rate_low"] < worst["rate"] < worst["rate_high"]
    both = kurbel.pattern(DATASETS / "pickup-1-before", DATASETS / "pickup-road")
    assert len(both.evidence["recordings"]) == 2
    speed = [c for c in both.evidence["conditions"] if c["condition"] == "speed" and c["cylinder"] == 4]
    assert speed[0]["varied"] and speed[0]["p"] <= 1


def test_same_answer_every_time():
    first, second = (kurbel.pattern(DATASETS / "foreign-v6-road") for _ in range(2))
    assert first.evidence == second.evidence and first.picture == second.picture


def test_what_cannot_serve_is_refused():
    with pytest.raises(ValueError, match="at least one recording"):
        kurbel.pattern()
    with pytest.raises(kurbel.InputError, match="record it running"):
        kurbel.pattern(DATASETS / "pickup-cranking")
    with pytest.raises(kurbel.InputError, match="one engine"):
        kurbel.pattern(DATASETS / "pickup-road", DATASETS / "foreign-v6-road")


def test_example_runs():
    module = sys.modules["kurbel._pattern"]
    results = doctest.testmod(module, extraglobs={"datasets": os.fspath(DATASETS)}, raise_on_error=False)
    assert results.attempted > 0 and results.failed == 0
