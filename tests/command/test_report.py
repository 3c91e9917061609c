"""kurbel report: what the page says, what it refuses, and that nothing out of a file can act in it."""
import html.parser
import json
import re

import pytest

from conftest import ROOT, run

DATASETS = ROOT / "datasets"


@pytest.fixture(scope="module")
def folders(tmp_path_factory):
    """A result with its plot and an answer."""
    base = tmp_path_factory.mktemp("results")
    assert run("analyze", DATASETS / "pickup-1-before", "--out", base / "before", "--plot").returncode == 0
    assert run("pattern", DATASETS / "pickup-1-before", "--out", base / "pattern").returncode == 0
    return base


class Page(html.parser.HTMLParser):
    """Headings in order, every attribute, and whether tags close as they open."""

    VOID = {"meta", "img", "br", "path"}

    def __init__(self, text):
        super().__init__()
        self.open, self.headings, self.attributes, self.tags, self.text = [], [], [], [], []
        self.feed(text)
        assert not self.open, self.open

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [(tag, *pair) for pair in attrs]
        if re.fullmatch("h[1-6]", tag):
            self.headings.append(int(tag[1]))
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        if tag not in self.VOID:
            assert self.open.pop() == tag

    def handle_data(self, data):
        self.text.append(data)


def page_of(tmp_path, *arguments):
    done = run("report", *arguments, "--out", tmp_path / "report.html")
    assert done.returncode == 0, done.stderr
    return (tmp_path / "report.html").read_text()


def test_verdict_comes_first_and_evidence_below(tmp_path, folders):
    text = page_of(tmp_path, folders / "before", folders / "pattern", "--title", "Pick-up", "--note", "order 12")
    for earlier, later in [("In short", "1. What the engine does"), ("1. What the engine does", "Evidence"),
                           ("Evidence", "2. Where and when"), ("Pick-up", "order 12")]:
        assert text.index(earlier) < text.index(later)
    assert text.index("Cylinder 4 misfires") < text.index("Misfires of each cylinder")
    assert "common practice, no source" in text
    assert text.index("Cautions") > text.index("1. What the engine does")


def test_page_is_self_contained_and_well_formed(tmp_path, folders):
    text = page_of(tmp_path, folders / "before", folders / "pattern")
    page = Page(text)
    assert page.headings[0] == 1 and page.headings.count(1) == 1
    assert all(b - a <= 1 for a, b in zip(page.headings, page.headings[1:]))
    assert ("html", "lang", "en") in page.attributes
    assert "script" not in page.tags and "link" not in page.tags and "iframe" not in page.tags
    for tag, name, value in page.attributes:
        assert not name.startswith("on"), (tag, name)
        if name in ("src", "href", "action", "srcset", "data"):
            assert value.startswith(("data:image/svg+xml;base64,", "#")), (tag, name, value[:40])
    assert "url(" not in text and "@import" not in text
    images = [value for tag, name, value in page.attributes if (tag, name) == ("img", "alt")]
    assert len(images) == 2 == page.tags.count("img") and all(len(alt) > 40 for alt in images)
    headers = [value for tag, name, value in page.attributes if (tag, name) == ("th", "scope")]
    assert len(headers) == page.tags.count("th") > 10 and set(headers) == {"col", "row"}
    assert page.tags.count("caption") == page.tags.count("table")


def test_no_verdict_by_colour_alone(tmp_path, folders):
    text = page_of(tmp_path, folders / "before", folders / "pattern")
    tags = re.findall(r'<span class="tag (\w+)"><span aria-hidden="true">(&#\d+;)</span> (\w+)</span>', text)
    assert tags and all(css == word for css, _, word in tags)
    assert len({sign for _, sign, _ in tags}) == len({word for _, _, word in tags})


def luminance(colour):
    """Relative luminance, WCAG 2.1 (definition under 1.4.3)."""
    colour = colour.lstrip("#")
    colour = "".join(c * 2 for c in colour) if len(colour) == 3 else colour
    parts = [int(colour[i : i + 2], 16) / 255 for i in (0, 2, 4)]
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(a, b):
    high, low = sorted((luminance(a), luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_contrast_is_enough_by_day_by_night_and_on_paper(tmp_path, folders):
    text = page_of(tmp_path, folders / "before")
    palettes = [dict(re.findall(r"--(\w+):(#\w+)", block)) for block in re.findall(r":root\{([^}]*)\}", text)]
    assert len(palettes) == 3  # light, dark, print
    for palette in palettes:
        for ground in ("paper", "sheet"):
            for ink in ("ink", "soft", "plum", "teal"):
                assert contrast(palette[ink], palette[ground]) >= 4.5, (ink, ground)
        assert contrast(palette["warnink"], palette["warn"]) >= 4.5
    assert abs(contrast("#777777", "#ffffff") - 4.48) < 0.01  # the well-known grey that just fails


HOSTILE = '</style><script>alert(1)</script><img src=x onerror="alert(2)"> \' " & \u202e'


def test_text_out_of_files_cannot_act(tmp_path, folders):
    bad = tmp_path / "a\"><b>'&"
    bad.mkdir()
    answer = json.loads((folders / "pattern" / "answer.json").read_text())
    answer |= {"study": HOSTILE, "question": HOSTILE, "verdict": HOSTILE, "sentence": HOSTILE, "cautions": [HOSTILE]}
    answer["evidence"] = {HOSTILE: HOSTILE, "rows": [{HOSTILE: HOSTILE}, {"a": [HOSTILE]}], "deep": {HOSTILE: {HOSTILE: 1}},
                          "short": [{"<i>": "<u>"}], "huge": 1e300, "tiny": 5e-324, "list": [[1, [2]], None, True]}
    (bad / "answer.json").write_text(json.dumps(answer))
    (bad / "picture.svg").write_text(f'<svg xmlns="http://www.w3.org/2000/svg" onload="alert(3)"><!--{HOSTILE}--></svg>')
    text = page_of(tmp_path, bad, folders / "pattern", "--title", HOSTILE, "--note", HOSTILE)
    page = Page(text)
    assert "script" not in page.tags and "b" not in page.tags and "u" not in page.tags and "onerror" not in page.tags
    assert not [name for _, name, _ in page.attributes if name.startswith("on")]
    assert page.tags.count("style") == 1


@pytest.mark.parametrize(
    "spoil, cause",
    [
        (lambda a: a.pop("sentence"), '"sentence"'),
        (lambda a: a.update(verdict=3), '"verdict"'),
        (lambda a: a.update(cautions=[1]), '"cautions"'),
        (lambda a: a.update(evidence=[]), '"evidence"'),
    ],
)
def test_broken_answers_are_refused(tmp_path, folders, spoil, cause):
    answer = json.loads((folders / "pattern" / "answer.json").read_text())
    spoil(answer)
    (tmp_path / "bad").mkdir()
    (tmp_path / "bad" / "answer.json").write_text(json.dumps(answer))
    done = run("report", tmp_path / "bad", "--out", tmp_path / "report.html")
    assert done.returncode == 3 and cause in done.stderr and "answer.json" in done.stderr and "anew" in done.stderr
    assert not (tmp_path / "report.html").exists()


@pytest.mark.parametrize("content", [b"", b"{", b"[]", b"\xff\xfe{}", b'{"verdict": "x"}', b'{"verdict":"x","cylinders":[3]}'])
def test_broken_summaries_are_refused(tmp_path, content):
    (tmp_path / "bad").mkdir()
    (tmp_path / "bad" / "summary.json").write_bytes(content)
    done = run("report", tmp_path / "bad", "--out", tmp_path / "report.html")
    assert done.returncode == 3 and "summary.json" in done.stderr and "anew" in done.stderr


def test_what_is_no_result_is_refused(tmp_path, folders):
    out = tmp_path / "report.html"
    done = run("report", DATASETS / "pickup-road", "--out", out)
    assert done.returncode == 3 and "neither summary.json nor answer.json" in done.stderr
    done = run("report", tmp_path / "nowhere", "--out", out)
    assert done.returncode == 3 and "is no folder" in done.stderr
    assert run("report", "--out", out).returncode == 2
    assert run("report", folders / "before").returncode == 2
    assert list(tmp_path.iterdir()) == []


def test_only_an_earlier_report_is_replaced(tmp_path, folders):
    first = page_of(tmp_path, folders / "before")
    assert page_of(tmp_path, folders / "before") == first  # the same folders give the same bytes
    assert page_of(tmp_path, folders / "pattern") != first
    foreign = tmp_path / "foreign.html"
    foreign.write_text("<html>mine</html>")
    done = run("report", folders / "before", "--out", foreign)
    assert done.returncode == 3 and "no report of kurbel" in done.stderr
    assert foreign.read_text() == "<html>mine</html>"
    done = run("report", folders / "before", "--out", tmp_path)
    assert done.returncode == 3 and "is a folder" in done.stderr
    done = run("report", folders / "before", "--out", tmp_path / "gone" / "report.html")
    assert done.returncode == 3 and "create it first" in done.stderr
    assert sorted(path.name for path in tmp_path.iterdir()) == ["foreign.html", "report.html"]
