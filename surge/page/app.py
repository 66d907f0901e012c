"""What the page's server answers, address by address.

Every address begins with the token (:mod:`surge.page.guard`). Questions come as JSON in the body; an answer
that takes long comes as server-sent events: "progress" with a line of words, at last "answer".
"""

from __future__ import annotations

import base64
import contextlib
import json
from collections.abc import AsyncIterator, Callable, Mapping
from dataclasses import asdict
from importlib.resources import files
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import FileResponse, JSONResponse, PlainTextResponse, Response, StreamingResponse
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from surge import __version__
from surge.api.edit import edited
from surge.api.new import new_case
from surge.api.outline import outline
from surge.api.timeline import time_lines
from surge.choices import Through, words_of
from surge.errors import CaseError, SurgeError
from surge.page.desk import BusyError, Desk
from surge.page.folder import ChangedError, Folder
from surge.page.guard import RECORDS, Guard
from surge.page.names import names_of_fields
from surge.page.state import State
from surge.toml.faults import format_faults
from surge.toml.text import FileError
from surge.units import SHOWN

STATIC = Path(str(files("surge") / "page" / "static"))
# Questions that have a process of their own: looks, which follow a hand; what takes long, beside the rest.
QUICK, LONG = ("look",), ("windows", "chart", "sheet", "compare", "forces", "fillings", "records")
Json = dict[str, Any]
Answer = Callable[[Json], Json]
BUSY = "all processes are at work: give something up, or wait until it is done"


class NotUnderstoodError(SurgeError):
    """A request that the page does not make."""


def application(folder: Folder, state: State, *, token: str, port: int, case: str = "") -> Guard:
    """Return the server of one folder.

    Parameters
    ----------
    folder : Folder
        The only folder in which files are read and written.
    state : State
        Where work that is not saved is kept.
    token : str
        The first part of every address.
    port : int
    case : str
        The case to open first, "" for none.
    """
    desk = Desk(str(folder.path))
    page = Page(folder, state, desk, case)

    @contextlib.asynccontextmanager
    async def life(_: Starlette) -> AsyncIterator[None]:
        desk.warm()
        try:
            yield
        finally:
            await desk.close()

    routes = [
        Route("/", _index),
        Mount("/static", StaticFiles(directory=STATIC)),
        Route("/api/ask", page.ask, methods=["POST"]),
        Route("/api/stop", page.stop, methods=["POST"]),
        Route(f"/api{RECORDS}", page.records, methods=["POST"]),
        *(Route(f"/api/{name}", _answering(do), methods=["POST"]) for name, do in page.answers.items()),
    ]
    return Guard(Starlette(routes=[Mount(f"/{token}", routes=routes)], lifespan=life), token, port)


async def _index(_: Request) -> Response:
    return FileResponse(STATIC / "index.html", media_type="text/html; charset=utf-8")


def _answering(do: Answer) -> Callable[[Request], Any]:
    """Return what answers an address: JSON in, JSON out; work on texts is done beside the loop."""

    async def answered(request: Request) -> Response:
        try:
            return JSONResponse(await run_in_threadpool(do, await _asked(request)))
        except ChangedError as error:
            there = {"text": error.text, "sha256": error.sha256}
            return JSONResponse({"error": str(error), "there": there}, status_code=409)
        except FileError as error:
            return JSONResponse({"error": format_faults(error)}, status_code=400)
        except (SurgeError, CaseError) as error:
            return JSONResponse({"error": str(error)}, status_code=400)
        except OSError as error:
            return JSONResponse({"error": f"it cannot be written: {error.strerror}"}, status_code=400)

    return answered


async def _asked(request: Request) -> Json:
    try:
        asked = json.loads(await request.body())
    except (ValueError, RecursionError):
        raise NotUnderstoodError("the request is no JSON") from None
    if not isinstance(asked, dict):
        raise NotUnderstoodError("the request is no table")
    return asked


def _text(asked: Mapping[str, Any], key: str) -> str:
    value = asked.get(key)
    if not isinstance(value, str):
        raise NotUnderstoodError(f"the request lacks {key}")
    return value


class Page:
    """Answers what the page asks for."""

    def __init__(self, folder: Folder, state: State, desk: Desk, case: str) -> None:
        self.folder, self.state, self.desk, self.case = folder, state, desk, case
        self.answers: dict[str, Answer] = {
            "start": self.start,
            "open": self.open,
            "read": self.read,
            "edit": self.edit,
            "new": self.new,
            "save": self.save,
            "draft": self.draft,
            "seen": self.seen,
        }

    # Cases and their texts

    def start(self, _: Json) -> Json:
        """What the page needs before anything else: folder, cases, the format, what is known by name."""
        schema = (files("surge") / "schema" / "case.schema.json").read_text(encoding="utf-8")
        return {
            "version": __version__,
            "folder": str(self.folder.path),
            "cases": self._cases(),
            "case": self.case,
            "schema": json.loads(schema),
            "units": {kind: list(units) for kind, units in SHOWN.items()},
            "known": names_of_fields(),
            "through": list(words_of(Through)),
        }

    def open(self, asked: Json) -> Json:
        """A case of the folder, with what was written of it and not saved."""
        name = _text(asked, "name")
        drafts = self.state.drafts(name)
        try:
            text, sha256 = self.folder.read(name)
        except FileError:
            if not drafts or self.folder.hash_of(name):
                raise
            text, sha256 = "", ""
        return {"name": name, "text": text, "sha256": sha256, "drafts": [asdict(d) for d in drafts]}

    def read(self, asked: Json) -> Json:
        """What stands in a text, its faults, and its drawing."""
        return self._read(_text(asked, "text"), _text(asked, "name"))

    def _read(self, text: str, name: str) -> Json:
        seen = outline(text, filename=name)
        faults = [
            {
                "path": list(fault.path),
                "line": fault.record.line,
                "key": fault.record.key,
                "found": fault.record.found,
                "expected": fault.record.expected,
                "remedy": fault.record.remedy,
                "text": fault.record.as_text(),
            }
            for fault in seen.faults
        ]
        drawing = seen.drawing
        lines = time_lines(seen.case, seen.data) if seen.case else ()
        return {
            "text": text,
            "data": _plain(seen.data),
            "faults": faults,
            "scenarios": [asdict(line) for line in lines],
            "elevations": {p.name: p.elevation for p in seen.case.lineup.points} if seen.case else {},
            "drawing": {
                "points": drawing.points,
                "elements": [
                    {
                        "kind": e.kind,
                        "index": e.index,
                        "name": e.name,
                        "from": e.start,
                        "to": e.end,
                        "row": e.row,
                    }
                    for e in drawing.elements
                ],
                "things": [
                    {"kind": t.kind, "index": t.index, "name": t.name, "at": t.point, "side": t.side}
                    for t in drawing.things
                ],
            },
        }

    def edit(self, asked: Json) -> Json:
        """A text with changes made to it."""
        changes = asked.get("changes")
        if not isinstance(changes, list) or not all(isinstance(c, dict) for c in changes):
            raise NotUnderstoodError("the request lacks changes")
        return self._read(edited(_text(asked, "text"), changes), _text(asked, "name"))

    def new(self, asked: Json) -> Json:
        """The text of a new case."""
        given: Any = {
            k: v for k in ("arms", "tanks", "through", "cargo") if (v := asked.get(k)) not in ("", None)
        }
        return {"text": new_case(**given)}

    def save(self, asked: Json) -> Json:
        """Write a case over what was opened."""
        name, text, tab = _text(asked, "name"), _text(asked, "text"), _text(asked, "tab")
        sha256 = self.folder.save(name, text, over=_text(asked, "over"))
        self.state.drop(name, tab)
        return {"sha256": sha256, "cases": self._cases()}

    def draft(self, asked: Json) -> Json:
        """Keep what a tab has not saved; without a text forget it."""
        name, tab = _text(asked, "name"), _text(asked, "tab")
        self.folder.place(name)
        if asked.get("text") is None:
            self.state.drop(name, tab)
        else:
            self.state.keep(name, tab, _text(asked, "text"), _text(asked, "over"))
        return {}

    def _cases(self) -> list[str]:
        """Cases of the folder, and those that were never saved."""
        cases = self.folder.cases()
        return [*cases, *(name for name in self.state.unsaved() if name not in cases)]

    def seen(self, asked: Json) -> Json:
        """The hash of what stands in a file now: whether somebody has changed it."""
        return {"sha256": self.folder.hash_of(_text(asked, "name"))}

    # What is computed

    async def ask(self, request: Request) -> Response:
        """A question that may take long."""
        try:
            asked = await _asked(request)
            return self._events(request, asked, _text(asked, "tab"))
        except NotUnderstoodError as error:
            return JSONResponse({"error": str(error)}, status_code=400)

    async def records(self, request: Request) -> Response:
        """A table of records, as it is in its file; how to read it is told in the address."""
        asked: Json = dict(request.query_params)
        columns = {k.removeprefix("column."): v for k, v in asked.items() if k.startswith("column.")}
        asked |= {"do": "records", "columns": columns}
        asked["content"] = base64.b64encode(await request.body()).decode("ascii")
        return self._events(request, asked, str(asked.get("tab")))

    def _events(self, request: Request, asked: Json, tab: str) -> Response:
        kind = "quick" if asked.get("do") in QUICK else "long" if asked.get("do") in LONG else "full"
        if asked.get("remedies"):
            kind = "remedies"

        async def events() -> AsyncIterator[str]:
            try:
                async with contextlib.aclosing(self.desk.ask(tab, kind, asked)) as saying:
                    async for said in saying:
                        for event, what in said.items():
                            yield f"event: {event}\ndata: {json.dumps(what)}\n\n"
                        if await request.is_disconnected():
                            return
            except BusyError:
                refused = {"refused": {"text": BUSY, "document": None, "exit_code": 2}}
                yield f"event: answer\ndata: {json.dumps(refused)}\n\n"
            except ClientDisconnect:
                return

        return StreamingResponse(events(), media_type="text/event-stream")

    async def stop(self, request: Request) -> Response:
        """Give up what a tab has asked; one that is "closed" needs its processes no more."""
        try:
            asked = await _asked(request)
            tab = _text(asked, "tab")
        except NotUnderstoodError as error:
            return PlainTextResponse(str(error), status_code=400)
        await (self.desk.leave(tab) if asked.get("closed") else self.desk.stop(tab))
        return JSONResponse({})


def _plain(data: Any) -> Any:
    """Data of a text as JSON can hold them; a day is a table that says so."""
    if isinstance(data, dict):
        return {key: _plain(value) for key, value in data.items()}
    if isinstance(data, list):
        return [_plain(value) for value in data]
    if isinstance(data, str | bool) or data is None:
        return data
    if isinstance(data, int):
        return data if abs(data) < 2**53 else str(data)
    if isinstance(data, float):
        return data if abs(data) < float("inf") else str(data)
    return {"day": data.isoformat()}
