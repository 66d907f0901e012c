"""The HTML in a real browser: no request to anywhere, no console error, two pages of paper. Optional."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pypdf
import pytest
from support.demos import Demos
from support.sheets import html_of, sheet

from surge.plots.captions import film_words
from surge.plots.film_files import film_file
from surge.reports.words import Display
from surge.sheet.data import A_DRAFT, TO_SIGN
from surge.views.film import film_of
from surge.views.subject import subject_of

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium here")
BROWSER = "not an origin"
QUIET = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
    "--enable-logging=stderr",
)


def opened(page: str, tmp_path: Path, *more: str) -> tuple[set[str], list[str]]:
    """Open a page; return the addresses that it asked for, its own left out, and what the console said."""
    file, log = tmp_path / "page.html", tmp_path / "net.json"
    file.write_text(page, encoding="utf-8")
    command = [str(CHROMIUM), *QUIET, f"--user-data-dir={tmp_path / 'profile'}", f"--log-net-log={log}"]
    more = more or ("--dump-dom", "--virtual-time-budget=1500")
    done = subprocess.run(
        [*command, *more, file.as_uri()], capture_output=True, text=True, timeout=600, check=True
    )
    console = re.findall(r".*CONSOLE.*", done.stderr)
    events = json.loads(log.read_text(encoding="utf-8"))["events"]
    # What the browser asks for by itself has no origin.
    asked = [e["params"] for e in events if e.get("params", {}).get("initiator", BROWSER) != BROWSER]
    return {p["url"] for p in asked if not p["url"].startswith(("file:", "data:", "blob:"))}, console


def test_a_page_that_asks_and_fails_is_found_out(tmp_path: Path) -> None:
    """Else the tests below could not fail."""
    page = '<!DOCTYPE html><img src="http://127.0.0.1:9/x.png"><script>console.error("oh dear")</script>'
    asked, console = opened(page, tmp_path)
    assert "http://127.0.0.1:9/x.png" in asked
    assert any("oh dear" in line for line in console)


@pytest.mark.parametrize("name", ["gasoline-drop-lines", "kerosene-shutdown-linked-and-not"])
def test_the_sheet_asks_for_nothing_says_nothing_and_prints_on_two_pages(
    name: str, tmp_path: Path, demos: Demos
) -> None:
    case, paper = demos[name].case, tmp_path / "paper.pdf"
    made = sheet(case, assessment=demos[name].answer)
    if made.standing == A_DRAFT:  # as long as with its windows, and with room for signatures
        said = ("Not searched: windows of four valves, which the case does not mark as adjustable. " * 2,) * 2
        made = replace(made, signable=True, standing=TO_SIGN, headline="LIMITS KEPT", not_searched=said)
    page = html_of(case, made)
    print_it = (f"--print-to-pdf={paper}", "--no-pdf-header-footer")
    assert opened(page, tmp_path, *print_it) == (set(), [])
    pages = [p.extract_text() for p in pypdf.PdfReader(paper).pages]
    assert len(pages) == 2
    assert "Cautions" in pages[0]
    assert case.sha256 in "".join(pages[0].split())  # on the page that is signed
    assert ("Signature" in pages[0]) == made.signable
    assert pages[1].startswith("Details")


def test_the_animation_asks_for_nothing_and_runs_without_errors(tmp_path: Path, demos: Demos) -> None:
    subject = subject_of(demos["crude-sea-line"].answer)
    film = film_of(subject, begin=12.0, end=16.0, playing=2.0)
    display = Display(units=demos["crude-sea-line"].case.show, density=865.0)
    words, alt = film_words(film, display, "signature")
    page = film_file("html", film, display, words, alt=alt).decode()
    assert opened(page, tmp_path) == (set(), [])
