"""The start of the page: find the server that already works in this folder, or be it.

Decisions
---------
* The server listens to 127.0.0.1 and to nothing else; there is no option for another address.
* The port is one that is free. The token is new at every start.
* One server works in a folder. Who starts another is led to the first.
"""

from __future__ import annotations

import http.client
import os
import secrets
import socket
import sys
import threading
import time
import webbrowser
from collections.abc import Callable
from pathlib import Path
from urllib.parse import quote

import uvicorn

from surge.errors import RequestError
from surge.page.app import application
from surge.page.folder import Folder, FolderError
from surge.page.state import Address, State, state_root
from surge.units import quoted

LOOPBACK = "127.0.0.1"
ANSWERS = 2.0  # [s] in which a server that is there answers
BEFORE = 10.0  # [s] that the browser waits for the server


def serve(
    case: str,
    *,
    browser: bool,
    say: Callable[[str], None],
    tell: Callable[[str], None],
    write: Callable[[Path, str], None],
) -> None:
    """Serve the page for the folder that this is called in, until it is interrupted.

    Parameters
    ----------
    case : str
        The path of the case to open first, in this folder or below; "" for none.
    browser : bool
        Open a browser on the page.
    say : callable
        Prints the address.
    tell : callable
        Prints what else is to be said.
    write : callable
        Writes a file whole or not at all.

    Raises
    ------
    RequestError
        A case that is not in this folder; a folder for the address that cannot be written.
    """
    folder = Folder(Path.cwd().resolve(), write)
    name = _named(folder, case)
    state = State(state_root(), folder.path)
    found = state.address()
    if found is not None and answers(found):
        _shown(found, name, browser=browser, say=say)
        tell("The page is open already; this is its address.")
        return
    with socket.socket() as listening:
        listening.bind((LOOPBACK, 0))
        own = Address(
            port=listening.getsockname()[1], token=secrets.token_urlsafe(24), folder=str(folder.path)
        )
        app = application(folder, state, token=own.token, port=own.port, case=name)
        config = uvicorn.Config(
            app,
            log_level="error",
            access_log=False,
            server_header=False,
            date_header=False,
            ws="none",
            proxy_headers=False,
            timeout_graceful_shutdown=1,
        )
        try:
            state.tell(own)
        except OSError as error:
            raise RequestError(
                f"the address of the page cannot be kept in {state.root}: {error.strerror}; "
                "let XDG_STATE_HOME name a folder that can be written"
            ) from None
        try:
            _shown(own, name, browser=False, say=say)
            tell("The page is open as long as this runs; Ctrl-C ends it.")
            if browser:
                threading.Thread(target=_open_when_there, args=(own, name), daemon=True).start()
            uvicorn.Server(config).run(sockets=[listening])
        except KeyboardInterrupt:
            pass  # uvicorn hands the signal on once it has ended
        finally:
            state.forget(own)
    tell("The page is closed.")


def _named(folder: Folder, case: str) -> str:
    """The name of a case in the folder."""
    if not case:
        return ""
    try:
        real = Path(case).resolve()
        name = real.relative_to(folder.path).as_posix()
    except (OSError, RuntimeError, ValueError):
        raise RequestError(
            f"{quoted(case)} is not in this folder or below: the page reads and writes nothing else; "
            f"start it in {quoted(str(Path(case).absolute().parent))}"
        ) from None
    try:
        folder.place(name)
    except FolderError as error:
        raise RequestError(str(error)) from None
    if not real.exists():
        raise RequestError(f"there is no {quoted(case)}; without a case the page makes a new one")
    return name


def answers(address: Address) -> bool:
    """Whether a server of ours is at an address."""
    asked = http.client.HTTPConnection(LOOPBACK, address.port, timeout=ANSWERS)
    try:
        asked.request("GET", f"/{address.token}/")
        return asked.getresponse().status == http.HTTPStatus.OK
    except (OSError, http.client.HTTPException):
        return False
    finally:
        asked.close()


def _url(address: Address, name: str) -> str:
    return f"{address.url}#{quote(name)}" if name else address.url


def _shown(address: Address, name: str, *, browser: bool, say: Callable[[str], None]) -> None:
    say(_url(address, name))
    if browser:
        _open(_url(address, name))


def _open_when_there(address: Address, name: str) -> None:
    until = time.monotonic() + BEFORE
    while time.monotonic() < until:
        if answers(address):
            _open(_url(address, name))
            return
        time.sleep(0.1)


def _open(url: str) -> None:
    """Open the user's browser; where there is none, the address is printed all the same."""
    if (
        os.name == "nt"
        or sys.platform == "darwin"
        or os.environ.get("DISPLAY")
        or os.environ.get("WAYLAND_DISPLAY")
    ):
        webbrowser.open(url)
