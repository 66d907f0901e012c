"""Standard output and standard error: what is printed arrives whole, or it is known that it does not.

Decisions
---------
* What goes to standard error is told beside the answer: where it cannot be written it is lost, and the exit
  code stays that of the answer. A full standard output ends the command with 2.
* With PYTHONUNBUFFERED Python takes a short write for a whole one, so there is a buffer in between.
* Nothing that is printed moves the cursor or turns the direction of writing: such characters of a name or a
  path are shown as their escapes. Colours are our own, and only where a terminal takes them.
"""

from __future__ import annotations

import errno
import io
import os
import re
import sys
from typing import Any

from surge.units import JOINERS, printable

FULL = (errno.ENOSPC, errno.EDQUOT, errno.EIO)
_CONTROL = re.compile(r"[^\n\t -~]")
_COLOUR = re.compile(r"(\x1b\[(?:[01]|3[0-7])m)")  # as click writes them: colour, bold, back to plain


def sound_streams() -> None:
    """See to it that what is printed arrives whole, or that it is known that it does not."""
    missing = [name for name in ("stdout", "stderr") if getattr(sys, name) is None]
    for name in missing:  # else the next file that is opened would be taken for it
        setattr(sys, name, os.fdopen(os.open(os.devnull, os.O_WRONLY), "w"))
    if isinstance(sys.stderr, io.TextIOWrapper):
        told = io.BufferedWriter(_Told(sys.stderr.fileno()))
        sys.stderr = io.TextIOWrapper(
            told, encoding=sys.stderr.encoding, errors="replace", line_buffering=True
        )
    if "stdout" in missing:
        print("surge: standard output is closed: nothing would be seen of an answer", file=sys.stderr)  # noqa: T201
        os._exit(2)
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="replace")  # a name that the terminal cannot show must not end it
    raw = getattr(sys.stdout, "buffer", None)
    if isinstance(raw, io.RawIOBase):
        # As PYTHONUNBUFFERED makes it: a full disk could take half of an answer without a word.
        sys.stdout = io.TextIOWrapper(
            io.BufferedWriter(raw), encoding=sys.stdout.encoding, errors="replace", line_buffering=True
        )


class _Told(io.RawIOBase):
    """A file descriptor of which writing never fails: what it does not take is lost."""

    def __init__(self, number: int) -> None:
        self.number = number

    def writable(self) -> bool:
        """It is."""
        return True

    def fileno(self) -> int:
        """Its number."""
        return self.number

    def isatty(self) -> bool:
        """Whether it is a terminal."""
        return os.isatty(self.number)

    def write(self, data: Any, /) -> int:
        """Write, or lose it."""
        try:
            return os.write(self.number, data)
        except OSError:
            return len(data)


def seen(text: str, *, coloured: bool = False) -> str:
    """Return a text as it may be printed: with what moves the cursor, or would not be seen, as escapes.

    Parameters
    ----------
    text : str
    coloured : bool
        Codes of colours are left.
    """
    if text.isascii() and _CONTROL.search(text) is None:
        return text
    if coloured:
        return "".join(p if k % 2 else seen(p) for k, p in enumerate(_COLOUR.split(text)))
    if text.replace("\n", "").replace("\t", "").isprintable():
        return text
    return "".join(c if c.isprintable() or c in f"\n\t{JOINERS}" else printable(c) for c in text)
