"""The folder that the page works in: cases are listed, read and written there and below, and nowhere else.

Decisions
---------
* A name comes from the browser. It is a way from the folder downwards to a file that ends in .toml; links
  that lead out of the folder are followed before that is looked at. What is no plain file is refused.
* A case is saved only over what was opened: whoever changed it meanwhile is told, and nothing is lost.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from surge.case.file import CASE
from surge.errors import SurgeError
from surge.inputs import input_of, no_name_on_windows
from surge.toml.text import BIGGEST, file_of, read_file
from surge.units import printable, quoted

DEEPEST, MOST_LISTED = 3, 200  # folders below; files


class FolderError(SurgeError):
    """A name that the page may not read or write."""


class ChangedError(SurgeError):
    """A file that somebody else has changed since it was opened; ``text`` is what stands there now."""

    def __init__(self, text: str, sha256: str) -> None:
        self.text, self.sha256 = text, sha256
        super().__init__("the file was changed outside since it was opened")


@dataclass(frozen=True)
class Folder:
    """A folder, with the cases in it.

    Parameters
    ----------
    path : Path
        With all links followed.
    write : callable
        Writes a file whole or not at all, called with its path and its text.
    """

    path: Path
    write: Callable[[Path, str], None]

    def cases(self) -> list[str]:
        """Names of the cases there are, as ways from the folder."""
        found: list[str] = []
        for here, folders, files in os.walk(self.path):
            below = Path(here).relative_to(self.path)
            folders[:] = (
                sorted(f for f in folders if not f.startswith(".")) if len(below.parts) < DEEPEST else []
            )
            for file in sorted(files):
                name = (below / file).as_posix()
                if file.endswith(".toml") and file[0] != "." and self._is_case(name):
                    found.append(name)
            if len(found) >= MOST_LISTED:
                break
        return found[:MOST_LISTED]

    def _is_case(self, name: str) -> bool:
        """Whether a file looks like a case: files of rules and of limits end in .toml too."""
        try:
            with self.place(name).open("rb") as file:
                return b"[liquid" in file.read(BIGGEST)
        except (OSError, FolderError):
            return False

    def place(self, name: str) -> Path:
        """Return where a case of a name stands, or may be written.

        Raises
        ------
        FolderError
            It is no name of a case in this folder.
        """
        if name == "" or "\\" in name or not name.isprintable() or no_name_on_windows(name):
            raise FolderError(f"{quoted(name)} is no name for a file: write one such as berth-1.toml")
        if not name.endswith(".toml"):
            raise FolderError(f"{quoted(name)}: the name of a case ends in .toml")
        path = self.path / name
        try:
            real = path.resolve()
            state = real.stat() if real.exists() else None
        except (OSError, RuntimeError, ValueError) as error:
            raise FolderError(f"{quoted(name)} cannot be opened: {error}") from None
        if Path(name).is_absolute() or ".." in Path(name).parts or not real.is_relative_to(self.path):
            raise FolderError(
                f"{quoted(name)} is not in the folder {printable(str(self.path))}; "
                "start surge page in the folder of that case"
            )
        if not real.parent.is_dir():
            raise FolderError(f"{quoted(name)}: there is no such folder")
        if state is not None and not stat.S_ISREG(state.st_mode):
            raise FolderError(f"{quoted(name)} is no file")
        return real

    def read(self, name: str) -> tuple[str, str]:
        """Return the text of a case and its hash; raises FileError where it cannot be read."""
        file = read_file(self.place(name), CASE)
        return file.text, file.sha256

    def hash_of(self, name: str) -> str:
        """Return the hash of what stands under a name; "" for nothing that can be read."""
        try:
            path = self.place(name)
            with path.open("rb") as file:
                return input_of(file.read(BIGGEST + 1), filename=name).sha256
        except (OSError, SurgeError):
            return ""

    def save(self, name: str, text: str, *, over: str) -> str:
        """Write the text of a case and return its hash.

        Parameters
        ----------
        name, text : str
        over : str
            The hash of what was opened under that name, "" for a file that was not there.

        Raises
        ------
        FolderError
            It cannot be written there.
        ChangedError
            Something else stands there by now.
        """
        path = self.place(name)
        content = file_of(text, filename=name, kind=CASE)
        if len(content.content) > BIGGEST:
            raise FolderError(f"a case has at most {BIGGEST // 10**6} MB")
        now = self.hash_of(name)
        if now not in (over, content.sha256) or (path.exists() and not now):
            raise ChangedError(self.read(name)[0], now)
        try:
            self.write(path, text)
        except OSError as error:
            raise FolderError(f"{quoted(name)} cannot be written: {error.strerror}") from None
        return content.sha256
