"""How long the page takes from a drag to the new picture, as a ratio to one quick march of the same scenario.

    python tests/benchmarks/page_drag.py [CASE]

Without a browser on the machine only the way through the process is timed. Medians of one run.
"""

from __future__ import annotations

import argparse
import asyncio
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import surge
from surge.hydraulics.fixed import at_shares, scenario_at
from surge.model.ranges import usual_shares
from surge.page.desk import Desk

ROOT = Path(surge.__file__).parents[1]
TIMES = 15
# Moves the slider of the rate, and waits until the look is told, with which the chart is drawn.
DRAG = """async (times) => {
  const slider = document.querySelector("#sliders input"), found = [];
  for (let k = 0; k < times; k += 1) {
    const began = performance.now();
    slider.value = String(500 - 8 * k);
    slider.dispatchEvent(new Event("input"));
    await new Promise((done) => {
      const seen = new MutationObserver(() => { seen.disconnect(); requestAnimationFrame(() => done()); });
      seen.observe(document.querySelector("#look"), { childList: true, attributes: true });
    });
    found.push((performance.now() - began) / 1000);
  }
  return found;
}"""


def march(case: Path) -> tuple[float, str]:
    """Median of one quick march of the scenario nearest to a limit [s], and its name."""
    loaded = surge.load_case(case)
    weakest = surge.check(loaded, remedies=False).weakest
    assert weakest is not None
    lineup = at_shares(loaded.lineup, usual_shares(loaded.lineup))
    own = next(s for s in loaded.lineup.scenarios if s.name == weakest.scenario)
    scenario = scenario_at(own, loaded.lineup, lineup)
    return timed(lambda: surge.simulate(lineup, scenario, quick=True)), own.name


def timed(work: Any) -> float:
    taken = []
    for _ in range(TIMES):
        began = time.perf_counter()
        work()
        taken.append(time.perf_counter() - began)
    return statistics.median(taken)


async def through_the_process(case: Path, scenario: str) -> float:
    """Median of a look that is asked of a process [s]."""
    desk, taken = Desk(str(case.parent)), []
    text = case.read_text(encoding="utf-8")
    for k in range(TIMES + 2):
        change = {"do": "set", "path": ["rate", "agreed"], "value": f"{500 + k} m3/h"}
        request = {"do": "look", "name": case.name, "text": text, "changes": [change], "scenario": scenario}
        began = time.perf_counter()
        async for _ in desk.ask("tab", "quick", request):
            pass
        taken.append(time.perf_counter() - began)
    await desk.close()
    return statistics.median(taken[2:])  # the first ones load the solver


def in_the_browser(case: Path) -> float | None:
    """Median from a drag to the drawn chart [s]; None without a browser."""
    chromium = shutil.which("chromium")
    if chromium is None:
        return None
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as state:
        environment = {**os.environ, "XDG_STATE_HOME": state, "PYTHONPATH": str(ROOT)}
        command = [sys.executable, "-m", "surge", "page", case.name, "--no-browser"]
        with subprocess.Popen(
            command, cwd=case.parent, env=environment, stdout=subprocess.PIPE, text=True
        ) as server:
            assert server.stdout is not None
            url = server.stdout.readline().strip()
            time.sleep(1.0)
            with sync_playwright() as playwright:
                browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
                page = browser.new_page()
                page.goto(url)
                page.wait_for_selector("#chart canvas", timeout=120_000)
                page.wait_for_timeout(4000)
                page.evaluate(DRAG, 3)
                found: list[float] = page.evaluate(DRAG, TIMES)
                browser.close()
            server.kill()
    return statistics.median(found)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("case", nargs="?", default=str(ROOT / "cases" / "gasoline-drop-lines.toml"))
    case = Path(parser.parse_args().case).resolve()
    one, scenario = march(case)
    asked = asyncio.run(through_the_process(case, scenario))
    drawn = in_the_browser(case)
    print(f"{case.name}, {scenario}: one quick march {one * 1000:.0f} ms")
    print(f"asked of a process: {asked * 1000:.0f} ms, {asked / one:.1f} marches")
    print(
        "no browser: not drawn"
        if drawn is None
        else f"drag to new picture: {drawn * 1000:.0f} ms, {drawn / one:.1f} marches"
    )


if __name__ == "__main__":
    main()
