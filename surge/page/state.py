"""What the page keeps between starts, in the user's own state folder: its address, and work not saved.

Decisions
---------
* A file for each folder with the address of the server that works in it, so that a second start finds the
  first.
* A file for each case that is being written and is not saved. It goes once the case is saved.
* Nobody but the user may read them: the address has the token, and a case is nobody's business.
"""

from __future__ import annotations

import hashlib
import json
import os
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import platformdirs

OWN = 0o600  # rights of a file: the user alone


@dataclass(frozen=True, kw_only=True)
class Address:
    """Where a server is."""

    port: int
    token: str
    folder: str

    @property
    def url(self) -> str:
        """What a browser opens."""
        return f"http://127.0.0.1:{self.port}/{self.token}/"


@dataclass(frozen=True)
class State:
    """What is kept for one folder.

    Parameters
    ----------
    root : Path
        The user's state folder.
    folder : Path
        The folder that the page works in.
    """

    root: Path
    folder: Path

    def address(self) -> Address | None:
        """Return the address that was written last; there may be nobody any more."""
        found = _read(self._file("server", ""))
        try:
            return Address(port=int(found["port"]), token=str(found["token"]), folder=str(found["folder"]))
        except (KeyError, TypeError, ValueError):
            return None

    def tell(self, address: Address) -> None:
        """Write the address for those who start later."""
        _write(self._file("server", ""), asdict(address))

    def forget(self, address: Address) -> None:
        """Take the address away, unless another server has written its own."""
        if self.address() == address:
            self._file("server", "").unlink(missing_ok=True)

    def draft(self, name: str) -> dict[str, Any] | None:
        """Return what was written of a case and not saved: ``text``, ``over``, its hash when opened."""
        found = _read(self._file("draft", name))
        if isinstance(found.get("text"), str) and isinstance(found.get("over"), str):
            return {"text": found["text"], "over": found["over"]}
        return None

    def keep(self, name: str, text: str, over: str) -> None:
        """Keep what is not saved yet."""
        _write(
            self._file("draft", name), {"name": name, "folder": str(self.folder), "text": text, "over": over}
        )

    def drop(self, name: str, *texts: str) -> None:
        """Forget what was kept, where it is one of some texts: another tab may have kept its own."""
        kept = self.draft(name)
        if kept is None or kept["text"] in texts:
            self._file("draft", name).unlink(missing_ok=True)

    def _file(self, kind: str, name: str) -> Path:
        key = hashlib.sha256(f"{self.folder}\0{name}".encode("utf-8", "surrogateescape")).hexdigest()[:32]
        return self.root / f"{kind}-{key}.json"


def state_root() -> Path:
    """Return the folder for what programs keep of a user."""
    return Path(platformdirs.user_state_dir("surge", appauthor=False)) / "page"


def _read(path: Path) -> dict[str, Any]:
    """Return what a file of this module holds; nothing where it is not there, or not whole."""
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def _write(path: Path, what: dict[str, Any]) -> None:
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    beside = path.with_suffix(f".{os.getpid()}")
    beside.unlink(missing_ok=True)
    with os.fdopen(os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, OWN), "w", encoding="utf-8") as file:
        json.dump(what, file)
    beside.replace(path)
