"""A server of the page for a folder of its own, asked without a network."""

from __future__ import annotations

from pathlib import Path

import pytest
from starlette.testclient import TestClient

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
