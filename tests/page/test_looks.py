"""How the page looks: to axe, at 200 %, on paper."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from support.chromium import EXCEEDED, IN_A_BROWSER, KEPT, Opened, figure
from support.chromium import write_case as write

import surge

pytestmark = IN_A_BROWSER
AXE = Path(__file__).parent / "vendor" / "axe.min.js"


def audit(page: Any) -> list[str]:
    """What axe finds, in words."""
    if not page.evaluate("'axe' in window"):
        page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    return [
        f"{v['id']}: {v['help']}: {[n['html'][:120] for n in v['nodes'][:3]]}" for v in found["violations"]
    ]


def test_axe_finds_nothing(opened: Opened, served: tuple[Path, str]) -> None:
    write(served[0], "coupling.toml", "gas-oil-release-coupling")
    page = opened("coupling.toml", reduced_motion="reduce")
    page.wait_for_selector(EXCEEDED)
    page.click("#make-film")
    page.wait_for_selector("#film-picture")
    page.click("#draw-chart")
    page.wait_for_selector(".agree-chart")
    page.wait_for_selector("#steps li")  # what mends it was tried
    assert "8.6 s or more" in page.inner_text("#steps")
    page.locator("#sketch .part.hose").click()
    page.click("summary:has-text('From the side')")
    page.wait_for_selector("#heights .spot")
    for width in (1280, 390):
        page.set_viewport_size({"width": width, "height": 900})
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            assert audit(page) == [], (width, scheme)
    figure(page, "hose", 0, "length").fill("20,5")
    page.keyboard.press("Tab")
    page.wait_for_selector("#form .fault")
    assert audit(page) == []
    page.click("#new")
    assert audit(page) == []
    page.click("dialog button:has-text('Leave it')")
    page.click("#undo")
    page.wait_for_selector(EXCEEDED)
    page.click("#steps li:has-text('8.6 s or more') button")  # what was told as safe is safe
    page.wait_for_selector(KEPT)
    assert 'stroke = "8.6 s"' in page.locator("#toml").text_content()


def test_narrow_large_still_and_on_paper(opened: Opened, served: tuple[Path, str]) -> None:
    write(served[0], "one.toml")
    page = opened("one.toml", width=360, reduced_motion="reduce")
    page.wait_for_selector(KEPT)
    page.evaluate("document.documentElement.style.fontSize = '200%'")
    page.wait_for_timeout(300)
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 1
    page.evaluate("document.documentElement.style.fontSize = ''")
    page.click("#make-film")
    page.wait_for_selector("#film-picture")
    page.wait_for_timeout(300)
    assert page.locator("#play").inner_text() == "Play"  # it does not begin by itself
    assert page.locator("#film input[type=range]").input_value() == "0"
    page.get_by_label("One frame on").click()
    assert page.locator("#film input[type=range]").input_value() == "1"
    page.hover("#film-picture")
    assert "bar(g) at" in page.inner_text("#film-tip")
    page.emulate_media(media="print")
    assert not page.is_visible("#undo")
    assert page.is_visible("#headline")
    assert page.is_visible("#peaks table")


def test_what_is_wider_than_the_page_says_so_and_can_be_read(
    opened: Opened, served: tuple[Path, str]
) -> None:
    path = write(served[0], "wide.toml")
    text = surge.new_case(arms=2, tanks=4)
    path.write_text(text.replace("shore control valve", "quick-acting control valve"), encoding="utf-8")
    page = opened("wide.toml", width=1600, reduced_motion="reduce")
    page.wait_for_selector(KEPT)
    assert not page.is_visible("#wider")
    edges = "els => els.map(e => [e.getBBox().x, e.getBBox().x + e.getBBox().width])"
    for width in (1600, 1280, 390):
        page.set_viewport_size({"width": width, "height": 900})
        page.wait_for_timeout(300)
        scrolls = page.evaluate("(e => e.scrollWidth > e.clientWidth)(document.querySelector('#sketch'))")
        assert page.is_visible("#wider") == scrolls, width
        whole = float(page.get_attribute("#sketch svg", "width"))
        for left, right in page.eval_on_selector_all("#sketch text", edges):
            assert 0 <= left < right <= whole, width  # no name is cut
    assert scrolls
    page.click("#make-film")
    page.wait_for_selector("#film-picture")
    box = page.eval_on_selector("#film-picture", "e => [e.clientWidth, e.viewBox.baseVal.width]")
    assert box[0] >= 0.95 * box[1]  # its letters are as large as those of the page
