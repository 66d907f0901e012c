"""Who may ask the page's server, and how much: looked at before anything else, on every request.

Decisions
---------
* The server listens to this machine alone. Other programs on it, and pages of other sites that the same
  browser shows, could still ask. So the address has a token that nobody can guess: without it there is
  nothing here.
* ``Host`` has to be the address itself, which a name of another site that leads here is not. ``Origin``,
  where the browser says it, has to be this server; what changes anything (POST) has to say it.
* A body has at most ``MOST`` bytes, that of a table of records as many as the command line reads.
* No script runs but the files of the page: none in the text of the page, none from elsewhere, none made from
  text.
"""

from __future__ import annotations

import hmac
from collections.abc import MutableMapping
from dataclasses import dataclass
from typing import Any

from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from surge.records.text import BIGGEST as MOST_RECORDS
from surge.toml.text import BIGGEST as BIGGEST_CASE

NAMES = ("127.0.0.1", "localhost")
# A case travels as JSON, in which a character may take six; some names and figures come with it.
MOST = 6 * BIGGEST_CASE + 100_000  # [bytes]
RECORDS = "/records"  # end of the address to which tables of records are sent

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
    "connect-src 'self'; font-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; "
    "require-trusted-types-for 'script'; trusted-types 'none'"
)
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=()",
    "cache-control": "no-store",
}


@dataclass(frozen=True)
class Guard:
    """Lets through what may be asked, and gives every answer its headers.

    Parameters
    ----------
    app : ASGIApp
        What answers.
    token : str
        The first part of every address.
    port : int
    """

    app: ASGIApp
    token: str
    port: int

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or refuse it."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        send = _with_headers(send)
        if scope["type"] != "http":
            return  # nothing here speaks otherwise
        refusal = self._refusal(scope)
        if refusal is not None:
            await refusal(scope, receive, send)
            return
        most = MOST_RECORDS if scope["path"].endswith(RECORDS) else MOST
        length = _headers(scope).get("content-length", "0")
        body = await _body(receive, most) if length.isdigit() and int(length) <= most else None
        if body is None:
            await _said(f"more than {most} bytes", 413)(scope, receive, send)
            return
        await self.app(scope, _again(body, receive), send)

    def _refusal(self, scope: Scope) -> PlainTextResponse | None:
        headers = _headers(scope)
        if headers.get("host") not in {f"{name}:{self.port}" for name in NAMES}:
            return _said("this server answers to its own address only", 421)
        token = scope["path"].split("/")[1:2]
        if not token or not hmac.compare_digest(token[0].encode(), self.token.encode()):
            return _said("there is nothing here; the whole address stands where surge page was started", 404)
        origin = headers.get("origin")
        if origin is None and scope["method"] not in ("GET", "HEAD"):
            return _said("a request that changes something has to say where it comes from", 403)
        if origin is not None and origin != f"http://{headers['host']}":
            return _said("this server answers to its own page only", 403)
        if headers.get("sec-fetch-site", "none") not in ("none", "same-origin"):
            return _said("this server answers to its own page only", 403)
        return None


def _said(words: str, status: int) -> PlainTextResponse:
    return PlainTextResponse(words, status_code=status)


def _headers(scope: Scope) -> dict[str, str]:
    """Headers by name; of one that is said twice nothing is believed, so that it is refused."""
    found: dict[str, str] = {}
    for name, value in scope["headers"]:
        key = name.decode("latin-1").lower()
        found[key] = "" if key in found else value.decode("latin-1")
    return found


def _with_headers(send: Send) -> Send:
    async def sent(message: Message) -> None:
        if message["type"] == "http.response.start":
            given: Any = message.get("headers", [])
            own = [(name.encode(), value.encode()) for name, value in HEADERS.items()]
            message = {**message, "headers": [*given, *own]}
        await send(message)

    return sent


async def _body(receive: Receive, most: int) -> bytes | None:
    """Read the body of a request; None where it is more, whatever was said of its length."""
    parts: list[bytes] = []
    size, more = 0, True
    while more:
        message = await receive()
        parts.append(message.get("body", b""))
        size += len(parts[-1])
        if size > most:
            return None
        more = bool(message.get("more_body"))
    return b"".join(parts)


def _again(body: bytes, receive: Receive) -> Receive:
    """Give a body that was read once more; after it what comes, such as the end of the connection."""
    given = False

    async def received() -> MutableMapping[str, Any]:
        nonlocal given
        if given:
            return await receive()
        given = True
        return {"type": "http.request", "body": body, "more_body": False}

    return received
