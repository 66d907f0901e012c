"""Processes that compute for the page: two tabs, giving up, too many; and the server as a command."""

from __future__ import annotations

import asyncio
import http.client
import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import aclosing, contextmanager
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

import surge
from surge.cli.main import main
from surge.page import desk as desks
from surge.page.desk import BusyError, Desk

TEXT = surge.new_case(arms=1, tanks=1)
LOOK = {"do": "look", "name": "a.toml", "text": TEXT}
LONG = {"do": "windows", "name": "a.toml", "text": surge.new_case(arms=2, tanks=4), "patient": True}


@pytest.fixture(autouse=True)
def ours(monkeypatch: pytest.MonkeyPatch) -> None:
    """Processes load the package that is tested, wherever they work."""
    monkeypatch.setenv("PYTHONPATH", str(Path(surge.__file__).parents[1]))


async def answered(desk: Desk, tab: str, request: dict[str, Any], kind: str = "full") -> Any:
    async with aclosing(desk.ask(tab, kind, request)) as saying:
        async for said in saying:
            if "answer" in said:
                return said["answer"]
    return None


def test_no_module_of_the_folder_is_loaded(tmp_path: Path) -> None:
    for name in ("surge", "json", "numpy"):
        (tmp_path / f"{name}.py").write_text("raise SystemExit('loaded')", encoding="utf-8")

    async def story() -> Any:
        desk = Desk(str(tmp_path))
        try:
            return await answered(desk, "one", LOOK)
        finally:
            await desk.close()

    assert asyncio.run(story())["words"] == "quick look, no verdict"


def test_processes_work_side_by_side_and_are_given_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(desks, "MOST", 2)

    async def story() -> None:
        desk = Desk(str(tmp_path))
        try:
            long = asyncio.create_task(answered(desk, "one", LONG))
            looked = await answered(desk, "two", LOOK, "quick")
            assert looked["words"] == "quick look, no verdict"
            assert not long.done()  # its tab is not disturbed
            again = desk.workers["two", "quick"].process.pid
            assert (await answered(desk, "two", LOOK, "quick"))["place"] == looked["place"]
            assert desk.workers["two", "quick"].process.pid == again  # the same process, which is warm
            await answered(desk, "three", LOOK, "quick")  # takes the place of the idle one
            assert ("two", "quick") not in desk.workers
            working = asyncio.create_task(answered(desk, "three", LONG, "quick"))
            while not desk.workers["three", "quick"].busy:
                await asyncio.sleep(0.01)
            with pytest.raises(BusyError):
                await answered(desk, "four", LOOK)
            await desk.stop("one")
            assert (await long)["refused"]["exit_code"] == 1
            assert [key for key, worker in desk.workers.items() if worker.busy] == [("three", "quick")]
            newer = await answered(desk, "three", LOOK, "quick")  # asks anew: the old question ends
            assert newer["words"] == "quick look, no verdict"
            assert (await working)["refused"]["exit_code"] == 1
            assert ("three", "quick") in desk.workers
            await desk.leave("three")
            assert [key for key in desk.workers if key[0] == "three"] == []
            # Whoever stops listening ends the work.
            gone = asyncio.create_task(answered(desk, "five", LONG))
            while ("five", "full") not in desk.workers or not desk.workers["five", "full"].busy:
                await asyncio.sleep(0.01)
            process = desk.workers["five", "full"].process
            gone.cancel()
            await asyncio.wait([gone])
            assert await process.wait() != 0
        finally:
            await desk.close()
        assert desk.workers == {}

    asyncio.run(story())


# --- the command ----------------------------------------------------------------------------------------


@contextmanager
def started(folder: Path, *words: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """The command, and the address that it prints."""
    command = [sys.executable, "-m", "surge", "page", "--no-browser", *words]
    root = str(Path(surge.__file__).parents[1])
    environment = {**os.environ, "XDG_STATE_HOME": str(folder / "state"), "PYTHONPATH": root}
    with subprocess.Popen(
        command, cwd=folder, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        try:
            assert process.stdout is not None
            yield process, process.stdout.readline().strip()
        finally:
            process.kill()


def get(url: str) -> int:
    port, path = url.split("127.0.0.1:")[1].split("#")[0].split("/", 1)
    asked = http.client.HTTPConnection("127.0.0.1", int(port), timeout=30)
    try:
        asked.request("GET", f"/{path}")
        return asked.getresponse().status
    finally:
        asked.close()


def test_a_second_start_finds_the_first_and_an_interrupt_ends_it(tmp_path: Path) -> None:
    (tmp_path / "berth.toml").write_text(TEXT, encoding="utf-8")
    with started(tmp_path, "berth.toml") as (process, url):
        assert url.startswith("http://127.0.0.1:")
        assert url.endswith("/#berth.toml")
        for _ in range(300):
            try:
                assert get(url) == 200
                break
            except ConnectionError:
                pass
        with started(tmp_path) as (second, other):
            assert other == url.split("#")[0]
            _, told = second.communicate(timeout=60)
            assert second.returncode == 0
            assert "open already" in told
        process.send_signal(signal.SIGINT)
        _, told = process.communicate(timeout=60)
        assert process.returncode == 0
        assert "closed" in told
        assert list((tmp_path / "state").rglob("server-*")) == []


@pytest.mark.parametrize("case", ["../elsewhere.toml", "/etc/hostname", "none.toml", "folder.toml", "a.txt"])
def test_a_case_that_cannot_be_opened_is_refused(
    case: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "here" / "folder.toml").mkdir(parents=True)
    (tmp_path / "here" / "a.txt").write_text(TEXT, encoding="utf-8")
    (tmp_path / "elsewhere.toml").write_text(TEXT, encoding="utf-8")
    monkeypatch.chdir(tmp_path / "here")
    done = CliRunner().invoke(main, ["page", case, "--no-browser"])
    assert done.exit_code == 2
    assert len(done.stderr.splitlines()) == 1
    assert done.stdout == ""


def test_a_missing_extra_is_told_in_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("surge.cli.page.NEEDS", ("a_library_that_is_not_there",))
    done = CliRunner().invoke(main, ["page", "--no-browser"])
    assert done.exit_code == 2
    assert done.stderr.splitlines() == [
        'surge: the page needs a_library_that_is_not_there: pip install "surge[page]"'
    ]


def test_the_server_listens_to_this_machine_only(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    from surge.page import server

    bound: list[Any] = []

    class Server:
        def __init__(self, config: Any) -> None:
            self.config = config

        def run(self, sockets: list[Any]) -> None:
            bound.extend(s.getsockname() for s in sockets)

    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(server, "state_root", lambda: tmp_path / "state")
    monkeypatch.setattr(server.uvicorn, "Server", Server)
    for name in ("HOST", "UVICORN_HOST"):
        monkeypatch.setenv(name, "0.0.0.0")
    said: list[str] = []
    server.serve("", browser=False, say=said.append, tell=said.append, write=lambda *_: None)
    assert [host for host, _ in bound] == ["127.0.0.1"]
    assert json.dumps(said).count("http://127.0.0.1:") == 1
