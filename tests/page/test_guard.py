"""Who may ask the server: this machine's own page, with the token, and not too much."""

from __future__ import annotations

from typing import Any

import pytest
from starlette.testclient import TestClient

from surge.page import guard

TOKEN, PORT = "a-token", 8123
ORIGIN = f"http://127.0.0.1:{PORT}"


def asked(client: TestClient, path: str = f"/{TOKEN}/api/start", method: str = "POST", **headers: str) -> Any:
    return client.request(method, f"{ORIGIN}{path}", headers=headers, content=b"{}")


def test_the_page_itself_is_answered(client: TestClient) -> None:
    assert asked(client).status_code == 200
    assert asked(client, host=f"localhost:{PORT}", origin=f"http://localhost:{PORT}").status_code == 200
    page = client.get(f"{ORIGIN}/{TOKEN}/", headers={"sec-fetch-site": "none"})
    assert page.status_code == 200
    assert "<html" in page.text


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"host": "evil.example:8123"}, 421),
        ({"host": "127.0.0.1"}, 421),
        ({"host": "127.0.0.1:9"}, 421),
        ({"host": "127.0.0.1:8123.evil.example"}, 421),
        ({"origin": "http://evil.example"}, 403),
        ({"origin": "null"}, 403),
        ({"origin": "https://127.0.0.1:8123"}, 403),
        ({"origin": "http://127.0.0.1:8124"}, 403),
        ({"origin": f"http://localhost:{PORT}"}, 403),  # not the name that it was asked by
        ({"sec-fetch-site": "cross-site"}, 403),
        ({"sec-fetch-site": "same-site"}, 403),
        ({"content-length": "-1"}, 413),
        ({"content-length": str(guard.MOST + 1)}, 413),
    ],
)
@pytest.mark.parametrize("path", [f"/{TOKEN}/api/start", f"/{TOKEN}/api/save", f"/{TOKEN}/api/ask"])
def test_others_are_refused(client: TestClient, headers: dict[str, str], status: int, path: str) -> None:
    assert asked(client, path, **headers).status_code == status


def test_a_change_says_where_it_comes_from(client: TestClient) -> None:
    del client.headers["origin"]
    assert asked(client).status_code == 403
    assert asked(client, f"/{TOKEN}/", method="GET").status_code == 200


@pytest.mark.parametrize(
    "path", ["/", "/api/start", "/a-toke/api/start", "/a-tokenx/", "//a-token/api/start", "/%61/", ""]
)
def test_without_the_token_there_is_nothing(client: TestClient, path: str) -> None:
    answer = asked(client, path)
    assert answer.status_code == 404
    assert "surge page" in answer.text


def test_a_body_that_grows_is_cut(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(guard, "MOST", 1000)

    def pieces() -> Any:
        for _ in range(5):
            yield b" " * 300

    answer = client.post(f"{ORIGIN}/{TOKEN}/api/start", content=pieces())
    assert answer.status_code == 413


@pytest.mark.parametrize("path", ["/", "/static/page.css", "/static/none.js", "/api/start", "/nothing"])
def test_every_answer_forbids_scripts_from_elsewhere(client: TestClient, path: str) -> None:
    headers = asked(client, f"/{TOKEN}{path}", method="GET").headers
    policy = dict(part.strip().split(" ", 1) for part in headers["content-security-policy"].split(";"))
    assert policy["default-src"] == "'none'"
    assert policy["script-src"] == policy["style-src"] == policy["connect-src"] == "'self'"
    assert policy["frame-ancestors"] == policy["base-uri"] == policy["form-action"] == "'none'"
    assert "unsafe" not in headers["content-security-policy"]
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["cache-control"] == "no-store"
    assert headers["referrer-policy"] == "no-referrer"


@pytest.mark.parametrize(
    "path", ["/static/../app.py", "/static/%2e%2e/app.py", "/static//etc/passwd", "/static/"]
)
def test_no_other_file_is_served(client: TestClient, path: str) -> None:
    assert client.get(f"{ORIGIN}/{TOKEN}{path}").status_code in (404, 405)
