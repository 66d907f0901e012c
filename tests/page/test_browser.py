"""The page in a browser, with real clicks, drags and keys. Skipped where there is no Chromium."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from support.chromium import EXCEEDED, IN_A_BROWSER, KEPT, LONG, Opened, figure, wait_for_text
from support.chromium import write_case as write
from support.demos import CASES

import surge
from surge.case.file import load_case

sync = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
pytestmark = IN_A_BROWSER


def test_a_berth_from_the_template_to_the_sheet(opened: Opened, served: tuple[Path, str]) -> None:
    folder, _ = served
    page = opened()
    page.fill("dialog input[name=name]", "berth.toml")  # a folder without cases asks for one
    page.fill("dialog input[name=arms]", "1")
    page.fill("dialog input[name=tanks]", "1")
    page.click("dialog button[type=submit]")
    page.wait_for_selector(KEPT)
    assert page.inner_text("#headline") == "Limits kept"
    assert "Weakest is" in page.inner_text("#sentence")
    assert page.locator("#sketch .part.arm").count() == 1
    # Drag the stroke down: a quick look, which is no verdict; then the full run.
    slider = page.locator("#sliders input").nth(1)
    slider.wait_for()
    slider.scroll_into_view_if_needed()
    box = slider.bounding_box()
    middle = box["y"] + box["height"] / 2
    page.mouse.move(box["x"] + box["width"] / 2, middle)
    page.mouse.down()
    for k in range(8):
        page.mouse.move(box["x"] + box["width"] * (0.5 - 0.03 * k), middle)
    page.wait_for_selector("#look:not([hidden])")
    assert "quick look, no verdict" in page.inner_text("#look")
    assert page.inner_text("#headline") == "Quick look, no verdict"
    page.mouse.up()
    page.wait_for_selector(EXCEEDED)
    page.click("#save")
    page.wait_for_selector("#saved:text-is('saved')")
    text = (folder / "berth.toml").read_text(encoding="utf-8")
    before = surge.new_case(arms=1, tanks=1, through="drop lines", cargo="gas oil").splitlines()
    changed = [line for line in text.splitlines() if line not in before]
    assert len(text.splitlines()) == len(before)
    assert changed
    assert all(line.startswith("stroke = ") for line in changed)
    assert page.inner_text("#headline") == "Limit exceeded"
    sentence = page.inner_text("#sentence")
    page.context.close()
    assert surge.check(folder / "berth.toml", remedies=False).verdict == "limit exceeded"
    again = opened("berth.toml")
    again.wait_for_selector(EXCEEDED)
    assert again.inner_text("#sentence") == sentence
    with again.expect_download() as waiting:
        again.click("#sheet")
    assert Path(waiting.value.path()).read_bytes().startswith(b"%PDF-")
    assert "NOT AN AGREEMENT" in again.inner_text("#agree-sheet")


def test_without_a_mouse(opened: Opened, served: tuple[Path, str]) -> None:
    path = write(served[0], "one.toml")
    page = opened("one.toml")
    page.wait_for_selector(KEPT)
    page.locator("#sketch .part[tabindex='0']").focus()
    names = []
    for _ in range(4):
        page.keyboard.press("ArrowRight")
        names.append(page.evaluate("document.activeElement.getAttribute('aria-label')"))
    assert len(set(names)) == 4
    while "pipe shore line" not in page.evaluate("document.activeElement.getAttribute('aria-label')"):
        page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "inspector-head"
    for _ in range(40):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.getAttribute('data-path')") == '["pipe",0,"length"]':
            break
    page.keyboard.press("Control+a")
    page.keyboard.type("900 m")
    page.keyboard.press("Enter")
    page.wait_for_selector("#saved:text-is('not saved')")
    page.keyboard.press("Control+s")
    page.wait_for_selector("#saved:text-is('saved')")
    assert load_case(path).lineup.pipes[0].length == 900.0
    page.locator("#inspector-head").focus()
    page.keyboard.press("Control+z")
    page.wait_for_selector("#saved:text-is('not saved')")
    assert figure(page, "pipe", 0, "length").input_value() == "800 m"


def test_faults_stand_at_their_field_and_go_when_mended(opened: Opened, served: tuple[Path, str]) -> None:
    write(served[0], "one.toml")
    page = opened("one.toml")
    page.wait_for_selector(KEPT)
    page.click("button.chip:text-is('Rate')")
    for bad in ("", "300", "300 furlongs", "3,5 m3/h", "-5 m3/h", "9e9 m3/h"):
        figure(page, "rate", "agreed").fill(bad)
        page.keyboard.press("Tab")
        page.wait_for_selector("#form .fault")
        assert page.inner_text("#headline") == "No verdict"
        assert figure(page, "rate", "agreed").get_attribute("aria-invalid") == "true"
        assert page.locator("#fault-list li").count() >= 1
        assert page.inner_text("#form .fault") != ""
    figure(page, "rate", "agreed").fill("290 m3/h")
    page.keyboard.press("Tab")
    page.wait_for_selector(KEPT)
    assert page.locator("#form .fault").count() == 0
    page.click("#undo")
    page.wait_for_selector("#form .fault")
    page.click("#redo")
    page.wait_for_selector(KEPT)


def test_what_is_typed_and_pressed_outlives_an_answer(opened: Opened, served: tuple[Path, str]) -> None:
    write(served[0], "one.toml")
    page = opened("one.toml")
    page.wait_for_selector(KEPT)
    page.click("button.chip:text-is('Title and note')")
    figure(page, "title").fill("another title")
    page.keyboard.press("Enter")
    page.wait_for_selector("#verdict.none")
    figure(page, "title").fill("half a ti")  # while the check is under way
    page.wait_for_selector(KEPT)
    page.wait_for_selector("#peaks table")
    page.wait_for_timeout(300)
    assert figure(page, "title").input_value() == "half a ti"
    page.keyboard.type("tle")
    # The press that leaves the field is a choice too, however long it takes.
    box = page.locator("#sketch .part.arm").bounding_box()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.down()
    page.wait_for_timeout(700)
    page.mouse.up()
    page.wait_for_selector("#inspector-head:has-text('loading arm 1')")
    page.wait_for_selector("#title:text-is('half a title')")
    figure(page, "arm", 0, "length").fill("23 m")
    page.keyboard.press(
        "Shift+Tab"
    )  # to the name, which is selected, and stays so when the form is drawn anew
    page.wait_for_selector("#toml:has-text('23 m')", state="attached")
    page.wait_for_timeout(300)
    page.keyboard.type("arm of ours")
    page.keyboard.press("Enter")
    page.wait_for_selector("#inspector-head:text-is('Arm arm of ours')")
    page.wait_for_selector(KEPT)
    assert figure(page, "arm", 0, "length").input_value() == "23 m"


def test_parts_are_put_in_and_taken_out(opened: Opened, served: tuple[Path, str]) -> None:
    path = write(served[0], "one.toml")
    before = path.read_text(encoding="utf-8")
    page = opened("one.toml")
    page.wait_for_selector(KEPT)
    parts = page.locator("#sketch .part").count()
    page.locator("#sketch .part.arm").click()
    page.select_option("#form select[aria-label='Kind of the part to put in']", "valve")
    page.click("#form button:text-is('Put in')")
    sync.expect(page.locator("#sketch .part")).to_have_count(parts + 2, timeout=LONG)  # with its point
    page.locator("#sketch .part.point[aria-label^='point berth']").click()
    page.select_option("#form .actions select", "relief_valve")
    page.click("#form button:text-is('Put')")
    page.wait_for_selector("#sketch .part.relief_valve")
    page.click("button.chip:text-is('Title and note')")
    figure(page, "title").fill("A berth of ours")
    page.keyboard.press("Tab")
    page.wait_for_selector("#title:text-is('A berth of ours')")
    page.click("#save")
    page.wait_for_selector("#saved:text-is('saved')")
    lineup = load_case(path).lineup
    assert [v.name for v in lineup.relief_valves] == ["relief valve"]
    assert lineup.title == "A berth of ours"
    gone = [line for line in before.splitlines() if line not in path.read_text(encoding="utf-8").splitlines()]
    assert len(gone) == 1  # the title: the end of the arm stands in other lines too
    for _ in range(3):
        page.click("#undo")
    page.wait_for_selector("#sketch .part.relief_valve", state="detached")
    wait_for_text(page, before)
    page.wait_for_selector(KEPT)
    assert page.locator("#toml").text_content() == before


def test_a_bar_is_dragged_and_a_drag_that_comes_back_changes_nothing(
    opened: Opened, served: tuple[Path, str]
) -> None:
    path = served[0] / "one.toml"
    path.write_text(surge.new_case(arms=1, tanks=1), encoding="utf-8")
    before = path.read_text(encoding="utf-8")
    page = opened("one.toml")
    page.wait_for_selector(KEPT)
    sentence = page.inner_text("#sentence")
    bar = page.locator("#order .bar").last
    bar.wait_for()
    bar.scroll_into_view_if_needed()
    box = bar.bounding_box()
    y = box["y"] + box["height"] / 2
    page.mouse.move(box["x"] + 4, y)
    page.mouse.down()
    page.mouse.move(box["x"] + 64, y, steps=4)
    page.wait_for_selector("#look:not([hidden])")
    assert page.inner_text("#headline") == "Quick look, no verdict"
    page.mouse.move(box["x"] + 4, y, steps=4)
    page.mouse.up()
    page.wait_for_selector(KEPT)
    page.wait_for_selector("#look", state="hidden")
    assert page.inner_text("#sentence") == sentence
    assert page.locator("#toml").text_content() == before
    page.locator("#order .bar").last.press("PageUp")
    page.locator("#toml", has_not_text=before).wait_for(state="attached")
    page.wait_for_selector("#saved:text-is('not saved')")
    page.wait_for_selector(KEPT)
    changed = set(page.locator("#toml").text_content().splitlines()) - set(before.splitlines())
    assert changed <= {'wait = "5.0 s"', 'wait = "5 s"', 'at = "10 s"'}
    assert changed
    page.click("#undo")
    wait_for_text(page, before)
    page.wait_for_selector(KEPT)
    page.select_option("#scenario", "emergency shutdown")
    page.locator("#order select").first.select_option("after berth ESD valve")
    wait_for_text(page, 'after = "berth ESD valve"')
    page.wait_for_selector("#saved:text-is('not saved')")
    page.wait_for_selector(".verdict:not(.none)")
    assert page.locator("#fault-list li").count() == 0


def test_text_of_a_case_never_runs(opened: Opened, served: tuple[Path, str]) -> None:
    hostile = "<img src=x onerror=hit()><script>hit()</script>"
    write(
        served[0], "one.toml", None, **{"loading arm 1": hostile, "Gas oil, 1 arm": f"{hostile}"[:60] + " "}
    )
    page = opened("one.toml")
    page.evaluate("() => { window.hits = 0; window.hit = () => { window.hits += 1; }; }")
    page.wait_for_selector(KEPT)
    page.locator("#sketch .part.arm").click()
    page.wait_for_selector("#peaks table")
    page.wait_for_timeout(200)
    assert page.evaluate("window.hits") == 0
    assert page.locator("#main img, #main script").count() == 0
    assert hostile in page.inner_text("#inspector-head")


def test_unsaved_work_comes_back_and_a_file_changed_outside_is_told(
    opened: Opened, served: tuple[Path, str]
) -> None:
    path = write(served[0], "one.toml")
    page = opened("one.toml")
    page.wait_for_selector(KEPT)
    page.click("button.chip:text-is('Rate')")
    figure(page, "rate", "agreed").fill("280 m3/h")
    page.keyboard.press("Tab")
    page.wait_for_selector("#saved:text-is('not saved')")
    page.wait_for_timeout(900)  # it is kept a moment after
    page.context.close()
    path.write_text(path.read_text(encoding="utf-8").replace('"300 m3/h"', '"310 m3/h"'), encoding="utf-8")
    again = opened("one.toml")
    again.wait_for_selector("#messages .message:has-text('is back')")
    again.click("button.chip:text-is('Rate')")
    assert figure(again, "rate", "agreed").input_value() == "280 m3/h"
    again.click("#save")
    again.wait_for_selector("#messages .message:has-text('changed outside')")
    assert '"310 m3/h"' in path.read_text(encoding="utf-8")
    again.click("button:has-text('Write mine over it')")
    again.wait_for_selector("#saved:text-is('saved')")
    assert '"280 m3/h"' in path.read_text(encoding="utf-8")


def test_what_was_changed_a_moment_ago_is_kept(opened: Opened, served: tuple[Path, str]) -> None:
    write(served[0], "one.toml")
    page = opened("one.toml")
    page.wait_for_selector(KEPT)
    url = page.url
    page.click("button.chip:text-is('Rate')")
    figure(page, "rate", "agreed").fill("280 m3/h")
    page.keyboard.press("Tab")
    page.wait_for_selector("#saved:text-is('not saved')")
    page.goto("about:blank")  # at once
    page.goto(url)
    page.wait_for_selector("#messages .message:has-text('is back')")
    page.click("button.chip:text-is('Rate')")
    assert figure(page, "rate", "agreed").input_value() == "280 m3/h"


def test_two_tabs_on_one_case_keep_what_is_theirs(opened: Opened, served: tuple[Path, str]) -> None:
    path = write(served[0], "one.toml")
    first = opened("one.toml")
    first.wait_for_selector(KEPT)

    def rate(page: Any, value: str) -> None:
        page.click("button.chip:text-is('Rate')")
        figure(page, "rate", "agreed").fill(value)
        page.keyboard.press("Tab")
        page.wait_for_selector("#saved:text-is('not saved')")

    rate(first, "280 m3/h")
    first.wait_for_timeout(900)  # it is kept a moment after
    second = first.context.new_page()
    second.set_default_timeout(LONG)
    second.goto(first.url)
    second.wait_for_selector("#messages .message:has-text('another tab')")
    second.click("button.chip:text-is('Rate')")
    assert figure(second, "rate", "agreed").input_value() == "300 m3/h"
    rate(second, "290 m3/h")
    second.click("#save")
    second.wait_for_selector("#saved:text-is('saved')")
    first.bring_to_front()
    first.wait_for_selector("#messages .message:has-text('changed outside')")
    assert figure(first, "rate", "agreed").input_value() == "280 m3/h"
    first.close()  # what it has not saved is there for the next one
    third = second.context.new_page()
    third.set_default_timeout(LONG)
    third.goto(second.url)
    third.wait_for_selector("#messages .message:has-text('the file has changed meanwhile')")
    third.click("button.chip:text-is('Rate')")
    assert figure(third, "rate", "agreed").input_value() == "280 m3/h"
    assert '"290 m3/h"' in path.read_text(encoding="utf-8")


def test_what_is_asked_instead_of_a_search_ends_it(opened: Opened, served: tuple[Path, str]) -> None:
    write(served[0], "berth.toml", "gas-oil-release-coupling")
    page = opened("berth.toml")
    page.wait_for_selector(EXCEEDED)
    page.click("#windows")
    page.wait_for_selector("#agree-windows progress")
    page.select_option("#scenario", "release at reduced rate")
    page.click("#draw-chart")
    page.wait_for_selector(".agree-chart")
    assert page.locator("#agree-windows progress").count() == 0
    assert "something else was asked" in page.inner_text("#agree-windows")
    assert "Scenario release at reduced rate." in page.inner_text("#agree-chart")
    page.click("#windows")
    page.wait_for_selector("#agree-windows table")
    assert "8.6 s" in page.inner_text("#joint .set")
    assert "window: close no faster than 8.6 s" in page.inner_text("#sliders")
    assert page.locator("#sliders .safe").count() >= 1
    page.click("#joint button")
    wait_for_text(page, 'stroke = "8.6 s"')
    page.wait_for_selector(KEPT)
    assert "window: close no faster than 8.6 s" in page.inner_text("#sliders")  # it holds for its own stroke
    words = page.inner_text("#agree-windows pre")
    assert "beyond it" in words  # the greatest rates stand there, and nothing leads to the command line
    assert "--details" not in words


def test_the_chart_sets_the_point_and_a_table_is_dropped(opened: Opened, served: tuple[Path, str]) -> None:
    path = write(served[0], "coupling.toml", "gas-oil-release-coupling")
    full, _, reduced = path.read_text(encoding="utf-8").rpartition("[[scenario]]\nname")
    assert "release at reduced rate" in reduced
    path.write_text(full, encoding="utf-8")  # one scenario in which to find forces
    page = opened("coupling.toml")
    page.wait_for_selector(EXCEEDED)
    page.click("#draw-chart")
    page.wait_for_selector(".agree-chart")
    safe = page.locator(".agree-chart .cell.low").first
    label = safe.get_attribute("aria-label")
    safe.focus()
    page.keyboard.press("Enter")
    page.wait_for_selector(KEPT)
    rate, stroke = label.split(":")[0].split(", ")
    text = page.locator("#toml").text_content()
    assert f'"{stroke}"' in text
    assert f'"{float(rate.split()[0]):g} m3/h"' in text
    page.click("#compare")
    page.wait_for_selector("#compared")
    assert page.inner_text("#compared").startswith("Limit exceeded before, limits kept now")
    assert "stroke" in page.inner_text("#agree-compare li >> nth=-1")
    page.click("#forces")
    page.wait_for_selector("#agree-forces img")
    assert '"shore line"' in page.inner_text("#agree-forces pre >> nth=0")
    page.set_input_files("#table input[type=file]", CASES / "records" / "stroke-tests.csv")
    page.wait_for_selector("#understood li")
    assert "VERDICT" in page.inner_text("#table pre >> nth=0")
    number = page.get_by_label("What the column No. means")
    assert number.input_value() == ""
    assert page.get_by_label("What the column Valve means").input_value() == "tag"
    number.select_option("repeat")
    page.wait_for_selector("#columns tr >> nth=1 >> option[value=repeat]:checked", state="attached")
