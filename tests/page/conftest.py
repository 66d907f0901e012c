"""A server of the page for a folder of its own, asked without a network; and a browser on one."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient
from support.chromium import ARGUMENTS, CHROMIUM, LONG, Opened

import surge
from surge.outputs import write_whole
from surge.page.app import application
from surge.page.folder import Folder
from surge.page.state import State

TOKEN, PORT = "a-token", 8123
ORIGIN = f"http://127.0.0.1:{PORT}"


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    """A folder with one case, inside another folder with a second one."""
    inner = tmp_path / "berths"
    inner.mkdir()
    (inner / "berth.toml").write_text(surge.new_case(arms=2, tanks=2), encoding="utf-8")
    (tmp_path / "secret.toml").write_text(surge.new_case(), encoding="utf-8")
    return Folder(inner.resolve(), write_whole)


@pytest.fixture
def state(folder: Folder, tmp_path: Path) -> State:
    return State(tmp_path / "state", folder.path)


@pytest.fixture
def client(folder: Folder, state: State) -> TestClient:
    """Asks as the page itself does; without the processes that compute."""
    app = application(folder, state, token=TOKEN, port=PORT, case="berth.toml")
    return TestClient(
        app, base_url=f"{ORIGIN}/{TOKEN}", headers={"origin": ORIGIN}, raise_server_exceptions=True
    )


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    sync = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with sync.sync_playwright() as playwright:
        made = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield made
        made.close()


@pytest.fixture
def served(tmp_path: Path) -> Iterator[tuple[Path, str]]:
    """A folder with a server of its own, and its address."""
    root = str(Path(surge.__file__).parents[1])
    environment = {**os.environ, "XDG_STATE_HOME": str(tmp_path / "state"), "PYTHONPATH": root}
    folder = tmp_path / "berths"
    folder.mkdir()
    command = [sys.executable, "-m", "surge", "page", "--no-browser"]
    with subprocess.Popen(command, cwd=folder, env=environment, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        try:
            yield folder, process.stdout.readline().strip()
        finally:
            process.kill()


@pytest.fixture
def opened(browser: Any, served: tuple[Path, str]) -> Iterator[Opened]:
    """Open the page on a case of the folder; at the end nothing was asked of others and no script failed."""
    from playwright.sync_api import Error

    _, url = served
    contexts: list[Any] = []
    troubles: list[str] = []

    def open_page(name: str = "", *, width: int = 1280, **more: Any) -> Any:
        context = browser.new_context(viewport={"width": width, "height": 900}, **more)
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(LONG)
        page.on(
            "request",
            lambda r: troubles.append(r.url) if not r.url.startswith((url, "blob:", "data:")) else None,
        )
        page.on("pageerror", lambda e: troubles.append(str(e)))
        page.on(
            "console",
            lambda m: troubles.append(m.text) if m.type == "error" and "409" not in m.text else None,
        )
        for _ in range(100):  # the server says its address before it listens
            try:
                page.goto(f"{url}#{name}")
                break
            except Error:
                page.wait_for_timeout(50)
        page.wait_for_selector("html[data-ready]")
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert troubles == []
