"""kurbel.swap, kurbel.verify and the live test from Python."""
import json
import math

import numpy as np
import pytest

import kurbel
from conftest import DATASETS

BEFORE, SWAPPED, REPAIRED = (DATASETS / f"pickup-{part}" for part in ("1-before", "2-swapped", "3-repaired"))


def test_swap_is_answered_and_saved(tmp_path):
    answer = kurbel.swap(BEFORE, SWAPPED, moved="4:1")
    assert answer.verdict == "followed" and "cylinder 4 to cylinder 1" in answer.sentence
    assert answer.evidence["probabilities"]["followed"] > 0.97
    assert answer.picture.startswith("<svg") and "cylinder" in answer.table and len(answer.cautions) > 3
    answer.save(tmp_path / "out")
    assert json.loads((tmp_path / "out" / "answer.json").read_text())["evidence"] == answer.evidence
    same = kurbel.swap([BEFORE], [SWAPPED], moved={4: 1})
    assert same.evidence == answer.evidence
    assert kurbel.swap(BEFORE, SWAPPED, moved=[(4, 1), (1, 4)]).verdict == "followed"


def test_swap_refuses_what_cannot_be():
    with pytest.raises(ValueError, match="there is no cylinder 9"):
        kurbel.swap(BEFORE, SWAPPED, moved={4: 9})
    with pytest.raises(ValueError, match="moved: '4-1' is not understood"):
        kurbel.swap(BEFORE, SWAPPED, moved="4-1")
    with pytest.raises(kurbel.InputError, match="record AFTER as BEFORE"):
        kurbel.swap(BEFORE, DATASETS / "pickup-road", moved="4:1")
    with pytest.raises(TypeError, match="before: must be"):
        kurbel.swap(4, SWAPPED, moved="4:1")


def test_verify_a_repair():
    answer = kurbel.verify(REPAIRED, cylinder=1)
    assert answer.verdict == "gone" and answer.evidence["seconds_to_decision"] < 60
    assert kurbel.verify(SWAPPED, cylinder=1, before=BEFORE).verdict == "remains"
    with pytest.raises(ValueError, match="limit: must lie"):
        kurbel.verify(REPAIRED, cylinder=1, limit=80)


def test_the_live_test_agrees_with_the_recording():
    events = kurbel.analyze(REPAIRED).events
    test = kurbel.RepairTest(1)
    assert test.state == "running" and test.clean_needed == 314 and math.isnan(test.seconds_needed)
    for event in np.array_split(events, 50):
        test.push(event)
    answer = kurbel.verify(REPAIRED, cylinder=1)
    assert test.state == answer.verdict == "gone"
    assert test.decided_s == answer.evidence["stopped_s"] and test.rate_upper == answer.evidence["rate_upper"]
    with pytest.raises(TypeError, match="events: must have the dtype"):
        test.push(np.zeros(3))
    with pytest.raises(ValueError, match="cylinder: must lie"):
        kurbel.RepairTest(0)
