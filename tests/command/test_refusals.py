"""Every study refuses what it cannot answer: exit 2 for a wrong call, 3 for a wrong input, one sentence that says what is wrong and
what to do, nothing written."""
import re

import pytest

from conftest import ROOT, run

DATASETS = ROOT / "datasets"
CRANKING, IDLE, SWAPPED = (DATASETS / name for name in ("pickup-cranking", "pickup-1-before", "pickup-2-swapped"))
OTHER = DATASETS / "foreign-v6-road"

CALLS = [
    (2, ["pattern"]),
    (3, ["pattern", CRANKING]),
    (3, ["pattern", IDLE, OTHER]),
    (3, ["pattern", DATASETS / "no-such-folder"]),
    (2, ["swap", IDLE, SWAPPED, "--moved", "4:4"]),
    (2, ["swap", IDLE, SWAPPED, "--moved", "4:7"]),
    (2, ["swap", IDLE, SWAPPED, "--moved", "4:1", "1:3"]),
    (2, ["swap", IDLE, SWAPPED, "--moved", "four"]),
    (2, ["swap", IDLE, SWAPPED]),
    (3, ["swap", IDLE, DATASETS / "pickup-road", "--moved", "4:1"]),
    (3, ["swap", IDLE, OTHER, "--moved", "4:1"]),
    (3, ["swap", IDLE, CRANKING, "--moved", "4:1"]),
    (2, ["verify", IDLE]),
    (2, ["verify", IDLE, "--cylinder", "9"]),
    (2, ["verify", IDLE, "--cylinder", "4", "--limit", "0"]),
    (2, ["verify", IDLE, "--cylinder", "4", "--confidence", "200"]),
    (3, ["verify", CRANKING, "--cylinder", "4"]),
    (3, ["verify", IDLE, "--cylinder", "4", "--before", OTHER]),
    (2, ["cranking", CRANKING, "--limit", "900"]),
    (3, ["cranking", IDLE]),
    (3, ["cranking", DATASETS / "no-such-folder"]),
    (3, ["work", CRANKING]),
    (3, ["work", DATASETS / "no-such-folder"]),
    (2, ["report", "--out", "report.html"]),
    (3, ["report", IDLE, "--out", "report.html"]),
]


@pytest.mark.parametrize("status, call", CALLS, ids=lambda value: " ".join(map(str, value)).replace(str(DATASETS), "") if
                         isinstance(value, list) else str(value))
def test_refusal_is_a_sentence_and_leaves_nothing(tmp_path, status, call):
    arguments = list(call) if "--out" in call else [*call, "--out", "out"]
    done = run(*arguments, cwd=tmp_path)
    assert done.returncode == status, done.stderr
    assert done.stdout == ""
    text = done.stderr.strip()
    assert text.startswith("kurbel: ")
    assert len(re.findall(r"\w+", text)) >= 5, text  # a sentence, not a code
    # What to do: an imperative of ours, what is wanted instead, or where the help is.
    advice = r"\b(give|record|name|say|create|write|exchange)\b|must lie in|there is no cylinder|a recording is a folder|Help: kurbel"
    assert re.search(advice, text, re.I), text
    assert "terminate" not in text and "what()" not in text
    assert list(tmp_path.iterdir()) == []
