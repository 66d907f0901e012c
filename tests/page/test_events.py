"""Questions that take long: server-sent events, from a process of their own."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient
from support.demos import CASES

import surge
from surge.page import app as apps
from surge.page.desk import BusyError
from surge.records.columns import NAMES

NAME = "gas-oil-release-coupling"


@pytest.fixture
def running(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> Any:
    """The server with its processes, which end with it."""
    monkeypatch.setenv("PYTHONPATH", str(Path(surge.__file__).parents[1]))
    with client:
        yield client


def events(text: str) -> list[tuple[str, Any]]:
    found = []
    for event in text.split("\n\n"):
        if event:
            first, second = event.split("\n")
            found.append((first.removeprefix("event: "), json.loads(second.removeprefix("data: "))))
    return found


def test_a_check_and_a_film_come_as_events(running: TestClient) -> None:
    text = (CASES / f"{NAME}.toml").read_text(encoding="utf-8")
    asked = {"tab": "one", "do": "check", "name": f"{NAME}.toml", "text": text}
    answer = running.post("/api/ask", json=asked)
    assert answer.headers["content-type"].startswith("text/event-stream")
    *told, (last, found) = events(answer.text)
    assert {event for event, _ in told} <= {"progress"}
    assert last == "answer"
    assert found["document"]["verdict"] == "limit exceeded"
    film = events(running.post("/api/ask", json={**asked, "do": "film"}).text)[-1][1]
    assert film["frames"] > 100
    changes = [{"do": "set", "path": ["scenario", 0, "event", 0, "stroke"], "value": "20 s"}]
    looked = {**asked, "do": "look", "changes": changes, "place": "cargo hose"}
    slow = events(running.post("/api/ask", json=looked).text)[-1][1]
    fast = events(running.post("/api/ask", json={**looked, "changes": []}).text)[-1][1]
    peaks = [next(p["pressure"] for p in seen["peaks"] if p["name"] == "cargo hose") for seen in (slow, fast)]
    assert peaks[0] < peaks[1]
    assert running.post("/api/stop", json={"tab": "one", "closed": True}).json() == {}


def test_a_table_is_sent_as_it_is(running: TestClient) -> None:
    content = (CASES / "records" / "stroke-tests.csv").read_bytes()
    way = "/api/records?tab=one&file=stroke-tests.csv&dates=day-first&column.Valve=tag"
    found = events(running.post(way, content=content).text)[-1][1]
    assert found["exit_code"] == 4
    assert found["notes"]
    assert "row 740" not in found["details"]  # with which its day can be read
    odd = running.post(way.replace("=tag", "=weather"), content=content)
    assert "no meaning of a column" in events(odd.text)[-1][1]["refused"]["text"]
    wrong = running.post(way.replace("day-first", "sideways"), content=content)
    assert "day-first" in events(wrong.text)[-1][1]["refused"]["text"]


def test_where_all_are_at_work_the_page_is_told(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    async def busy(*_: Any) -> None:
        raise BusyError

    monkeypatch.setattr(apps.Desk, "_take", busy)
    said = events(client.post("/api/ask", json={"tab": "one", "do": "look"}).text)
    assert said == [("answer", {"refused": {"text": apps.BUSY, "document": None, "exit_code": 2}})]


def test_every_meaning_that_the_page_offers_is_one() -> None:
    code = (apps.STATIC / "records.js").read_text(encoding="utf-8")
    offered = set(re.findall(r'"([^"]+)"', code.split("const MEANINGS = [")[1].split("]")[0]))
    assert offered <= set(NAMES)
