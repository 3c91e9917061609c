"""kurbel.work and kurbel.cranking: the studies that compare cylinders, from Python."""
import doctest
import os
import sys

import pytest

import kurbel
from conftest import DATASETS


def test_work_of_an_engine_that_misfires():
    answer = kurbel.work(DATASETS / "pickup-1-before")
    assert answer.study == "work" and answer.verdict == "uneven"
    rows = {row["cylinder"]: row for row in answer.evidence["cylinders"]}
    assert sorted(rows) == [1, 2, 3, 4, 5] and rows[4]["differs"] and rows[4]["high"] < -2
    assert not any(row["differs"] for cylinder, row in rows.items() if cylinder != 4)
    assert kurbel.work(DATASETS / "pickup-1-before", limit=30).verdict != "uneven"


def test_cranking_reads_the_leak():
    answer = kurbel.cranking(str(DATASETS / "pickup-cranking"))
    assert answer.study == "cranking" and answer.verdict == "even"
    lowest = min(answer.evidence["cylinders"], key=lambda row: row["percent"])
    assert lowest["cylinder"] == 5 and lowest["low"] < 94 < lowest["high"]
    assert kurbel.cranking(DATASETS / "pickup-cranking", limit=4).verdict == "uneven"


@pytest.mark.parametrize("study, name", [(kurbel.work, "foreign-v6-road"), (kurbel.cranking, "pickup-cranking")])
def test_same_answer_every_time(study, name):
    first, second = (study(DATASETS / name) for _ in range(2))
    assert first.evidence == second.evidence and first.picture == second.picture


def test_what_cannot_serve_is_refused():
    with pytest.raises(kurbel.InputError, match="the engine runs by itself"):
        kurbel.cranking(DATASETS / "pickup-1-before")
    with pytest.raises(kurbel.InputError, match="the starter turns this engine"):
        kurbel.work(DATASETS / "pickup-cranking")
    with pytest.raises(ValueError, match="limit"):
        kurbel.work(DATASETS / "pickup-1-before", limit=0.1)
    with pytest.raises(ValueError, match="limit"):
        kurbel.cranking(DATASETS / "pickup-cranking", limit=float("nan"))
    with pytest.raises(TypeError):
        kurbel.work(DATASETS / "pickup-1-before", 3.0)  # keywords only


def test_examples_run():
    results = doctest.testmod(sys.modules["kurbel._balance"], extraglobs={"datasets": os.fspath(DATASETS)})
    assert results.attempted > 3 and results.failed == 0
