"""Files that the program writes: whole or not at all.

Decisions
---------
* A file is written beside its target, synchronised, then renamed. Whoever reads it, and whoever goes on after
  a crash, finds the whole of it or nothing.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from pathlib import Path

WRITTEN_AT_ONCE = 2**18  # characters of a long text
PREFIX = ".surge-"  # of the name of a file that is not whole yet
Content = str | bytes | Iterable[str]
"""Of a file: whole, or piece by piece."""


def write_whole(path: Path, content: Content) -> None:
    """Write a file whole or not at all; it is then as others may read it, or as it was before."""
    import tempfile

    path = path.resolve()  # a link stays one
    file = tempfile.NamedTemporaryFile(dir=path.parent, prefix=PREFIX, delete=False)  # noqa: SIM115
    try:
        with file:
            for some in [content] if isinstance(content, str | bytes) else gathered(content):
                file.write(some if isinstance(some, bytes) else some.encode())
            file.flush()
            os.fsync(file.fileno())
        # Closed by now: Windows renames and deletes no file that is open.
        Path(file.name).chmod(path.stat().st_mode & 0o777 if path.exists() else 0o666 & ~_mask())
        Path(file.name).replace(path)
    except BaseException:
        Path(file.name).unlink(missing_ok=True)
        raise


def _mask() -> int:
    """Rights that new files do not get; there is no way to ask without setting it."""
    mask = os.umask(0o077)
    os.umask(mask)
    return mask


def gathered(pieces: Iterable[str]) -> Iterator[str]:
    """Yield pieces of a text joined to longer ones."""
    waiting: list[str] = []
    size = 0
    for piece in pieces:
        waiting.append(piece)
        size += len(piece)
        if size > WRITTEN_AT_ONCE:
            yield "".join(waiting)
            waiting, size = [], 0
    yield "".join(waiting)
