"""What the program is given to read: opened once, and kept as it was read.

Whoever needs a text again, to show a line of it, or its hash, to sign an answer, takes both from here. A file
that somebody overwrites meanwhile, or a pipe that can be read only once, then gives no wrong answer.
"""

from __future__ import annotations

import hashlib
import os
import re
from dataclasses import dataclass, field
from pathlib import Path, PurePath, PureWindowsPath


@dataclass(frozen=True, kw_only=True)
class InputFile:
    """One input as it was read.

    Attributes
    ----------
    filename : str
        As the user named it.
    content : bytes
    sha256 : str
        Of the content, in hexadecimal digits; "" where nothing could be read.
    """

    filename: str
    content: bytes = field(repr=False)
    sha256: str

    @property
    def text(self) -> str:
        """The content as UTF-8; empty where it is none."""
        try:
            return self.content.decode("utf-8")
        except UnicodeDecodeError:
            return ""


def input_of(content: bytes, *, filename: str) -> InputFile:
    """Return bytes that are at hand as an input."""
    return InputFile(filename=filename, content=content, sha256=hashlib.sha256(content).hexdigest())


def unread(filename: str) -> InputFile:
    """Return what is known of a file that could not be read: its name."""
    return InputFile(filename=filename, content=b"", sha256="")


def no_name_on_windows(path: str | PurePath) -> str:
    """Return why Windows takes a name for something else than a file of that name; "" where it does not.

    Parameters
    ----------
    path : str or PurePath
        With or without a drive and folders, in the way of writing of either system.
    """
    windows = PureWindowsPath(path)
    for part in windows.parts[1:] if windows.anchor else windows.parts:
        if part in (".", ".."):
            continue
        if _DEVICE.fullmatch(part):
            return f"Windows keeps the name {part} for a device"
        if found := _NO_LETTER.search(part):
            return f"Windows allows no {found[0]!r} in names"
        if part[-1] in ". ":
            return "Windows cuts off a point or a blank at the end of a name"
    return ""


_DEVICE = re.compile(
    r"(con|prn|aux|nul|conin\$|conout\$|(com|lpt)[0-9\u00b9\u00b2\u00b3]) *([.:].*)?", re.IGNORECASE
)
_NO_LETTER = re.compile(r'[<>:"|?*\x00-\x1f]')


def read_input(path: str | Path, *, most: int) -> InputFile:
    """Open a file, a pipe or a device once and read it.

    Parameters
    ----------
    path : str or Path
    most : int
        [bytes] that are wanted; one more is read where there is more, so that the reader can refuse it.

    Raises
    ------
    OSError, ValueError
        As ``open`` does.
    """
    with Path(path).open("rb") as file:
        state = os.fstat(file.fileno())
        _READ.add((state.st_dev, state.st_ino))
        return input_of(file.read(most + 1), filename=str(path))


_READ: set[tuple[int, int]] = set()  # device and number of every file that was read since the last start


def start_reading() -> None:
    """Begin to remember anew which files are read: a command begins."""
    _READ.clear()


def was_read(state: os.stat_result) -> bool:
    """Return whether a file was read, by whatever name, since the command began."""
    return (state.st_dev, state.st_ino) in _READ
