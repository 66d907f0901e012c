"""How the page looks: to axe, at 200 %, on paper, and beside pictures that were looked at and kept.

``looks/*.png`` are the first screen of the page at three widths, light and dark, at a third of its size. To
take them anew (then look at every one): ``SURGE_LOOKS=take pytest tests/page/test_looks.py``.

Decisions
---------
* A picture is compared as a coarse grid of mean colours, since another font puts words elsewhere: it tells a
  lost style, a wrong scheme, a part that is not there. What stands beside or below what is told by boxes.
  Both are tested with styles that break the page, and with fonts that do not.
"""

from __future__ import annotations

import io
import itertools
import os
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image
from support.chromium import EXCEEDED, IN_A_BROWSER, KEPT, Opened, figure
from support.chromium import write_case as write
from support.inputs.berth import shutdown_alone

pytestmark = IN_A_BROWSER
AXE = Path(__file__).parent / "vendor" / "axe.min.js"
LOOKS = Path(__file__).parent / "looks"
WIDTHS, SCHEMES = (1280, 800, 390), ("light", "dark")
GRID = 12, 9  # fields across and down
FAR, MOST = 16.0, 0.12  # of 255 that a field may be off; share of the fields that may be further
CARDS = ("line", "strokes", "pressures", "wave", "agree", "records", "text", "inspector", "advice")
WHOLE = ("verdict", "headline", "sentence", "sketch", "sliders", "order", "chart", "peaks", *CARDS)
BOXES = """ids => ids.map(id => {
  const b = document.getElementById(id).getBoundingClientRect();
  return [b.x, b.y, b.right, b.bottom];
})"""
SIDE = [["line", "strokes", "pressures", "wave", "agree", "records", "text"], ["inspector", "advice"]]
NARROW = [["line", "inspector", "strokes", "pressures", "advice", "wave", "agree", "records", "text"]]
RESTYLE = """style => {
  const sheet = new CSSStyleSheet();
  sheet.replaceSync(style);
  document.adoptedStyleSheets = [sheet];
}"""


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
    text = shutdown_alone(arms=2, tanks=4)
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


def fields(picture: Image.Image) -> np.ndarray[Any, Any]:
    """Mean colours of a coarse grid, after a blur by which neighbours share what lies at their edge."""
    small = picture.convert("RGB").resize((2 * GRID[0], 2 * GRID[1]), Image.Resampling.BOX)
    return np.asarray(small.resize(GRID, Image.Resampling.BILINEAR), dtype=float)


def unlike(picture: Image.Image, kept: Image.Image) -> float:
    """Share of the fields of two pictures that are far apart."""
    return float(np.mean(np.abs(fields(picture) - fields(kept)).max(axis=2) > FAR))


def seen(page: Any) -> Image.Image:
    return Image.open(io.BytesIO(page.screenshot(animations="disabled")))


def troubles(page: Any) -> list[str]:
    """What is wrong with the places of the parts, whatever the font."""
    width = page.evaluate("innerWidth")
    boxes = dict(zip(WHOLE, page.evaluate(BOXES, list(WHOLE)), strict=True))
    found = [f"{name} is not there" for name, b in boxes.items() if b[2] - b[0] < 40 or b[3] - b[1] < 15]
    found += [f"{name} is cut" for name, b in boxes.items() if b[0] < 0 or b[2] > width + 1]
    columns: dict[int, list[str]] = {}
    for name in sorted(CARDS, key=lambda n: boxes[n][1]):
        columns.setdefault(round(boxes[name][0] / 50), []).append(name)
    if [columns[x] for x in sorted(columns)] != (SIDE if width > 1120 else NARROW):
        found.append(f"order: {columns}")
    for one, other in itertools.combinations(CARDS, 2):
        a, b = boxes[one], boxes[other]
        if min(a[2], b[2]) - max(a[0], b[0]) > 1 and min(a[3], b[3]) - max(a[1], b[1]) > 1:
            found.append(f"{one} lies on {other}")
    return found


STYLES = (
    ("body, button, select { font-family: serif !important }", True),
    ("body { letter-spacing: .03em }", True),
    ("body { font-size: 1.05rem; line-height: 1.55 }", True),
    (".columns { display: block !important }", False),
    (".verdict { display: none !important }", False),
    ("#sketch { display: none !important }", False),
    ("#strokes { margin-top: -9rem }", False),
    (":root { --card: #222 !important }", False),
    ("* { all: revert !important }", False),
)


def test_the_page_looks_as_it_did_and_a_broken_look_is_told_and_another_font_is_none(
    opened: Opened, served: tuple[Path, str]
) -> None:
    write(served[0], "coupling.toml", "gas-oil-release-coupling")
    page = opened("coupling.toml", reduced_motion="reduce")
    page.wait_for_selector(EXCEEDED)
    page.wait_for_selector("#steps li")
    page.wait_for_selector("#order .bar")
    far: dict[str, float] = {}
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 900})
        for scheme in SCHEMES:
            page.emulate_media(color_scheme=scheme)
            page.evaluate("scrollTo(0, 0)")
            page.wait_for_timeout(300)
            assert troubles(page) == [], width
            path, now = LOOKS / f"{width}-{scheme}.png", seen(page)
            if os.environ.get("SURGE_LOOKS") == "take":
                small = now.convert("RGB").resize((width // 3, 300), Image.Resampling.LANCZOS)
                small.quantize(64).save(path, optimize=True)
            with Image.open(path) as kept:
                far[path.name] = unlike(now, kept)
    assert max(far.values()) <= MOST, far
    page.set_viewport_size({"width": 1280, "height": 900})
    page.emulate_media(color_scheme="light")
    page.evaluate("scrollTo(0, 0)")
    kept = Image.open(LOOKS / "1280-light.png")
    for style, alike in STYLES:
        page.evaluate(RESTYLE, style)
        page.wait_for_timeout(300)
        found, far = troubles(page), unlike(seen(page), kept)
        assert (not found and far <= MOST) == alike, (style, found, far)
