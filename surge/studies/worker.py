"""A process that runs chunks of a study: a study first, then chunks in, and their runs out.

What goes through its pipes comes from the process that began it and from nobody else.
"""

from __future__ import annotations

import os
import signal
from contextlib import suppress

from surge.studies.engines import receive, send
from surge.studies.work import run_chunk


def main() -> None:
    """Serve standard input and output until the input ends; what libraries print goes elsewhere."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # who began it ends it
    out = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    with os.fdopen(os.dup(0), "rb") as read:
        study = receive(read)
        with suppress(BrokenPipeError):  # who began it is no more
            while study is not None and (chunk := receive(read)) is not None:
                send(out, run_chunk(study, chunk))


if __name__ == "__main__":
    main()
