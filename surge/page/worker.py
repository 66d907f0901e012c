"""A process that computes for the page: a line of JSON in, lines of JSON out, until its input ends.

It is a process of its own so that long work can be given up at once: whoever waits no longer ends the
process.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import threading
import time
from contextlib import suppress
from typing import TextIO

OFTEN = 0.15  # [s] between two lines on how the work goes on


def serve(read: TextIO, write: TextIO) -> None:
    """Answer every line: with lines that hold "progress", and at last one with "answer".

    Parameters
    ----------
    read, write : text streams
    """
    from surge.page.answers import Memory, answer

    lock, memory = threading.Lock(), Memory()
    latest = 0.0

    def tell(word: str) -> None:
        nonlocal latest
        with lock:
            now = time.monotonic()
            if now - latest >= OFTEN:
                latest = now
                _line(write, {"progress": word})

    for line in read:
        made = answer(json.loads(line), memory, tell)
        with lock:
            _line(write, {"answer": made})


def _line(write: TextIO, what: dict[str, object]) -> None:
    write.write(json.dumps(what, allow_nan=False) + "\n")
    write.flush()


def main() -> None:
    """Serve standard input and output; what libraries print goes elsewhere."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the server ends its workers itself
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "1")
    out = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)
    with suppress(BrokenPipeError):  # nobody listens any more
        serve(sys.stdin, out)


if __name__ == "__main__":
    main()
