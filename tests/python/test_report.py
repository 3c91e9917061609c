"""kurbel.report: the page from Python."""
import doctest
import os
import sys

import pytest

import kurbel
from conftest import DATASETS


def test_page_is_written_and_refusals_tell_why(tmp_path):
    kurbel.pattern(DATASETS / "pickup-1-before").save(tmp_path / "pattern")
    kurbel.report(tmp_path / "pattern", out=tmp_path / "report.html", title="Pick-up", note="order 12")
    text = (tmp_path / "report.html").read_text()
    assert "<h1>Pick-up</h1>" in text and "order 12" in text
    with pytest.raises(ValueError, match="at least one folder"):
        kurbel.report(out=tmp_path / "report.html")
    with pytest.raises(kurbel.InputError, match="neither summary.json nor answer.json"):
        kurbel.report(DATASETS / "pickup-road", out=tmp_path / "report.html")
    assert (tmp_path / "report.html").read_text() == text


def test_example_runs():
    module = sys.modules["kurbel._report"]
    results = doctest.testmod(module, extraglobs={"datasets": os.fspath(DATASETS)}, raise_on_error=False)
    assert results.attempted > 0 and results.failed == 0
