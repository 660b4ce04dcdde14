#!/usr/bin/env python3
"""Looks at the pages that people print, and at the charts, in a real browser.

Needs Python 3.11 or newer, what requirements.txt pins, Chromium and ChromeDriver. Lets the program write its plans as HTML and its
trends as SVG, from records-example, opens each by file and measures it as it is drawn: on A4 and on letter paper nothing may be wider
than the page, no label may stand on another line than the place to write into behind it, no instrument and no choice may be torn
over two sheets, all text must be black on white or nearly so, and on a telephone a page may not move sideways. In a chart no text
may leave the picture or stand upon another.

    pages.py PROGRAM [ROOT]    the last line is 'N passed, N failed', exit 1 if any failed

ROOT is the project's folder where it is left out. Exit 3: the program or the browser could not be used.
"""

import argparse
import base64
import io
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from pypdf import PdfReader
from selenium import webdriver
from selenium.common.exceptions import WebDriverException
from selenium.webdriver.chrome.options import Options
from selenium.webdriver.chrome.service import Service

DAY = "2026-11-25"
OFFER = "id,viscosity_mpa_s,expanded_uncertainty_percent\nV-2,1.9,0.3\nV-500,497.0,0.4\nV-5000,4920.0,\n"
# Inches; 12 mm are kept free on each side.
PAPERS = {"A4": (8.27, 11.69), "letter": (8.5, 11.0)}
MARGIN = 24 / 25.4
TELEPHONE = (360, 740)
# Between black on white (21) and what the guidelines of the web ask of small text (WCAG 2.2, 1.4.3).
LEAST_CONTRAST = 4.5

MEASURE = """
const page = document.documentElement;
const width = page.clientWidth;
const over = [...document.querySelectorAll('main *')]
  .filter(node => !node.closest('.wide') || document.body.dataset.print)
  .filter(node => node.getBoundingClientRect().right > width + 0.5)
  .map(node => node.tagName + ' ' + node.textContent.slice(0, 40));
const torn = [...document.querySelectorAll('.blank')].filter(blank => {
  const label = blank.previousSibling;
  if (!label || !label.textContent.trim()) return true;
  const range = document.createRange();
  range.selectNode(label);
  const last = [...range.getClientRects()].pop(), line = blank.getBoundingClientRect();
  return last.bottom < line.top + 1 || last.top > line.bottom;
}).map(blank => blank.previousSibling ? blank.previousSibling.textContent : '?');
const tables = [...document.querySelectorAll('table')].filter(table => {
  const box = table.getBoundingClientRect();
  return box.right + 0.5 > page.getBoundingClientRect().right;
}).length;
const light = colour => {
  const parts = colour.match(/[0-9.]+/g).slice(0, 3).map(part => {
    const share = part / 255;
    return share <= 0.04045 ? share / 12.92 : ((share + 0.055) / 1.055) ** 2.4;
  });
  return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2];
};
const faint = [...document.querySelectorAll('main *')].filter(node => node.childNodes.length
    && [...node.childNodes].some(child => child.nodeType === 3 && child.textContent.trim()))
  .map(node => 1.05 / (light(getComputedStyle(node).color) + 0.05));
const heads = [...document.querySelectorAll('h1, h2, h3')].map(node => +node.tagName[1]);
return {
  scroll: page.scrollWidth, width, over, torn, tables, faintest: Math.min(...faint), heads,
  language: page.lang, title: document.title,
  scripts: document.querySelectorAll('script, link, img, iframe').length,
  unnamed: [...document.querySelectorAll('th')].filter(node => !node.scope).length,
};
"""

DRAWN = """
const picture = document.documentElement.getBoundingClientRect();
const texts = [...document.querySelectorAll('text')].filter(node => node.textContent.trim());
const boxes = texts.map(node => node.getBoundingClientRect());
const outside = texts.filter((_, at) => boxes[at].left < picture.left - 0.5 || boxes[at].right > picture.right + 0.5
  || boxes[at].top < picture.top - 0.5 || boxes[at].bottom > picture.bottom + 0.5).map(node => node.textContent);
const upon = [];
for (let one = 0; one < boxes.length; one++) for (let other = one + 1; other < boxes.length; other++) {
  const across = Math.min(boxes[one].right, boxes[other].right) - Math.max(boxes[one].left, boxes[other].left);
  const down = Math.min(boxes[one].bottom, boxes[other].bottom) - Math.max(boxes[one].top, boxes[other].top);
  // Lines of text stand close; their boxes may touch.
  if (across > 1 && down > 4) upon.push(texts[one].textContent + ' / ' + texts[other].textContent);
}
return {outside, upon, texts: texts.length, marks: document.querySelectorAll('circle, path, rect, line, polyline').length,
  name: document.querySelector('title') ? document.querySelector('title').textContent : ''};
"""


class Tally:
    def __init__(self, silent=False):
        self.passed = 0
        self.failed = 0
        self.silent = silent

    def hold(self, what, holds, seen=None):
        if holds:
            self.passed += 1
        else:
            self.failed += 1
            if not self.silent:
                print(f"FAILED {what}: {seen}")


def run(program, book, *arguments):
    command = [str(program), "--book", str(book), "--as-of", DAY, *map(str, arguments)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode not in (0, 1):
        raise RuntimeError(f"{' '.join(command)} ended with {done.returncode}: {done.stderr}")
    return done.stdout


def opened():
    options = Options()
    for word in (
        "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--hide-scrollbars",
        "--disable-background-networking", "--disable-component-update", "--disable-sync", "--allow-file-access-from-files",
    ):
        options.add_argument(word)
    options.binary_location = shutil.which("chromium") or ""
    return webdriver.Chrome(options=options, service=Service(shutil.which("chromedriver")))


def size(browser, width, height, phone=False):
    browser.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": round(width), "height": round(height), "deviceScaleFactor": 1, "mobile": phone},
    )


def medium(browser, name):
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": name})


def printed(browser, paper):
    """The text of each sheet of paper."""
    width, height = PAPERS[paper]
    said = browser.execute_cdp_cmd(
        "Page.printToPDF",
        {"paperWidth": width, "paperHeight": height, "preferCSSPageSize": False, "printBackground": True},
    )
    reader = PdfReader(io.BytesIO(base64.b64decode(said["data"])))
    return [page.extract_text() for page in reader.pages]


def page(browser, tally, name, file, whole):
    """Holds one page. Each of WHOLE, a heading and how many rows of zones stand below it, must be on one sheet."""
    browser.get(file.as_uri())
    for paper, (width, height) in PAPERS.items():
        where = f"{name} on {paper}"
        medium(browser, "print")
        size(browser, (width - MARGIN) * 96, (height - MARGIN) * 96)
        browser.execute_script("document.body.dataset.print = 1")
        seen = browser.execute_script(MEASURE)
        tally.hold(f"{where}: no wider than the paper", seen["scroll"] <= seen["width"], seen["scroll"])
        tally.hold(f"{where}: nothing is cut off", not seen["over"], seen["over"])
        tally.hold(f"{where}: the borders of tables are seen", not seen["tables"], seen["tables"])
        tally.hold(f"{where}: labels stand before their blanks", not seen["torn"], seen["torn"])
        tally.hold(f"{where}: dark enough", seen["faintest"] >= LEAST_CONTRAST, seen["faintest"])
        sheets = printed(browser, paper)
        for heading, rows in whole:
            on = [sheet for sheet in sheets if heading in sheet]
            tally.hold(f"{where}: {heading} is printed once", len(on) == 1, [sheet[:60] for sheet in sheets])
            for sheet in on:
                after = sheet[sheet.index(heading):].split("\n")
                zones = [line for line in after if line.split(" ")[0] in ("low", "middle", "high")]
                tally.hold(f"{where}: {heading} is not torn", len(zones) >= rows, zones)
    medium(browser, "screen")
    size(browser, *TELEPHONE, phone=True)
    browser.execute_script("delete document.body.dataset.print")
    seen = browser.execute_script(MEASURE)
    tally.hold(f"{name} on a telephone: stays in place", seen["scroll"] <= seen["width"], (seen["scroll"], seen["over"]))
    tally.hold(f"{name} on a telephone: labels stand before their blanks", not seen["torn"], seen["torn"])
    tally.hold(f"{name}: says its language", seen["language"] == "en", seen["language"])
    tally.hold(f"{name}: has a title", bool(seen["title"].strip()), seen["title"])
    tally.hold(f"{name}: needs nothing from outside", seen["scripts"] == 0, seen["scripts"])
    tally.hold(f"{name}: heads of tables say what they head", seen["unnamed"] == 0, seen["unnamed"])
    steps = list(zip(seen["heads"], seen["heads"][1:]))
    tally.hold(f"{name}: headings go down step by step", all(after - before <= 1 for before, after in steps), seen["heads"])
    tally.hold(f"{name}: begins with its heading", seen["heads"][:1] == [1], seen["heads"])


def chart(browser, tally, name, file, checked):
    medium(browser, "screen")
    size(browser, 1200, 2000)
    browser.get(file.as_uri())
    seen = browser.execute_script(DRAWN)
    # One that was never checked has nothing to draw.
    tally.hold(f"{name}: is drawn", (seen["texts"] > 5 and seen["marks"] > 5) == checked, seen)
    tally.hold(f"{name}: has a name", bool(seen["name"].strip()), seen["name"])
    tally.hold(f"{name}: no text leaves the picture", not seen["outside"], seen["outside"])
    tally.hold(f"{name}: no text stands upon another", not seen["upon"], seen["upon"])


def spoiled(browser, tally, folder):
    """A page and a chart with every fault: each must be seen, else this test tells nothing."""
    bad = folder / "spoiled.html"
    bad.write_text(
        "<!DOCTYPE html><html><head><title> </title></head><body><main><h2>No first heading</h2>"
        "<div style='width:3000px'>wide</div><p style='width:60px'>some long label<span class='blank' "
        "style='display:inline-block;width:59px;border-bottom:1px solid'></span></p><p style='color:#bbb'>faint</p>"
        "<table style='width:3000px'><tr><th>head</th></tr></table><img></main></body></html>",
        encoding="utf-8",
    )
    found = Tally(silent=True)
    page(browser, found, "spoiled", bad, [("No such heading", 3)])
    # Twice of paper: width, cut, border, label, contrast, lost heading; once: place, label, language, title, outside, heads, first.
    tally.hold("every fault of a page is found", found.failed == 2 * 6 + 7, found.failed)
    drawing = folder / "spoiled.svg"
    drawing.write_text(
        "<svg xmlns='http://www.w3.org/2000/svg' width='200' height='100'><text x='180' y='20'>leaves the picture</text>"
        "<text x='10' y='50'>one upon</text><text x='12' y='51'>another</text></svg>",
        encoding="utf-8",
    )
    found = Tally(silent=True)
    chart(browser, found, "spoiled chart", drawing, checked=True)
    tally.hold("every fault of a chart is found", found.failed == 4, found.failed)


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("program", type=Path)
    parser.add_argument("root", type=Path, nargs="?", default=Path(__file__).resolve().parents[2])
    arguments = parser.parse_args()
    program = arguments.program.resolve()
    tally = Tally()
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        book = folder / "book"
        shutil.copytree(arguments.root / "records-example", book)
        (folder / "offer.csv").write_text(OFFER, encoding="utf-8")
        try:
            browser = opened()
        except (WebDriverException, OSError, TypeError) as error:
            print(f"the browser cannot be used: {error}", file=sys.stderr)
            return 3
        try:
            instruments = sorted(file.stem for file in (book / "instruments").glob("*.toml"))
            within = folder / "within.html"
            run(program, book, "plan", "--within", 30, "--output", f"html={within}")
            text = within.read_text(encoding="utf-8")
            on_it = [f"{name}: " for name in instruments if f"<h3>{name}: " in text]
            tally.hold("the bench sheet has instruments", len(on_it) > 3, on_it)
            page(browser, tally, "bench sheet", within, [(name, 3) for name in on_it])
            for name in instruments:
                file = folder / f"{name}.html"
                run(program, book, "plan", name, "--output", f"html={file}")
                page(browser, tally, f"plan of {name}", file, [])
                file = folder / f"{name}.svg"
                file.write_text(run(program, book, "trend", name, "--format", "svg"), encoding="utf-8")
                checked = any(book.glob(f"checks/*/{name}/*.toml"))
                chart(browser, tally, f"trend of {name}", file, checked)
            spoiled(browser, tally, folder)
        finally:
            browser.quit()
    print(f"{tally.passed} passed, {tally.failed} failed")
    return 1 if tally.failed else 0


if __name__ == "__main__":
    try:
        sys.exit(main())
    except RuntimeError as error:
        print(error, file=sys.stderr)
        sys.exit(3)
