"""The report in a real browser (Debian's Chromium, headless): no console message, no request, every picture seen, at the widths of
a desk, a phone and an A4 page."""
import base64
import json
import pathlib
import re

import pytest
from selenium import webdriver
from selenium.webdriver.chrome.options import Options
from selenium.webdriver.chrome.service import Service

from conftest import ROOT, run

WIDTHS = {"desk": (1280, 900), "phone": (390, 844)}


@pytest.fixture(scope="module")
def browser():
    options = Options()
    options.binary_location = "/usr/bin/chromium"
    for argument in ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--hide-scrollbars"):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(service=Service("/usr/bin/chromedriver"), options=options)
    yield driver
    driver.quit()


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    base = tmp_path_factory.mktemp("page")
    datasets = ROOT / "datasets"
    assert run("analyze", datasets / "pickup-1-before", "--out", base / "before", "--plot").returncode == 0
    assert run("pattern", datasets / "pickup-1-before", datasets / "pickup-road", "--out", base / "pattern").returncode == 0
    assert run("report", base / "before", base / "pattern", "--out", base / "report.html").returncode == 0
    return base / "report.html"


def show(browser, page, width):
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", {
        "width": WIDTHS[width][0], "height": WIDTHS[width][1], "deviceScaleFactor": 1, "mobile": width == "phone"})
    for kind in ("browser", "performance"):
        browser.get_log(kind)
    browser.get(pathlib.Path(page).as_uri())


@pytest.mark.parametrize("width", WIDTHS)
def test_page_is_quiet_and_every_picture_is_seen(browser, page, width):
    show(browser, page, width)
    assert [entry for entry in browser.get_log("browser")] == []
    messages = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    asked = [m["params"]["request"]["url"] for m in messages if m["method"] == "Network.requestWillBeSent"]
    assert asked and all(url.startswith(("file://", "data:")) for url in asked)
    assert sum(url.startswith("file://") for url in asked) == 1
    pictures = browser.execute_script(
        "return [...document.images].map(i => [i.complete, i.naturalWidth, i.getBoundingClientRect().width,"
        " i.getBoundingClientRect().height])")
    assert len(pictures) == 2
    for complete, natural, across, down in pictures:
        assert complete and natural > 100 and across > 300 and down > 150
    # Nothing but the framed tables and pictures scrolls sideways.
    overflow = browser.execute_script("return document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert overflow <= 0


def test_text_is_large_enough_on_a_phone(browser, page):
    show(browser, page, "phone")
    sizes = browser.execute_script(
        "return [...document.querySelectorAll('p,li,td,th,dd,dt')].map(e => parseFloat(getComputedStyle(e).fontSize))")
    assert len(sizes) > 50 and min(sizes) >= 13


def test_print_fits_a4(browser, page):
    show(browser, page, "desk")
    pdf = base64.b64decode(browser.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True, "printBackground": True})["data"])
    assert pdf.startswith(b"%PDF")
    boxes = {tuple(map(float, box)) for box in re.findall(rb"/MediaBox \[(\S+) (\S+) (\S+) (\S+)\]", pdf)}
    # A4 in points: 595.28 x 841.89 (ISO 216: 210 x 297 mm).
    assert boxes and all(abs(b[2] - 595.28) < 1.5 and abs(b[3] - 841.89) < 1.5 for b in boxes)
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride",
                            {"width": 688, "height": 1009, "deviceScaleFactor": 1, "mobile": False})  # 182 mm at 96 dpi
    wide = browser.execute_script("return [...document.querySelectorAll('table,img')].map(e => e.scrollWidth)")
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
    assert wide and max(wide) <= 690
