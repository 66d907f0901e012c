"""A lock on a folder: whoever has it works there alone.

Decisions
---------
* The system holds it for the process, so that it is gone with the process, however that ends. The file that
  it is on says nothing: one that was left behind keeps nobody out.
* Where a file system knows no locks nobody is kept out: two studies then do the same work twice, and what
  they write is the same.
"""

from __future__ import annotations

import errno
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

LOCK = ".surge-lock"
_WITHOUT = {errno.ENOLCK, errno.ENOSYS, errno.EOPNOTSUPP, errno.EINVAL}


@contextmanager
def locked(path: Path) -> Iterator[bool]:
    """Hold the lock on a file, which is made and goes again; yields False where another has it.

    Raises
    ------
    OSError
        The file cannot be made.
    """
    handle = _taken(path)
    if handle is None:
        yield False
        return
    try:
        yield True
    finally:
        with suppress(OSError):  # Windows lets nobody take away a file that is open; another study clears it
            path.unlink(missing_ok=True)
        os.close(handle)


def _taken(path: Path) -> int | None:
    """The file, locked; None where another has it."""
    while True:
        handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o666)
        try:
            _lock(handle)
            # Who had it before may have taken the file away in between: then this is a lock on nothing.
            if path.exists() and os.path.samestat(os.fstat(handle), path.stat()):
                return handle
            os.close(handle)
        except BlockingIOError:
            os.close(handle)
            return None
        except BaseException:
            os.close(handle)
            raise


if sys.platform == "win32":
    import msvcrt

    def _lock(handle: int) -> None:
        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except OSError as error:
            if error.errno in (errno.EACCES, errno.EDEADLK):
                raise BlockingIOError from None
            raise
else:
    import fcntl

    def _lock(handle: int) -> None:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            if error.errno not in _WITHOUT:
                raise
