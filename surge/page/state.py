"""What the page keeps between starts, in the user's own state folder: its address, and work not saved.

Decisions
---------
* A file for each folder with the address of the server that works in it, so that a second start finds the
  first.
* A file for each case and tab in which it is being written and is not saved: of two tabs each keeps its own.
  It goes once the case is saved. Who takes over what a closed tab has left, the browser says: it knows
  which tabs there are.
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


@dataclass(frozen=True, kw_only=True)
class Draft:
    """What one tab has not saved of a case: its text, the hash of what was opened, when it was kept [s]."""

    tab: str
    text: str
    over: str
    when: float


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

    def drafts(self, name: str) -> list[Draft]:
        """Return what tabs have written of a case and not saved, what was written last first."""
        found = [d for path in self.root.glob(f"draft-{self._key(name)}*.json") if (d := _draft(path, name))]
        return sorted(found, key=lambda d: d.when, reverse=True)

    def unsaved(self) -> list[str]:
        """Return the names of all cases of the folder of which something is not saved."""
        found = [
            d for p in self.root.glob("draft-*.json") if (d := _read(p)).get("folder") == str(self.folder)
        ]
        return sorted({d["name"] for d in found if isinstance(d.get("name"), str)})

    def keep(self, name: str, tab: str, text: str, over: str) -> None:
        """Keep what a tab has not saved yet."""
        kept = {"name": name, "folder": str(self.folder), "tab": tab, "text": text, "over": over}
        _write(self._file("draft", name, tab), kept)

    def drop(self, name: str, tab: str) -> None:
        """Forget what a tab has kept."""
        self._file("draft", name, tab).unlink(missing_ok=True)

    def _file(self, kind: str, name: str, tab: str = "") -> Path:
        own = f"-{hashlib.sha256(tab.encode('utf-8', 'surrogateescape')).hexdigest()[:16]}" if tab else ""
        return self.root / f"{kind}-{self._key(name)}{own}.json"

    def _key(self, name: str) -> str:
        return hashlib.sha256(f"{self.folder}\0{name}".encode("utf-8", "surrogateescape")).hexdigest()[:32]


def _draft(path: Path, name: str) -> Draft | None:
    """What a file keeps; None where it is not whole."""
    found = _read(path)
    text, over, tab = found.get("text"), found.get("over"), found.get("tab", "")
    if found.get("name") != name or not (
        isinstance(text, str) and isinstance(over, str) and isinstance(tab, str)
    ):
        return None
    try:
        return Draft(tab=tab, text=text, over=over, when=path.stat().st_mtime)
    except OSError:
        return None


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
